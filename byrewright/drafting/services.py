"""Services: compressed air, power, control, alarm, laundry."""

from __future__ import annotations

from byrewright.drafting.intent import Intent
from byrewright.drafting.sheet import Sheet

SMALL_LOAD_KG, LARGE_LOAD_KG = 10.0, 24.0
LARGE_LAUNDRY_COWS = 2500
"""Common washer sizes, and the cows milked a day from which the larger is drafted (no source)."""


def compressed_air(sheet: Sheet, want: Intent) -> None:
    """Compressors with a dryer each, trap, receiver."""
    sheet.first_bore_mm["compressed air"] = 25.0
    sheet.add("header", "HA1", label="Dry air header")
    sheet.add("moisture_trap", "MT1")
    sheet.add("air_receiver", "AV1", volume_l=270.0, why={"volume_l": "first guess"})
    for n in want.pump_places:
        sheet.add(
            "air_compressor",
            f"AC{n}",
            capacity_l_min_free=400.0,
            motor_kw=4.0,
            fed_from=f"SB{n + 1}",
            normally="runs" if n == 1 else "ready",
            twins="air compressors",
            why={"capacity_l_min_free": "first guess", "motor_kw": "first guess"},
        )
        sheet.add(
            "air_dryer",
            f"AD{n}",
            capacity_l_min_free=500.0,
            fed_from=f"SB{n + 1}",
            twins="air dryers",
            why={"capacity_l_min_free": "first guess"},
        )
        sheet.add("valve", f"V9{n}", label=f"Dryer {n} bypass", moved_by="hand")
        sheet.add("header", f"HA{n + 1}", label=f"After compressor {n}")
        room = "in the plant room"
        sheet.line("air", f"AC{n}.outlet", f"HA{n + 1}", family="compressed air", why=room)
        sheet.line("air", f"HA{n + 1}", f"AD{n}", "HA1", family="compressed air", why=room)
        sheet.line("air", f"HA{n + 1}", f"V9{n}", "HA1", family="compressed air", why=room)
    sheet.line(
        "air",
        "HA1",
        "MT1",
        "AV1.inlet_1",
        family="compressed air",
        why="in the plant room",
    )
    if want.rotary:
        sheet.line(
            "air",
            "AV1.outlet_1",
            "GL1.fixed_air",
            family="compressed air",
            why="to the deck",
        )
        sheet.line(
            "air",
            "GL1.deck_air",
            "BF1.air",
            family="compressed air",
            why="on the deck",
        )


def power(sheet: Sheet, want: Intent) -> None:
    """Supply, boards, standby, controller, alarm."""
    phases = want.site.supply.phases
    if want.site.supply.limit_kva:
        sheet.lock("EM1", "supply_kva")
    sheet.add(
        "mains",
        "EM1",
        supply_kva=want.site.supply.limit_kva or 150.0,
        phases=phases,
        why={
            "supply_kva": "stated in the brief"
            if want.site.supply.limit_kva
            else "not stated: agree it with the supplier",
            "phases": "as the site's supply",
        },
    )
    sources = ["EM1"]
    if want.wishes.standby_power != "none":
        hand = want.wishes.standby_power == "tractor"
        sheet.add(
            "generator",
            "GE1",
            rating_kva=120.0,
            start_by="tractor" if hand else "automatic",
            start_s=600.0 if hand else 15.0,
            why={
                "rating_kva": "first guess",
                "start_by": "as the brief states",
                "start_s": "ten minutes to fetch and couple a tractor"
                if hand
                else "usual automatic start",
            },
        )
        sources.append("GE1")
    first, second = _boards(sheet, want, sources)
    sheet.add("switchboard", "SB2", label="Switchboard A", fed_from=first)
    sheet.add("switchboard", "SB3", label="Switchboard B", fed_from=second)
    sheet.add(
        "uninterruptible_supply",
        "US1",
        rating_kva=2.0,
        fed_from=first,
        why={"rating_kva": "first guess"},
    )
    direct = ["US1", "SB2"] if want.twin else ["US1"]
    sheet.add("controller", "CT1", label="Plant controller", fed_from=direct)
    sheet.add("sounder", "AS1", fed_from="US1", controlled_by="CT1")


def _boards(sheet: Sheet, want: Intent, sources: list[str]) -> tuple[list[str], list[str]]:
    """Main switchboards, and the order in which boards A and B are fed from them."""
    sheet.add("switchboard", "SB1", label="Main switchboard", fed_from=sources)
    if not want.twin:
        return ["SB1"], ["SB1"]
    sheet.add("switchboard", "SB4", label="Second main switchboard", fed_from=sources)
    return ["SB1", "SB4"], ["SB4", "SB1"]


SENSED: tuple[tuple[str, str, str, str], ...] = (
    ("SN2", "current", "VP1", "Vacuum pump 1 runs"),
    ("SN3", "current", "VP2", "Vacuum pump 2 runs"),
    ("SN35", "current", "LP3", "Recovered water pump runs"),
    ("SN36", "current", "LP4", "Wash pump runs"),
    ("SN37", "current", "LP5", "Tank wash pump runs"),
    ("SN38", "level", "CF1", "Calf-milk vessel full"),
    ("SN39", "level", "WM1", "Withheld-milk vessel full"),
    ("SN40", "presence", "AI1", "Air injector pulses"),
)
"""Sensors that the routes study needs so that no wrong state passes unseen."""


def proofs(sheet: Sheet, want: Intent) -> None:
    """Run feedback and full signals, where the farm pays for seeing what is wrong, or a study has
    shown that harm would pass unseen."""
    for sensor_id, measures, on, label in SENSED:
        if want.sensed or (on, "sensor") in sheet.sizes:
            sheet.sense(sensor_id, measures, on, label)


def laundry(sheet: Sheet, want: Intent) -> None:
    """Cloth washers and dryers."""
    if not want.cloths:
        return
    count = 2 if want.twin else 1
    cows_a_day = want.herd.cows * len(want.milkings)
    load = LARGE_LOAD_KG if cows_a_day > LARGE_LAUNDRY_COWS else SMALL_LOAD_KG
    sheet.add(
        "cloth_washer",
        "CW1",
        count=count,
        load_kg=load,
        motor_kw=7.5,
        fed_from="SB3",
        why={
            "count": "two, so that one can fail" if want.twin else "one",
            "load_kg": "a common size for this many cloths",
            "motor_kw": "with electric heating",
        },
    )
    sheet.add(
        "cloth_dryer",
        "CD1",
        count=count,
        load_kg=load,
        motor_kw=7.5,
        fed_from="SB3",
        why={
            "count": "as the washers",
            "load_kg": "a common size for this many cloths",
            "motor_kw": "with electric heating",
        },
    )
    sheet.line("water", "HW3", "CW1.water", family="laundry water", why="in the plant room")
    sheet.line(
        "drain",
        "CW1.drain",
        "FD1.inlet_15",
        family="laundry drain",
        why="in the plant room",
    )
