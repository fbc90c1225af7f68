"""Washing: trough, heater, dosing, wash supply and return, tank wash."""

from __future__ import annotations

from byrewright.drafting.intent import Intent
from byrewright.drafting.pumps import liquid_pump
from byrewright.drafting.sheet import Sheet
from byrewright.drafting.valves import by_air, by_hand

FIRST_BORES_MM = {"wash supply": 60.3, "softened water": 40.0, "dosing": 10.0, "injector air": 32.0}


def washing(sheet: Sheet, want: Intent) -> None:
    """Machines and lines that wash the plant and the tanks."""
    sheet.first_bore_mm.update(FIRST_BORES_MM)
    heaters = (1, 2) if want.twin else (1,)
    for n in heaters:
        sheet.add(
            "water_heater",
            f"WH{n}",
            volume_l=800.0,
            heater_kw=18.0,
            fed_from=f"SB{n + 1}",
            twins="water heaters",
            set_c=want.cleaning.hot_c + 3,
            why={
                "volume_l": "first guess",
                "heater_kw": "first guess",
                "set_c": "a few kelvin above the hot wash, for losses on the way",
            },
        )
    sheet.add("wash_trough", "TR1", volume_l=600.0, why={"volume_l": "first guess"})
    sheet.add("doser", "DS1", label="Alkaline dosing", fed_from="SB2", controlled_by="CT1")
    sheet.add("doser", "DS2", label="Acid dosing", fed_from="SB2", controlled_by="CT1")
    sheet.add("air_injector", "AI1", controlled_by="CT1", air_from="AV1")
    for tag, what in (("V60", "Hot"), ("V61", "Fresh"), ("V62", "Recovered")):
        by_air(sheet, tag, f"{what} water to trough", duty="wash_supply", on_loss="closes")
    by_air(sheet, "V63", "Trough drain", duty="drain", on_loss="stays")
    by_air(
        sheet, "V64", "Wash supply to the units", duty="wash_supply", on_loss="closes",
        seats="double",
    )  # fmt: skip
    by_air(
        sheet, "V65", "Wash return to trough, or to drain", ways=3, duty="divert", on_loss="to_c",
        normally="to_c", why={"ways": "one of the two is always shut"},
    )  # fmt: skip
    by_hand(sheet, want, "V66", "Air injector isolator", duty="air_break")
    liquid_pump(sheet, "LP4", "Wash pump", (300.0, 15.0, 2.2), "SB2")
    liquid_pump(sheet, "LP5", "Tank wash pump", (150.0, 20.0, 1.5), "SB3")
    sheet.sense("SN61", "temperature", "TR1", "Wash return temperature")
    sheet.sense("SN62", "level", "TR1", "Trough level")
    _lines(sheet, want, heaters)


def _lines(sheet: Sheet, want: Intent, heaters: tuple[int, ...]) -> None:
    room = "in the plant room"
    sheet.add("header", "HH1", label="Hot water header")
    soft = ("WX1",) if want.softens else ()
    if soft:
        sheet.add(
            "softener", "WX1", flow_l_min=60.0, capacity_mol=5.0, salt_kg=1.0,
            why={"": "hard water would scale the heaters", "flow_l_min": "first guess",
                 "capacity_mol": "first guess", "salt_kg": "first guess"},
        )  # fmt: skip
    if want.recovery != "none":
        makers = [tag for tag in sheet.equipment if tag[:2] in ("CH", "CU", "IB")]
        sheet.add(
            "heat_recovery",
            "HR1",
            volume_l=500.0,
            takes=want.recovery,
            takes_from=makers,
            why={"volume_l": "first guess", "takes": "as the brief states"},
        )
        sheet.add("header", "HH2", label="Warmed water header")
        trunk = "softened water" if soft else "heater water"
        sheet.line("water", "HW3", *soft, "HR1.inlet", family=trunk, why=room)
        sheet.line("water", "HR1.outlet_1", "HH2", family="heater water", why=room)
    elif soft:
        sheet.add("header", "HH2", label="Softened water header")
        sheet.line("water", "HW3", *soft, "HH2", family="softened water", why=room)
    start = "HH2" if "HH2" in sheet.equipment else "HW3"
    for n in heaters:
        sheet.line("water", start, f"WH{n}.inlet", family="heater water", why=room)
        sheet.line("water", f"WH{n}.outlet_1", "HH1", family="wash supply", why=room)
    sheet.line("water", "HH1", "V60", "TR1.supply_1", family="wash supply", why=room)
    sheet.line("water", "HW3", "V61", "TR1.supply_2", family="water", why=room)
    sheet.line("water", "HW4", "V62", "TR1.supply_3", family="recovered water", why=room)
    for n in (1, 2):
        sheet.line(
            "wash",
            f"DS{n}.outlet",
            f"TR1.dose_{n}",
            family="dosing",
            why=room,
        )
    sheet.line("drain", "TR1.drain", "V63", "FD1.inlet_13", family="drain", why=room)
    sheet.line("wash", "TR1.outlet_1", "LP4", "V64", family="wash supply", why=room)
    if want.rotary:
        sheet.line(
            "wash",
            "V64.b",
            "GL1.fixed_wash",
            family="wash supply",
            why="to the deck",
        )
        sheet.line(
            "wash",
            "GL1.deck_wash",
            "MU1.wash",
            family="wash supply",
            why="round the deck",
        )
    else:
        sheet.line(
            "wash",
            "V64.b",
            "MU1.wash",
            family="wash supply",
            why="to the pit, then along it",
        )
    sheet.line("wash", f"{want.fills[-1].divert}.c", "V65.a", family="wash return", why=room)
    sheet.line("wash", "V65.b", "TR1.return_1", family="wash return", why=room)
    sheet.line("drain", "V65.c", "FD1.inlet_14", family="wash return", why=room)
    sheet.line(
        "air",
        "AI1.outlet",
        "V66",
        "ML1.air",
        family="injector air",
        why="at the milkline",
    )
    sheet.add("header", "HT1", label="Tank wash header")
    sheet.line("wash", "TR1.outlet_2", "LP5", "HT1", family="wash supply", why=room)
    for n in range(1, want.tanks + 1):
        by_air(
            sheet, f"V6{n + 6}", f"Wash to tank {n}", seats="double", duty="wash_supply",
            on_loss="closes",
        )  # fmt: skip
        sheet.line(
            "wash",
            "HT1",
            f"V6{n + 6}",
            f"TK{n}.wash",
            family="wash supply",
            why="to the milk room",
        )
