"""Deck and vacuum: platform, drives, rollers, gland, units, pumps, tanks, traps."""

from __future__ import annotations

from typing import Any

from byrewright.drafting.intent import Intent
from byrewright.drafting.sheet import Sheet
from byrewright.drafting.valves import low_point
from byrewright.standards.deck import TRACK_PITCH_M

ROW_CHANGE_S = 110.0
"""Time for a row to leave and the next to walk in (common practice, no source)."""
FIRST_BORES_MM = {
    "main air line": 150.0,
    "pump air line": 100.0,
    "deck air line": 100.0,
    "pulsator supply": 73.0,
    "withheld air line": 38.0,
}


def deck(sheet: Sheet, want: Intent) -> None:
    """The platform and what turns, carries and fills it."""
    given = (
        "stated in the brief"
        if want.stalls_given
        else "proposed from cows, hours and milk-out time"
    )
    if want.stalls_given:
        sheet.lock("PF1", "stalls")
    turn = 540.0 if want.rotary else ROW_CHANGE_S
    fields: dict[str, Any] = {"layout": want.layout, "stalls": want.stalls, "turn_s": turn}
    why = {
        "stalls": given,
        "turn_s": "first guess" if want.rotary else "a row leaves and the next walks in: usual",
        "layout": "stated in the brief",
    }
    if want.stall_mass_kg is not None:
        fields |= {"stall_mass_kg": want.stall_mass_kg}
        why |= {"stall_mass_kg": "a concrete deck; rollers, drives and the floor carry it"}
    if want.rotary and want.wishes.no_single_stop:
        fields |= {"joint_kit": True}
        why |= {"joint_kit": "a lifted rail joint is plated within milking (common practice)"}
    if want.rotary:
        fields |= {"rail_radius_m": want.radius_m}
        each = f"stalls at {TRACK_PITCH_M:g} m each along the track"
        why |= {"rail_radius_m": f"{each}; check with the builder"}
    else:
        fields |= {"rows": want.rows, "entry_stalls": 0.0, "stop_share_pct": 0.0}
        why |= {
            "rows": "stated in the brief",
            "entry_stalls": "rows fill at once",
            "stop_share_pct": "no deck to stop",
        }
    sheet.add("platform", "PF1", label="Platform", fed_from=want.either(2), why=why, **fields)
    if want.rotary:
        units = 2 if want.stalls < 50 and not want.twin else 3
        sheet.add(
            "drive_unit",
            "DU1",
            count=units,
            motor_kw=2.2,
            fed_from=want.either(3),
            controlled_by="CT1",
            why={
                "count": "the deck turns with one lifted out" if want.twin else "shares the load",
                "motor_kw": "first guess",
            },
        )
        sheet.add(
            "deck_rollers",
            "RL1",
            count=2 * want.stalls,
            rated_kn=12.0,
            why={"count": "two a stall: common practice", "rated_kn": "first guess"},
        )
        carries = ("vacuum", "milk", "wash", "air", "water", "power", "signal")
        sheet.add(
            "rotary_gland",
            "GL1",
            carries=carries,
            power_rings=2 if want.twin else 1,
            bore_mm=76.1,
            vacuum_bore_mm=150.0,
            why={
                "carries": "all that the deck needs",
                "power_rings": "a second set carries on when a brush is lost"
                if want.twin
                else "one",
                "bore_mm": "as the delivery line",
                "vacuum_bore_mm": "as the main air line",
            },
        )
    sheet.add("yard_gate", "YG1", fed_from=want.either(2), controlled_by="CT1")
    sheet.add("milking_unit", "MU1", count=want.stalls, why={"count": "one a stall"})
    sheet.add(
        "pulsator",
        "PU1",
        count=want.stalls,
        controlled_by="CT1",
        fed_from=want.either(2),
        why={"count": "one a unit"},
    )
    sheet.add(
        "automatic_removal",
        "AR1",
        count=want.stalls,
        controlled_by="CT1",
        moved_by="vacuum",
        why={"count": "one a unit", "moved_by": "needs no compressed air"},
    )
    sheet.add(
        "milk_meter", "MM1", count=want.stalls, controlled_by="CT1", why={"count": "one a unit"}
    )
    if want.rotary:
        sheet.add(
            "backflush",
            "BF1",
            count=1,
            controlled_by="CT1",
            air_from="AV1",
            why={"count": "one station between exit and entry"},
        )


def vacuum(sheet: Sheet, want: Intent) -> None:
    """Pumps, tank, main line, gland, traps and the pulsator line."""
    sheet.first_bore_mm.update(FIRST_BORES_MM)
    speed = "variable"
    for n in want.pump_places:
        sheet.add(
            "vacuum_pump",
            f"VP{n}",
            capacity_l_min_free=6000.0,
            motor_kw=15.0,
            speed=speed,
            start="drive",
            own_control=True,
            fed_from=f"SB{n + 1}",
            controlled_by="CT1",
            normally="stopped",
            twins="vacuum pumps",
            why={
                "capacity_l_min_free": "first guess",
                "motor_kw": "first guess",
                "speed": "saves 40-60 % of its power; reading in the published sources",
                "own_control": "usual: cups stay on when the controller stops",
                "fed_from": "each pump on a board of its own",
            },
        )
        sheet.add("non_return_valve", f"NR{n}", label="Non-return at vacuum pump")
        sheet.add(
            "valve",
            f"V1{n}",
            label="Vacuum pump hand valve",
            moved_by="hand",
            normally="open",
            sensed=want.sensed,
        )
    sheet.add("distribution_tank", "DT1", volume_l=400.0, why={"volume_l": "first guess"})
    sheet.add(
        "regulator",
        "RG1",
        capacity_l_min_free=6000.0,
        set_vacuum_kpa=want.vacuum_kpa,
        normally="backs up",
        why={
            "capacity_l_min_free": "takes the whole of one pump when speed control is lost",
            "set_vacuum_kpa": "low line: 40 kPa in phase b and 2 kPa of friction",
        },
    )
    sheet.add("header", "HV1", label="Air header at the receivers")
    sheet.sense("SN1", "vacuum", "HV1", "Working vacuum, sensed at the receivers")
    for n in range(1, want.receivers + 1):
        sheet.add(
            "sanitary_trap",
            f"ST{n}",
            volume_l=30.0,
            twins="sanitary traps",
            why={"volume_l": "first guess"},
        )
    sheet.add(
        "pulsator_airline",
        "PA1",
        bore_mm=76.1,
        length_m=want.ring_m,
        ring=True,
        why={
            "bore_mm": "first guess",
            "length_m": "round the stalls" if want.rotary else "along the rows",
            "ring": "a ring halves flow and way",
        },
    )
    low_point(sheet, want, "V19", "Distribution tank drain")


def vacuum_lines(sheet: Sheet, want: Intent) -> None:
    """The air lines; laid after receivers and gland are on the sheet."""
    for n in want.pump_places:
        sheet.line(
            "vacuum",
            f"DT1.pump_{n}",
            f"V1{n}",
            f"NR{n}",
            f"VP{n}.inlet",
            family="pump air line",
            why="between its machines",
        )
    if want.rotary:
        sheet.line(
            "vacuum",
            "HV1",
            "GL1.deck_vacuum",
            family="deck air line",
            why="at the centre of the deck",
        )
        sheet.line(
            "vacuum",
            "GL1.fixed_vacuum",
            "DT1.line_1",
            family="main air line",
            why="to the plant room",
        )
    else:
        sheet.line(
            "vacuum",
            "HV1",
            "DT1.line_1",
            family="main air line",
            why="to the plant room",
        )
    sheet.line(
        "vacuum",
        "RG1.vacuum",
        "DT1.line_2",
        family="main air line",
        why="at the tank",
    )
    for n in range(1, want.receivers + 1):
        sheet.line(
            "vacuum",
            f"RC{n}.vacuum",
            f"ST{n}",
            "HV1",
            family="deck air line",
            why="between its machines",
        )
    for _ in (1, 2):
        sheet.line(
            "vacuum",
            "PA1.supply_" + str(_),
            "HV1",
            family="pulsator supply",
            why="from the centre to the ring" if want.rotary else "to the pit",
        )
    sheet.line(
        "vacuum",
        "PU1.vacuum",
        "PA1.units_1",
        family="pulsator supply",
        why="at each stall",
    )
    sheet.line(
        "drain",
        "DT1.drain",
        "V19",
        "FD1.inlet_1",
        family="drain",
        why="to the floor",
    )
