"""Milk and drain lines, and what stands at each tank: fill, outlet, collection, sampling."""

from __future__ import annotations

from itertools import pairwise

from byrewright.drafting.intent import Intent
from byrewright.drafting.sheet import Sheet
from byrewright.drafting.valves import HOLDS, by_air, by_hand, low_point

PLANT_ROOM = "in the plant room"
MILK_ROOM = "in the milk room"
FALL_PCT = 2.0
"""Fall of milkline outlets and drains (common practice)."""


def lines(sheet: Sheet, want: Intent) -> None:
    """The milk and drain lines."""
    centre = "at the centre of the deck" if want.rotary else "at the pit"
    _receiving(sheet, want, centre)
    _to_the_filters(sheet, want)
    _drains(sheet, centre)
    _to_the_tanks(sheet, want)


def _receiving(sheet: Sheet, want: Intent, centre: str) -> None:
    """From the units through receivers and their pumps to the balance tank."""
    sheet.line("milk", "MU1.milk", "ML1.units_1", family="milk tube", why="at each stall")
    for n in range(1, want.receivers + 1):
        sheet.line(
            "milk", f"ML1.receiver_{n}", f"RC{n}.milkline_1", family="milkline outlet",
            slope_pct=FALL_PCT, why=centre,
        )  # fmt: skip
        pump = "HM1" if want.receivers == 1 else f"MP{n}"
        sheet.line("milk", f"RC{n}.outlet", f"V2{n}", pump, family="milk suction", why=centre)
        sheet.line(
            "drain", f"RC{n}.drain", f"V8{n}", f"FD1.inlet_{n + 1}", family="drain",
            slope_pct=FALL_PCT, why=centre,
        )  # fmt: skip
    if want.receivers == 2:
        sheet.line("milk", "RC1.balance", "V25", "RC2.balance", family="milk suction", why=centre)
    for n in (1, 2) if want.twin or want.receivers == 2 else (1,):
        if want.receivers == 1:
            sheet.line("milk", "HM1", f"MP{n}", family="milk suction", why=centre)
        sheet.line("milk", f"MP{n}", f"NR1{n}", "HM2", family="delivery", why=centre)
    sheet.line("drain", "HM2", "V85", "FD1.inlet_5", family="drain", why=centre)
    last = "HM2"
    if want.rotary:
        sheet.line("milk", "HM2", "GL1.deck_milk", family="delivery", why=centre)
        last = "GL1.fixed_milk"
    sheet.line("milk", last, "BT1.inlet_1", family="delivery", why="to the plant room")


def _to_the_filters(sheet: Sheet, want: Intent) -> None:
    """From the balance tank through its pumps and the filters."""
    sheet.line("milk", "BT1.outlet", "HM3", family="milk suction", why=PLANT_ROOM)
    for n in (3, 4) if want.twin else (3,):
        sheet.line("milk", "HM3", f"MP{n}", family="milk suction", why=PLANT_ROOM)
        sheet.line("milk", f"MP{n}", f"NR1{n}", "HM4", family="delivery", why=PLANT_ROOM)
    for n in want.filters:
        sheet.line(
            "milk", "HM4", f"V3{2 * n - 1}", f"MF{n}", f"V3{2 * n}", "HM5",
            family="delivery", why=PLANT_ROOM,
        )  # fmt: skip


def _drains(sheet: Sheet, centre: str) -> None:
    """Low points to the floor drain."""
    for start, valve, end, where in (
        ("BT1.drain", "V83", "FD1.inlet_6", PLANT_ROOM),
        ("ML1.drain_1", "V84", "FD1.inlet_7", centre),
    ):
        sheet.line("drain", start, valve, end, family="drain", slope_pct=FALL_PCT, why=where)
    sheet.line("drain", "HM5", "V86", "FD1.inlet_9", family="drain", why="plant room")


def _to_the_tanks(sheet: Sheet, want: Intent) -> None:
    """From the filters to calves, cooler, tanks and tanker; withheld milk apart."""
    if want.calf_l_day > 0:
        sheet.line(
            "milk", "HM5", "V38", "CF1.milk", family="calf line", why="beside the plant room"
        )
        sheet.line(
            "drain", "CF1.drain", "V37", "FD1.inlet_10", family="calf drain", why="under the vessel"
        )
    sheet.line("milk", "HM5", "PC1.milk_in", family="delivery", why=PLANT_ROOM)
    sheet.line("milk", "PC1.milk_out", "HM8", family="delivery", why=PLANT_ROOM)
    sheet.line("milk", "HM5", "V39", "HM8", family="way round", why=PLANT_ROOM)
    sheet.line("milk", "HM8", "V40.a", family="delivery", why="to the milk room")
    for place in want.fills:
        stub = place.header
        sheet.line("milk", f"{place.divert}.b", stub, family="fill line", why=MILK_ROOM)
        end = f"FD1.inlet_{40 + (place.tank or 0)}"
        sheet.line("drain", stub, place.bleed, end, family="drain", why=MILK_ROOM)
        if place.tank is None:
            sheet.line("milk", stub, "V49", "TB1.inlet_2", family="fill line",
                       why="to the tanker bay")  # fmt: skip
    for before, after in pairwise(want.fills):
        sheet.line("milk", f"{before.divert}.c", f"{after.divert}.a", family="fill line",
                   why=MILK_ROOM)  # fmt: skip
    if want.withheld:
        unit = "bucket unit"
        sheet.line("milk", "MU1.withheld", "WM1.milk", family="withheld line", why=unit)
        sheet.line("vacuum", "WM1.vacuum", "HV1", family="withheld air line", why=unit)


def storage(sheet: Sheet, want: Intent) -> None:
    """Fill, collection and sampling at each tank, and direct loading."""
    sheet.add("header", "HM7", label="Collection header")
    low_point(sheet, want, "V47", "Collection line low-point drain")
    for n in range(1, want.tanks + 1):
        _tank(sheet, want, n)
    sheet.line("drain", "HM7", "V47", "FD1.inlet_25", family="drain", why=MILK_ROOM)
    sheet.line("milk", "HM7", "TB1.inlet_1", family="collection line", why="to the tanker bay")


def _tank(sheet: Sheet, want: Intent, n: int) -> None:
    tank, outlet, away = f"TK{n}", f"V5{n}", f"V5{n + 4}"
    by_air(sheet, f"V4{n}", f"Fill tank {n}", duty="fill", on_loss="stays", why={"on_loss": HOLDS})
    by_hand(sheet, want, outlet, f"Tank {n} outlet", duty="outlet")
    by_hand(
        sheet, want, away, f"Tank {n} to tanker, or to drain", ways=3, duty="divert",
        normally="to_b", why={"ways": "one of the two is always shut"},
    )  # fmt: skip
    by_hand(
        sheet, want, f"VS{n}", f"Tank {n} sample cock", duty="sample", bore_mm=10.0,
        why={"bore_mm": "common size"},
    )  # fmt: skip
    for place, measures in ((n, "level"), (n + 4, "temperature")):
        sheet.sense(f"SN5{place}", measures, tank, f"Tank {n} {measures}")
    stub = want.fills[n - 1].header
    sheet.line("milk", stub, f"V4{n}", f"{tank}.inlet_1", family="fill line", why=MILK_ROOM)
    sheet.line("milk", f"{tank}.outlet", outlet, f"{away}.a", family="collection line",
               why=MILK_ROOM)  # fmt: skip
    sheet.line("milk", f"{away}.b", "HM7", family="collection line", why=MILK_ROOM)
    sheet.line("drain", f"{away}.c", f"FD1.inlet_{20 + n}", family="drain", why=MILK_ROOM)
    sheet.line("milk", f"{tank}.sample", f"VS{n}", f"FD1.inlet_{30 + n}", family="sample",
               why="cock over the floor")  # fmt: skip
