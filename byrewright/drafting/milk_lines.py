"""Milk and drain lines, and what stands at each tank: fill, outlet, collection, sampling."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from byrewright.drafting.intent import Intent
from byrewright.drafting.milk import HOLDS, low_point
from byrewright.drafting.sheet import Sheet


def lines(sheet: Sheet, want: Intent) -> None:
    """The milk and drain lines."""
    centre = "at the centre of the deck" if want.rotary else "at the pit"
    sheet.line(
        "milk",
        "MU1.milk",
        "ML1.units_1",
        family="milk tube",
        why="at each stall",
    )
    for n in range(1, want.receivers + 1):
        sheet.line(
            "milk",
            f"ML1.receiver_{n}",
            f"RC{n}.milkline_1",
            family="milkline outlet",
            slope_pct=2.0,
            why=centre,
        )
        sheet.line(
            "milk",
            f"RC{n}.outlet",
            f"V2{n}",
            "HM1" if want.receivers == 1 else f"MP{n}",
            family="milk suction",
            why=centre,
        )
        sheet.line(
            "drain",
            f"RC{n}.drain",
            f"V8{n}",
            f"FD1.inlet_{n + 1}",
            family="drain",
            slope_pct=2.0,
            why=centre,
        )
    if want.receivers == 2:
        sheet.line(
            "milk",
            "RC1.balance",
            "V25",
            "RC2.balance",
            family="milk suction",
            why=centre,
        )
    for n in (1, 2) if want.twin or want.receivers == 2 else (1,):
        if want.receivers == 1:
            sheet.line("milk", "HM1", f"MP{n}", family="milk suction", why=centre)
        sheet.line("milk", f"MP{n}", f"NR1{n}", "HM2", family="delivery", why=centre)
    sheet.line("drain", "HM2", "V85", "FD1.inlet_5", family="drain", why=centre)
    far = "to the plant room"
    if want.rotary:
        sheet.line("milk", "HM2", "GL1.deck_milk", family="delivery", why=centre)
        sheet.line(
            "milk",
            "GL1.fixed_milk",
            "BT1.inlet_1",
            family="delivery",
            why=far,
        )
    else:
        sheet.line(
            "milk",
            "HM2",
            "BT1.inlet_1",
            family="delivery",
            why=far,
        )
    sheet.line(
        "milk",
        "BT1.outlet",
        "HM3",
        family="milk suction",
        why="in the plant room",
    )
    for n in (3, 4) if want.twin else (3,):
        sheet.line(
            "milk",
            "HM3",
            f"MP{n}",
            family="milk suction",
            why="in the plant room",
        )
        sheet.line(
            "milk",
            f"MP{n}",
            f"NR1{n}",
            "HM4",
            family="delivery",
            why="in the plant room",
        )
    for n in want.filters:
        sheet.line(
            "milk",
            "HM4",
            f"V3{2 * n - 1}",
            f"MF{n}",
            f"V3{2 * n}",
            "HM5",
            family="delivery",
            why="in the plant room",
        )
    sheet.line(
        "drain",
        "BT1.drain",
        "V83",
        "FD1.inlet_6",
        family="drain",
        slope_pct=2.0,
        why="in the plant room",
    )
    sheet.line(
        "drain",
        "ML1.drain_1",
        "V84",
        "FD1.inlet_7",
        family="drain",
        slope_pct=2.0,
        why=centre,
    )
    sheet.line(
        "drain",
        "HM5",
        "V86",
        "FD1.inlet_9",
        family="drain",
        why="plant room",
    )
    if want.calf_l_day > 0:
        sheet.line(
            "milk",
            "HM5",
            "V38",
            "CF1.milk",
            family="calf line",
            why="beside the plant room",
        )
        sheet.line(
            "drain", "CF1.drain", "V37", "FD1.inlet_10", family="calf drain", why="under the vessel"
        )
    sheet.line("milk", "HM5", "PC1.milk_in", family="delivery", why="in the plant room")
    room = "in the plant room"
    sheet.line("milk", "PC1.milk_out", "HM8", family="delivery", why=room)
    sheet.line("milk", "HM5", "V39", "HM8", family="way round", why=room)
    sheet.line("milk", "HM8", "V40.a", family="delivery", why="to the milk room")
    for place in want.fills:
        at = "in the milk room"
        sheet.line("milk", f"{place.divert}.b", place.header, family="fill line", why=at)
        end = f"FD1.inlet_{40 + (place.tank or 0)}"
        sheet.line("drain", place.header, place.bleed, end, family="drain", why=at)
        if place.tank is None:
            sheet.line(
                "milk",
                place.header,
                "V49",
                "TB1.inlet_2",
                family="fill line",
                why="to the tanker bay",
            )
    for before, after in pairwise(want.fills):
        sheet.line(
            "milk",
            f"{before.divert}.c",
            f"{after.divert}.a",
            family="fill line",
            why="in the milk room",
        )
    if want.withheld:
        sheet.line(
            "milk",
            "MU1.withheld",
            "WM1.milk",
            family="withheld line",
            why="bucket unit",
        )
        sheet.line(
            "vacuum",
            "WM1.vacuum",
            "HV1",
            family="withheld air line",
            why="bucket unit",
        )


def storage(sheet: Sheet, want: Intent) -> None:
    """Fill, collection and sampling at each tank, and direct loading."""
    air: dict[str, Any] = {
        "moved_by": "air",
        "sensed": True,
        "air_from": "AV1",
        "controlled_by": "CT1",
    }
    hand: dict[str, Any] = {"moved_by": "hand", "sensed": want.sensed}
    sheet.add("header", "HM7", label="Collection header")
    low_point(sheet, want, "V47", "Collection line low-point drain")
    for n in range(1, want.tanks + 1):
        sheet.add(
            "valve",
            f"V4{n}",
            label=f"Fill tank {n}",
            duty="fill",
            on_loss="stays",
            why={"on_loss": HOLDS},
            **air,
        )
        sheet.add("valve", f"V5{n}", label=f"Tank {n} outlet", duty="outlet", **hand)
        sheet.add(
            "valve",
            f"V5{n + 4}",
            label=f"Tank {n} to tanker, or to drain",
            ways=3,
            why={"ways": "one of the two is always shut"},
            duty="divert",
            normally="to_b",
            **hand,
        )
        sheet.add(
            "valve",
            f"VS{n}",
            label=f"Tank {n} sample cock",
            duty="sample",
            bore_mm=10.0,
            why={"bore_mm": "common size"},
            **hand,
        )
        sheet.add(
            "sensor",
            f"SN5{n}",
            label=f"Tank {n} level",
            measures="level",
            on=f"TK{n}",
            controlled_by="CT1",
        )
        sheet.add(
            "sensor",
            f"SN5{n + 4}",
            label=f"Tank {n} temperature",
            measures="temperature",
            on=f"TK{n}",
            controlled_by="CT1",
        )
        room = "in the milk room"
        stub = want.fills[n - 1].header
        sheet.line("milk", stub, f"V4{n}", f"TK{n}.inlet_1", family="fill line", why=room)
        sheet.line(
            "milk",
            f"TK{n}.outlet",
            f"V5{n}",
            f"V5{n + 4}.a",
            family="collection line",
            why=room,
        )
        sheet.line("milk", f"V5{n + 4}.b", "HM7", family="collection line", why=room)
        sheet.line(
            "drain",
            f"V5{n + 4}.c",
            f"FD1.inlet_{20 + n}",
            family="drain",
            why=room,
        )
        sheet.line(
            "milk",
            f"TK{n}.sample",
            f"VS{n}",
            f"FD1.inlet_{30 + n}",
            family="sample",
            why="cock over the floor",
        )
    sheet.line("drain", "HM7", "V47", "FD1.inlet_25", family="drain", why="in the milk room")
    sheet.line(
        "milk",
        "HM7",
        "TB1.inlet_1",
        family="collection line",
        why="to the tanker bay",
    )
