"""Cooling and water: cooler, tanks, cold makers, water source, tanks and pumps."""

from __future__ import annotations

from typing import Any

from byrewright.drafting.intent import Intent
from byrewright.drafting.pumps import liquid_pump
from byrewright.drafting.sheet import Sheet
from byrewright.drafting.valves import by_hand, by_motor
from byrewright.physics.coolant import glycol_needed_pct
from byrewright.standards.cooling import AMBIENT_CLASSES

PLANT_ROOM = "in the plant room"
GAP = "nothing flows back to the source: category 5; the local code decides"
FIRST_BORES_MM = {
    "cooling water": 60.0,
    "chilled liquid": 60.0,
    "expansion": 20.0,
    "refrigerant": 28.0,
    "water": 50.0,
    "water source": 50.0,
    "overflow": 80.0,
    "recovered water": 50.0,
    "yard water": 50.0,
    "deck water": 40.0,
    "heater water": 40.0,
    "laundry water": 25.0,
    "laundry drain": 50.0,
}


def cooling(sheet: Sheet, want: Intent) -> None:
    """Plate cooler and tanks with what makes them cold."""
    sheet.first_bore_mm.update(FIRST_BORES_MM)
    chilled = want.cold in ("chilled_water", "inline", "ice_bank")
    stage: dict[str, Any] = {}
    why = {"area_m2": "first guess", "water_ratio": "two of water to one of milk: usual"}
    if want.cold in ("inline", "chilled_water", "ice_bank"):
        stage = {"chilled_area_m2": 20.0, "chilled_ratio": 2.0}
        why |= {"chilled_area_m2": "first guess", "chilled_ratio": "common ratio"}
    sheet.add("plate_cooler", "PC1", area_m2=20.0, water_ratio=2.0, why=why, **stage)
    how = {"ice_bank": "ice_bank", "direct_expansion": "direct_expansion"}.get(
        want.cold, "chilled_water"
    )
    temperate = next(c for c in AMBIENT_CLASSES if c.letter == "B")
    hot = how == "direct_expansion" and want.site.hottest_c > temperate.performance_c
    hardy = {"ambient_class": "A"} if hot else {}
    daily = all(c.every_days == 1 for c in want.collections)
    for n in range(1, want.tanks + 1):
        sheet.add(
            "bulk_tank",
            f"TK{n}",
            normally="stands",
            volume_l=12000.0,
            cooling=how,
            cooling_kw=30.0,
            milkings_class=2 if daily else 4,
            **hardy,
            shape="standing" if want.cold == "inline" else "lying",
            little_milk="cooled_still",
            fed_from="SB2" if n % 2 else "SB3",
            controlled_by="CT1",
            twins="tanks",
            why={
                "volume_l": "first guess",
                "cooling": "as the brief states",
                "cooling_kw": "first guess",
                "shape": "silos" if want.cold == "inline" else "most tanks lie",
                "little_milk": "a small first milking is kept until the agitator reaches it",
                **dict.fromkeys(hardy, "hot afternoon of the site"),
                "milkings_class": "collected daily" if daily else "collected every other day",
            },
        )
        if how == "direct_expansion":
            sheet.add(
                "condensing_unit",
                f"CU{n}",
                duty_kw=30.0,
                rated_ambient_c=_rated_at_c(want.site.hottest_c),
                count=2 if want.twin else 1,
                twins="condensing units",
                fed_from="SB3" if n % 2 else "SB2",
                normally="runs",
                why={
                    "duty_kw": "first guess",
                    "rated_ambient_c": "the hot afternoon of this site",
                    "count": "two circuits: one trip leaves half the cold"
                    if want.twin
                    else "one circuit",
                },
            )
            for start, end in ((f"CU{n}", f"TK{n}"), (f"TK{n}", f"CU{n}")):
                sheet.line(
                    "refrigerant", f"{start}.refrigerant_out", f"{end}.refrigerant_in",
                    family="refrigerant", why="to the tank; by the refrigeration engineer",
                )  # fmt: skip
    if chilled:
        _chilled(sheet, want, how)


def _chilled(sheet: Sheet, want: Intent, how: str) -> None:
    """A chilled-liquid ring: makers, pumps, header, cooler stage and tanks, header, back."""
    sheet.add("header", "HC1", label="Chilled suction")
    sheet.add("header", "HC2", label="Chilled flow")
    sheet.add("header", "HC3", label="Chilled return")
    if how != "ice_bank":
        _closed(sheet)
    for n in want.pump_places:
        (_ice_bank if how == "ice_bank" else _chiller)(sheet, want, n)
        liquid_pump(
            sheet, f"LP2{n}", "Chilled liquid pump", (300.0, 18.0, 2.2), f"SB{n + 1}",
            "follows the milk", twins="chilled pumps",
        )  # fmt: skip
        sheet.add("non_return_valve", f"NR2{n}", label="Non-return at chilled pump")
        _ring(sheet, "HC1", f"LP2{n}", f"NR2{n}", "HC2")
    _ring(sheet, "HC2", "PC1.coolant_in")
    _ring(sheet, "PC1.coolant_out", "HC3")
    for n in range(1, want.tanks + 1):
        by_motor(sheet, f"V7{n + 4}", f"Chilled liquid to tank {n}", normally="open")
        _ring(sheet, "HC2", f"V7{n + 4}", f"TK{n}.coolant_in")
        _ring(sheet, f"TK{n}.coolant_out", "HC3")


def _ring(sheet: Sheet, *stops: str) -> None:
    sheet.line("coolant", *stops, family="chilled liquid", why=PLANT_ROOM)


def _ice_bank(sheet: Sheet, want: Intent, n: int) -> None:
    sheet.add(
        "ice_bank",
        f"IB{n}",
        store_kwh=300.0,
        duty_kw=40.0,
        fed_from=f"SB{n + 1}",
        normally="runs",
        twins="ice banks",
        why={"store_kwh": "first guess", "duty_kw": "first guess"},
    )
    _ring(sheet, f"IB{n}.coolant_out_1", "HC1")
    _ring(sheet, "HC3", f"IB{n}.coolant_in_1")


def _chiller(sheet: Sheet, want: Intent, n: int) -> None:
    sheet.add(
        "chiller",
        f"CH{n}",
        duty_kw=80.0,
        rated_ambient_c=_rated_at_c(want.site.hottest_c),
        fed_from=f"SB{n + 1}",
        normally="runs",
        twins="chillers",
        leaving_c=want.coolant_c,
        glycol_pct=glycol_needed_pct(want.coolant_c),
        why={
            "duty_kw": "first guess",
            "rated_ambient_c": "the hot afternoon of this site",
            "leaving_c": "as the brief states",
            "glycol_pct": "first guess",
        },
    )
    _ring(sheet, f"CH{n}.coolant_out", f"CB1.coolant_in_{n}")
    _ring(sheet, "HC3", f"CH{n}.coolant_in")


def _closed(sheet: Sheet) -> None:
    """What a closed circuit with a chiller needs: content for its compressor, room to grow."""
    sheet.add("coolant_buffer", "CB1", volume_l=500.0, why={"volume_l": "first guess"})
    sheet.add(
        "expansion_vessel",
        "EV1",
        volume_l=50.0,
        precharge_bar=1.0,
        relief_bar=2.5,
        why={"volume_l": "first guess", "precharge_bar": "usual", "relief_bar": "usual"},
    )
    _ring(sheet, "CB1.coolant_out_1", "HC1")
    sheet.line("coolant", "HC3", "EV1.coolant", family="expansion", why=PLANT_ROOM)


def water(sheet: Sheet, want: Intent) -> None:
    """Source, fresh tank, pumps, filter, recovered-water tank."""
    flow = want.source_l_min
    if flow:
        sheet.lock("WS1", "flow_l_min")
    sheet.add(
        "water_source",
        "WS1",
        origin=want.origin,
        flow_l_min=flow or 400.0,
        why={
            "origin": "stated in the brief",
            "flow_l_min": "stated in the brief" if flow else "not stated: measure it",
        },
    )
    sheet.add(
        "water_tank",
        "WT1",
        label="Fresh water tank",
        volume_l=10000.0,
        holds="fresh",
        inlet_air_gap=True,
        why={"volume_l": "first guess", "inlet_air_gap": GAP},
    )
    sheet.add(
        "water_tank",
        "WT2",
        label="Recovered water tank",
        volume_l=5000.0,
        holds="recovered",
        inlet_air_gap=True,
        why={
            "volume_l": "first guess",
            "inlet_air_gap": GAP,
            "holds": "warm water from the cooler for rinsing and the yard",
        },
    )
    _fresh_water(sheet, want)
    _recovered_water(sheet)
    if want.rotary:
        for start, end, where in (
            ("HW3", "GL1.fixed_water", "to the deck"),
            ("GL1.deck_water", "BF1.water", "on the deck"),
        ):
            sheet.line("water", start, end, family="deck water", why=where)


def _main(sheet: Sheet, *stops: str) -> None:
    sheet.line("water", *stops, family="cooling water", why=PLANT_ROOM)


def _fresh_water(sheet: Sheet, want: Intent) -> None:
    """From the source through tank, pumps and filter to the cooler."""
    sheet.add("header", "HW1", label="Fresh water suction")
    sheet.add("header", "HW2", label="Fresh water main")
    sheet.add("water_filter", "WF1", flow_l_min=500.0, why={"flow_l_min": "first guess"})
    by_hand(sheet, want, "V70", "Water filter bypass")
    by_motor(sheet, "V71", "Cooling water control", normally="closed")
    sheet.add("header", "HW3", label="After the water filter")
    sheet.line("water", "WS1.outlet", "WT1.inlet_1", family="water source", why="from the source")
    _main(sheet, "WT1.outlet_1", "HW1")
    for n in want.pump_places:
        liquid_pump(
            sheet, f"LP{n}", "Fresh water pump", (400.0, 25.0, 4.0), f"SB{n + 1}",
            "holds pressure", twins="fresh water pumps",
        )  # fmt: skip
        sheet.add("non_return_valve", f"NR3{n}", label="Non-return at water pump")
        _main(sheet, "HW1", f"LP{n}", f"NR3{n}", "HW2")
    _main(sheet, "HW2", "WF1", "HW3")
    _main(sheet, "HW2", "V70", "HW3")
    _main(sheet, "HW3", "V71", "PC1.water_in")
    _main(sheet, "PC1.water_out", "WT2.inlet_1")


def _recovered_water(sheet: Sheet) -> None:
    """What the cooler warmed: to the wash trough's main and the yard."""
    sheet.line("drain", "WT2.overflow", "FD1.inlet_11", family="overflow", why=PLANT_ROOM)
    liquid_pump(sheet, "LP3", "Recovered water pump", (200.0, 20.0, 1.5), "SB2")
    sheet.add("header", "HW4", label="Recovered water main")
    sheet.add("valve", "V72", label="Yard wash", moved_by="hand")
    sheet.line("water", "WT2.outlet_1", "LP3", "HW4", family="recovered water", why=PLANT_ROOM)
    sheet.line("water", "HW4", "V72", "FD1.inlet_12", family="yard water", why="to the yard")


RATED_C = (15.0, 50.0)
"""Ambients at which makers state a duty (`rated_ambient_c` of a chiller). Sizing derates beyond."""


def _rated_at_c(hottest_c: float) -> float:
    """The ambient to choose a machine at: the hottest, as far as duties are stated there."""
    return min(max(hottest_c, RATED_C[0]), RATED_C[1])
