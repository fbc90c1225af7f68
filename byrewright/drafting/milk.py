"""Milk: line, receivers, pumps, balance tank, filters, calf and withheld milk, delivery, tanker."""

from __future__ import annotations

from typing import Any

from byrewright.drafting.intent import Intent
from byrewright.drafting.sheet import Sheet

FIRST_BORES_MM = {
    "milk tube": 16.0,
    "sample": 10.0,
    "milk suction": 60.3,
    "delivery": 60.3,
    "way round": 60.3,
    "fill line": 60.3,
    "collection line": 72.9,
    "calf line": 37.6,
    "withheld line": 37.6,
    "drain": 37.6,
    "milkline outlet": 98.0,
    "wash return": 60.3,
}

LOW_POINTS_MM = {"V47": 25.0, "V85": 25.0, "V86": 25.0}
LOW_POINT_MM = 38.0
"""Drains at low points, by bore, and the bore of all others (common sizes)."""
DRAINS = "a drain at its casing, the lowest point of its line"
HOLDS = "keeps its place without air: no milk dumped, no wash let in"
"""Why valves between milk and wash stay: each mode already has them where they block."""


def machines(sheet: Sheet, want: Intent) -> None:
    """Everything the milk passes, apart from coolers and tanks."""
    sheet.first_bore_mm.update(FIRST_BORES_MM | {"calf drain": want.calf_drain_mm})
    hand: dict[str, Any] = {"moved_by": "hand", "sensed": want.sensed}
    air: dict[str, Any] = {
        "moved_by": "air",
        "sensed": True,
        "air_from": "AV1",
        "controlled_by": "CT1",
    }
    sheet.add(
        "milkline",
        "ML1",
        bore_mm=98.0,
        slope_pct=1.2,
        length_m=want.ring_m,
        looped=True,
        why={
            "bore_mm": "first guess",
            "slope_pct": "above the 0.5-1 % minimum in the published notes",
            "length_m": "round the stalls" if want.rotary else "along the rows",
            "looped": "loops are preferable: air goes both ways",
        },
    )
    for n in range(1, want.receivers + 1):
        sheet.add(
            "receiver",
            f"RC{n}",
            volume_l=100.0,
            led_at_l=40.0,
            start_at_l=55.0,
            stop_at_l=20.0,
            twins="receivers",
            why={
                "volume_l": "first guess",
                "led_at_l": "about 40 % full",
                "start_at_l": "if run on/off",
                "stop_at_l": "if run on/off",
            },
        )
        sheet.add("valve", f"V2{n}", label=f"Receiver {n} outlet", normally="open", **hand)
        low_point(sheet, want, f"V8{n}", f"Receiver {n} drain")
        sheet.add(
            "sensor",
            f"SN1{n}",
            label=f"Receiver {n} level",
            measures="level",
            on=f"RC{n}",
            controlled_by="CT1",
        )
    if want.receivers == 2:
        sheet.add("valve", "V25", label="Flooded line between receivers", **hand)
    if want.receivers == 1:
        sheet.add("header", "HM1", label="Milk pump suction")
    sheet.add("header", "HM2", label="Milk pump delivery")
    pumps = (1, 2) if want.twin or want.receivers == 2 else (1,)
    for n in pumps:
        leader = f"RC{n}" if want.receivers == 2 else "RC1"
        sheet.add(
            "milk_pump",
            f"MP{n}",
            flow_l_min=200.0,
            head_m=15.0,
            motor_kw=1.5,
            control="level_led",
            led_by=leader,
            fed_from=f"SB{n + 1}",
            controlled_by="CT1",
            twins="receiver milk pumps",
            drains=True,
            why={
                "drains": DRAINS,
                "flow_l_min": "first guess",
                "head_m": "first guess",
                "motor_kw": "first guess",
                "control": "even flow to the cooler",
                "led_by": "its own receiver",
            },
        )
        sheet.add("non_return_valve", f"NR1{n}", label="Non-return at milk pump")
    sheet.add(
        "balance_tank",
        "BT1",
        volume_l=500.0,
        led_at_l=200.0,
        why={"volume_l": "first guess", "led_at_l": "about 40 % full"},
    )
    sheet.add(
        "sensor",
        "SN13",
        label="Balance tank level",
        measures="level",
        on="BT1",
        controlled_by="CT1",
    )
    sheet.add("header", "HM3", label="Delivery pump suction")
    sheet.add("header", "HM4", label="Before the filters")
    sheet.add("header", "HM5", label="After the filters")
    for place, n in enumerate((3, 4) if want.twin else (3,)):
        sheet.add(
            "milk_pump",
            f"MP{n}",
            flow_l_min=180.0,
            head_m=20.0,
            motor_kw=2.2,
            control="level_led",
            led_by="BT1",
            fed_from=f"SB{place + 2}",
            controlled_by="CT1",
            twins="delivery pumps",
            drains=True,
            why={
                "drains": DRAINS,
                "flow_l_min": "first guess",
                "head_m": "first guess",
                "motor_kw": "first guess",
                "control": "the balance tank leads it: the cooler sees an even flow",
                "led_by": "the balance tank",
            },
        )
        sheet.add("non_return_valve", f"NR1{n}", label="Non-return at delivery pump")
    for n in want.filters:
        sheet.add(
            "milk_filter",
            f"MF{n}",
            area_m2=0.3,
            while_running=len(want.filters) > 1,
            twins="milk filters",
            why={
                "area_m2": "first guess",
                "while_running": "one is changed while the other filters",
            },
        )
        sheet.add(
            "valve",
            f"V3{2 * n - 1}",
            label=f"Filter {n} inlet",
            normally="open" if n == 1 else "closed",
            **hand,
        )
        sheet.add(
            "valve",
            f"V3{2 * n}",
            label=f"Filter {n} outlet",
            normally="open" if n == 1 else "closed",
            **hand,
        )
    if want.calf_l_day > 0:
        a_milking = round(want.calf_l_day / len(want.milkings), 0)
        sheet.add(
            "calf_feed",
            "CF1",
            volume_l=max(100.0, a_milking * 1.2),
            draw_l_milking=a_milking,
            why={
                "volume_l": "one milking's draw and a fifth",
                "draw_l_milking": "calf milk of the brief by milking",
            },
        )
        sheet.add(
            "valve", "V38", label="Calf-milk take-off", duty="divert", on_loss="closes", **air
        )
        sheet.add(
            "valve",
            "V37",
            label="Calf-milk vessel drain",
            duty="drain",
            bore_mm=want.calf_drain_mm,
            why={"bore_mm": "wide: lets the wash of the vessel out by gravity"},
            moved_by="hand",
            sensed=True,
        )
    for fill in want.fills:
        last = fill == want.fills[-1]
        sheet.add(
            "valve",
            fill.divert,
            label=f"Milk to {fill.where}, or {'wash return' if last else 'on'}",
            ways=3,
            duty="divert",
            on_loss="stays",
            normally="to_c",
            why={"on_loss": HOLDS, "ways": "one of the two is always shut"},
            **air,
        )
        sheet.add(
            "valve",
            fill.bleed,
            label=f"Leak drain before {fill.where}",
            duty="drain",
            on_loss="stays",
            bore_mm=25.0,
            normally="open",
            why={
                "on_loss": HOLDS,
                "bore_mm": "small: shows a passing seat, drains unpressurised",
            },
            **air,
        )
        sheet.add("header", fill.header, label=f"Fill stub of {fill.where}")
    if want.direct:
        sheet.add(
            "valve",
            "V49",
            label="Shut-off at the coupling",
            duty="fill",
            on_loss="closes",
            why={"on_loss": "with the divert, two valves between wash and a coupled tanker"},
            **air,
        )
    sheet.add("header", "HM8", label="After the cooler")
    sheet.add(
        "valve",
        "V39",
        label="Way round the cooler for the wash, or for a blocked cooler",
        duty="divert",
        on_loss="closes",
        why={"on_loss": "milk passes the cooler when air or signal is lost"},
        **air,
    )
    sheet.add(
        "sensor",
        "SN41",
        label="Milk flow after the cooler",
        measures="flow",
        on="PC1",
        at_port="milk_out",
        controlled_by="CT1",
    )
    sheet.add(
        "sensor",
        "SN42",
        label="Milk temperature after the cooler",
        measures="temperature",
        on="PC1",
        at_port="milk_out",
        controlled_by="CT1",
    )
    sheet.add(
        "sensor",
        "SN43",
        label="Conductivity at the divert: milk or wash",
        measures="conductivity",
        on="V40",
        controlled_by="CT1",
    )
    sheet.add("tanker_bay", "TB1", direct=want.direct, why={"direct": "stated in the brief"})
    sheet.add("floor_drain", "FD1", label="Floor drain")
    low_point(sheet, want, "V83", "Balance tank drain")
    low_point(sheet, want, "V84", "Milkline low-point drain")
    low_point(sheet, want, "V85", "Delivery low-point drain")
    low_point(sheet, want, "V86", "Drain after the filters")
    for n in range(1, 5):
        if f"MP{n}" in sheet.equipment:
            sheet.add(
                "sensor",
                f"SN3{n}",
                label=f"Milk pump {n} runs",
                measures="current",
                on=f"MP{n}",
                controlled_by="CT1",
            )
    if want.withheld:
        sheet.add(
            "withheld_vessel",
            "WM1",
            volume_l=100.0,
            way="bucket",
            why={
                "volume_l": "a few cows' milk before it is emptied",
                "way": "no valve shared with the tank's milk",
            },
        )


def low_point(sheet: Sheet, want: Intent, tag: str, label: str) -> None:
    """A drain moved by hand at the low point of a line."""
    sheet.add(
        "valve",
        tag,
        label=label,
        duty="drain",
        bore_mm=LOW_POINTS_MM.get(tag, LOW_POINT_MM),
        why={"bore_mm": "common size"},
        moved_by="hand",
        sensed=want.sensed,
    )
