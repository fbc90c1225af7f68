"""How each test that a kind names is done, what is read, and which finding predicts and limits it.

Methods and connection points of the vacuum tests are in the manner of ISO 6690, the others common
practice; no standard's text was read. Nothing here is a limit: those are the rulebook's, and reach
a test by the finding of the study that owns the figure.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Group = Literal[
    "Safety", "Vacuum and airflow", "Pulsation", "Milking units", "Milk", "Cooling", "Wash",
    "Compressed air", "Water", "Deck and gates", "Power", "Valves", "Alarms",
]  # fmt: skip
GROUPS: tuple[Group, ...] = (
    "Safety", "Vacuum and airflow", "Pulsation", "Milking units", "Milk", "Cooling", "Wash",
    "Compressed air", "Water", "Deck and gates", "Power", "Valves", "Alarms",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Figure:
    """One thing that is read: a number in `unit`, or seen to be so ("" is a tick).

    `findings` are the keys (with *) of what predicts it and limits it. With `setting` the figure is
    read as it stands and held within `away` (a rule) of that field of the machine: per cent of it
    where `share`. `most` and `least` are rules that limit what no study predicts.
    """

    key: str
    title: str
    unit: str = ""
    findings: tuple[str, ...] = ()
    point: str = ""
    setting: str = ""
    away: str = ""
    share: bool = False
    most: str = ""
    least: str = ""
    piped: bool = False
    """A flow of what the machine's pipes carry, air or liquid."""


@dataclass(frozen=True, slots=True)
class Test:
    """A test: its chapter, what is done, who may do it, and what is read.

    Its minutes of work are in `standards.diagnosis.TEST_MINUTES`.
    """

    group: Group
    how: str
    figures: tuple[Figure, ...]
    licensed: bool = False
    each: bool = False
    """Every single one of those that stand for many."""
    whole: bool = False
    """Of the plant as a whole: once, however many machines name it."""
    part_of: str = ""
    """The test whose record or readings give it, too."""


def _tick(
    group: Group, key: str, title: str, how: str, *, licensed: bool = False, each: bool = False
) -> Test:
    return Test(group, how, (Figure(key, title),), licensed, each)


V = "vacuum.test."
TESTS: Mapping[str, Test] = {
    # vacuum and airflow
    "working vacuum": Test("Vacuum and airflow", "All units plugged and pulsating, regulation in "
        "use; read the vacuum at the receiver after a minute.",
        (Figure("working_vacuum", "Working vacuum", "kPa", (V + "working_vacuum",), "Vm"),),
        whole=True),
    "regulation sensitivity": Test("Vacuum and airflow", "Read the vacuum at the receiver with all "
        "units working and with none; enter the rise.",
        (Figure("sensitivity", "Rise with no unit working", "kPa", (V + "sensitivity",), "Vm"),),
        whole=True),
    "pump capacity": Test("Vacuum and airflow", "Pump cut off from the plant, at full speed; let "
        "air in at the pump until 50 kPa stand there.",
        (Figure("pump_capacity", "Airflow of the pump at 50 kPa", "L/min", (V + "pump_capacity",),
                "A2"),)),
    "exhaust back pressure": Test("Vacuum and airflow", "Pump at full speed and working vacuum; "
        "read the pressure in the exhaust.",
        (Figure("exhaust", "Exhaust back pressure", "kPa", (V + "exhaust",), "Pe"),)),
    "effective reserve": Test("Vacuum and airflow", "All units working and plugged; let air in at "
        "the receiver until the vacuum there is 2 kPa lower. Once more with regulation shut off.",
        (Figure("effective_reserve", "Effective reserve", "L/min",
                (V + "effective_reserve_iso", V + "effective_reserve_us"), "A1"),
         Figure("manual_reserve", "Manual reserve", "L/min", (V + "manual_reserve",), "A1")),
        whole=True),
    "regulation loss": Test("Vacuum and airflow", "Manual reserve less effective reserve.",
        (Figure("regulation_loss", "Regulation loss", "L/min", (V + "regulation_loss",), "A1"),),
        whole=True, part_of="effective reserve"),
    "regulator leakage": Test("Vacuum and airflow", "As manual reserve, once with the regulator "
        "connected and once cut off; enter the difference.",
        (Figure("regulator_leak", "Regulator leakage", "L/min", (V + "regulator_leak",), "A1"),),
        whole=True),
    "vacuum system leakage": Test("Vacuum and airflow", "Milk system and units cut off; airflow of "
        "the pump less what the plant lets it take.",
        (Figure("system_leak", "Vacuum-system leakage", "L/min", (V + "system_leak",), "A2"),),
        whole=True),
    "milk system leakage": Test("Vacuum and airflow", "Airflow at the receiver with the milk system "
        "connected and cut off; enter the difference.",
        (Figure("milk_leak", "Milk-system leakage", "L/min", (V + "milk_leak",), "A1"),),
        whole=True),
    "vacuum drops": Test("Vacuum and airflow", "With the effective reserve drawn at the receiver, "
        "read both points on one instrument; enter the difference.",
        (Figure("drop_regulator", "Vacuum drop, receiver to regulator", "kPa",
                (V + "drop_regulator_iso", V + "drop_regulator_nmc"), "Vm, Vr"),), whole=True),
    "pump line drop": Test("Vacuum and airflow", "With the effective reserve drawn at the receiver, "
        "read both points on one instrument; enter the difference.",
        (Figure("drop_pump", "Vacuum drop, receiver to pump inlet", "kPa",
                (V + "drop_pump_iso", V + "drop_pump_nmc"), "Vm, Vp"),)),
    "air line drop": Test("Vacuum and airflow", "All units pulsating; read the receiver and the far "
        "end of the pulsator line on one instrument.",
        (Figure("drop_pulsator_line", "Vacuum drop, receiver to the far end of the pulsator line",
                "kPa", (V + "drop_pulsator_line_iso", V + "drop_pulsator_line_nmc"), "Vm"),),
        whole=True),
    "regulation in time": Test("Vacuum and airflow", "Record the receiver's vacuum; open one unit "
        "for ten seconds and shut it, then attach one with its usual air. `byrewright readings` "
        "works the record out.",
        (Figure("fall_off_drop", "Vacuum drop with one unit open", "kPa", (V + "fall_off_drop",),
                "Vm"),
         Figure("undershoot", "Regulation undershoot", "kPa", (V + "undershoot",), "Vm"),
         Figure("overshoot", "Regulation overshoot", "kPa", (V + "overshoot",), "Vm"),
         Figure("attach_drop", "Vacuum drop by attachment", "kPa", (V + "attach_drop",), "Vm")),
        whole=True),
    "interceptor volume": Test("Vacuum and airflow", "From the data plate, or filled with water.",
        (Figure("interceptor", "Interceptor volume", "L", (V + "interceptor",)),)),
    "sanitary trap volume": Test("Vacuum and airflow", "From the data plate, or filled with water; "
        "lift the float by hand: it must shut.",
        (Figure("sanitary_trap", "Sanitary trap volume", "L", (V + "sanitary_trap",)),)),
    "non-return valve holds": Test("Vacuum and airflow", "Stop the machine before it while its "
        "partner runs: nothing flows back. Measure any back flow with an airflow meter or a bucket.",
        (Figure("non_return", "Holds against back flow"),
         Figure("back_flow", "Flow that comes back", "L/min", piped=True))),
    "standby change": Test("Vacuum and airflow", "Stop the running pump by its isolator; time until "
        "the vacuum at the receiver stands again.",
        (Figure("standby_change", "Time until vacuum stands again", "s"),)),
    # pulsation
    "pulsation rate": Test("Pulsation", "Record both halves at the short pulse tube, the teatcups "
        "plugged; `byrewright readings` works the record out.",
        (Figure("pulsation_rate", "Pulsation rate", "1/min", (V + "pulsation_rate",),
                setting="rate_per_min", away="vacuum.test.pulsation_rate_pct", share=True),),
        each=True),
    "pulsator ratio": Test("Pulsation", "As pulsation rate.",
        (Figure("pulsator_ratio", "Pulsator ratio", "%", (V + "pulsator_ratio",),
                setting="ratio_pct", away="vacuum.test.pulsator_ratio_points"),
         Figure("limping", "Limping", "%", most="vacuum.test.limping_points")), each=True,
        part_of="pulsation rate"),
    "phases b and d": Test("Pulsation", "As pulsation rate.",
        (Figure("phase_b", "Phase b", "%", (V + "phase_b",)),
         Figure("phase_d", "Phase d", "%", (V + "phase_d",)),
         Figure("phase_d_ms", "Phase d, time", "ms", (V + "phase_d_ms",))), each=True,
        part_of="pulsation rate"),
    # milking units
    "cluster air admission": Test("Milking units", "Airflow into the claw with the teatcups plugged "
        "and the shut-off open.",
        (Figure("claw_air", "Cluster air admission", "L/min",
                (V + "claw_air_least", V + "claw_air_most")),), each=True),
    "liner condition": Test("Milking units", "Cow-milkings a unit since the liners were changed, "
        "from the log or the farm's record, beside their life; look into three by a lamp: cracks, "
        "a rough or oval mouth.",
        (Figure("liner_age", "Milkings of the liners, of their life", "%",
                most="milking.liner_age_pct"),)),
    "shut-off valve leakage": Test("Milking units", "Airflow at the long milk tube, shut-off shut.", (Figure("shut_off_leak", "Leakage of the shut-off valve", "L/min", most="vacuum.test.shutoff_leak_l_min"),), each=True),
    "removal at the end of flow": _tick("Milking units", "removal", "Takes off and shuts at the end "
        "of flow", "Let water flow and stop it: the unit comes off with its vacuum shut.",
        each=True),
    "meter beside a scale": Test("Milking units", "Draw water of known mass through the meter; enter "
        "how far the meter is away from the scale.",
        (Figure("meter_error", "Meter away from the scale", "%"),), each=True),
    # milk
    "milkline slope": Test("Milk", "Level along the line, the least of all lengths.",
        (Figure("milkline_slope", "Least slope of the line", "%", ("milkline.slope",)),)),
    "milkline vacuum stability": Test("Milk", "Record line and receiver together through a milking; "
        "`byrewright readings` works the record out.",
        (Figure("milkline_stable", "Time within 2 kPa of the receiver", "%",
                least="milkline.drop_share_of_time_pct"),)),
    "receiver volume": Test("Milk", "From the data plate, or filled with water.",
        (Figure("receiver_volume", "Receiver volume", "L", ("receiving.receiver.volume",)),)),
    "milk pump flow": Test("Milk", "Fill the vessel before it with water; time a known volume "
        "through the whole delivery line.",
        (Figure("milk_pump_flow", "Flow of the milk pump", "L/min", ("reading.milk_pump_flow", "receiving.milk_pump.flow")),
         Figure("milk_pump_current", "Current of the milk pump", "A"))),
    "level control": _tick("Milk", "level_control", "Level leads the pump; starts, slows and stops",
        "Fill with water and watch the pump follow; let it run empty."),
    "loading flow": Test("Milk", "With water into a tanker or measuring tank.",
        (Figure("loading_flow", "Flow while loading", "L/min"),)),
    # cooling
    "outlet temperature and approach": Test("Cooling", "In steady flow of a milking; all "
        "temperatures within a minute, with one instrument.",
        (Figure("cooler_milk_flow", "Milk flow", "L/min", ("reading.cooler_milk_flow",)),
         Figure("cooler_water_flow", "Water flow", "L/min", ("reading.cooler_water_flow",)),
         Figure("cooler_milk_in", "Milk in", "degC", ("reading.cooler_milk_in",)),
         Figure("cooler_water_in", "Water in", "degC", ("reading.cooler_water_in",)),
         Figure("cooler_water_out", "Water out", "degC", ("reading.cooler_water_out",)),
         Figure("cooler_approach", "Milk after the water stage above water in", "K",
                ("cooling.plate.approach",)),
         Figure("cooler_milk_out", "Milk out", "degC", ("reading.cooler_milk_out", "cooling.chilled.out")))),
    "cooling time": Test("Cooling", "From the end of the milking until the tank shows cold; from the "
        "tank's record where it has one.",
        (Figure("cooling_time", "Time until the milk is cold", "h", ("reading.cooling_time", "cooling.tank.pull_down")),
         Figure("tank_blend", "Warmest blend of a later milking", "degC",
                ("reading.tank_blend", "cooling.tank.blend")))),
    "insulation": Test("Cooling", "Full of cold milk or water, refrigeration off, agitator still: "
        "rise in four hours.",
        (Figure("tank_rise", "Rise in four hours without cooling", "K", ("reading.tank_rise",)),)),
    "refrigeration check": _tick("Cooling", "refrigeration", "Pressures, superheat, leaks and "
        "safety cut-outs in order", "By a certified person, on the person's own sheet.",
        licensed=True),
    "ice made and held": Test("Cooling", "Hours from empty to a full bank, refrigeration alone.",
        (Figure("ice_hours", "Hours to a full bank", "h", ("reading.ice_hours",)),)),
    # wash
    "wash return temperature and dose": Test("Wash", "Record the return through a whole wash; dose "
        "by the level in its can.",
        (Figure("wash_return", "Return of the hot wash at its end", "degC",
                ("reading.wash_return", "wash.end_temperature")),
         Figure("wash_dose", "Detergent dosed", "mL", ("reading.wash_dose",)))),
    "slug velocity": Test("Wash", "Time a slug between two points of the milkline by eye or by two "
        "vacuum records.", (Figure("slug_velocity", "Velocity of a slug", "m/s"),)),
    "heat-up": Test("Wash", "From cold supply to the stored temperature.",
        (Figure("heat_up", "Hours to hot", "h", ("reading.heat_up",)), Figure("heater_stored", "Stored water", "degC", ("reading.heater_stored",)))),
    # compressed air
    "compressor output": Test("Compressed air", "Time the receiver between two pressures with "
        "nothing drawn; work the free air out from its volume.",
        (Figure("compressor_output", "Free air delivered", "L/min", ("air.compressor",)),)),
    "dew point": Test("Compressed air", "After an hour on load.",
        (Figure("dew_point", "Dew point under pressure", "degC", ("reading.dew_point",)),)),
    "air leak-down": Test("Compressed air", "Receiver full, compressors off, nothing drawn: fall of "
        "the pressure in ten minutes.",
        (Figure("air_leak_down", "Fall in ten minutes", "kPa", ("reading.air_leak_down",)),)),
    "relief valve": _tick("Safety", "relief_valve", "Relief valve in date, sealed and free",
        "By a licensed person, as the local rules for pressure vessels ask.", licensed=True),
    # water
    "pump flow": Test("Water", "Time a known volume at the far end.",
        (Figure("pump_flow", "Flow of the pump", "L/min", ("reading.pump_flow", "*.pump.flow", "*_pump.flow")),)),
    "source flow": Test("Water", "Time a known volume with everything open, after ten minutes.",
        (Figure("source_flow", "Flow of the source", "L/min"),)),
    "backflow test": _tick("Safety", "backflow", "Backflow preventer tested and tagged",
        "By a licensed person, with the gauge set that the local rules require.",
        licensed=True),
    # deck
    "emergency stops": _tick("Safety", "emergency_stops", "Every stop and rope stops the deck; no "
        "restart until released and reset, and a sound before it", "One after the other, deck "
        "empty and running; nobody below the deck. By a licensed person.", licensed=True),
    "level and run-out": Test("Deck and gates", "At eight places of one turn, by level or laser.", (Figure("deck_run_out", "Highest less lowest", "mm"),)),
    "stray voltage": Test("Safety", "Between the steel of the stalls and the floor where a cow stands, over "
        "500 ohm, all machines running. By a licensed person.",
        (Figure("stray_voltage", "Voltage at a cow's contacts", "V"),), licensed=True),
    "turn time": Test("Deck and gates", "At the speed of a milking, deck loaded.",
        (Figure("turn_time", "Time of a turn", "s", ("reading.turn_time",)),)),
    "drive current": Test("Deck and gates", "Each drive at the speed of a milking; on a clamp.",
        (Figure("drive_current", "Current of the drive", "A"),), each=True),
    "vacuum and milk swivel leakage": Test("Vacuum and airflow", "Airflow with the swivel connected "
        "and cut off, deck turning; enter the difference.",
        (Figure("swivel_leak", "Leakage of the swivel", "L/min"),)),
    "slip ring resistance": Test("Power", "Isolated and proved dead; through ring and brush, over a "
        "whole turn: the highest. By a licensed person.",
        (Figure("slip_ring", "Resistance of ring and brush", "ohm"),), licensed=True),
    "gate stops when held": _tick("Safety", "gate_stop", "Stops and backs off when held",
        "With a padded board, nobody in the yard."),
    # power
    "bonding resistance": Test("Safety", "Isolated; between the bonding bar and the stalls' steel, pipes "
        "and tanks: the highest. By a licensed person.",
        (Figure("bonding", "Highest bonding resistance", "ohm"),), licensed=True),
    "residual-current trip": Test("Safety", "Each device with a tester: the slowest. By a licensed "
        "person.", (Figure("residual_trip", "Slowest trip", "ms"),), licensed=True),
    "supply at the start": Test("Power", "Voltage at the main board while the largest motor starts: "
        "the dip.", (Figure("mains_dip", "Dip of the mains", "%", ("power.mains_dip",)),)),
    "transfer and load steps": Test("Power", "Mains off at the main switch by a licensed person, in "
        "the milking mode without cows; take the loads on in their order.",
        (Figure("transfer_time", "Time until the set carries the board", "s"),
         Figure("generator_dip", "Dip at the worst step", "%", ("power.dip",))), licensed=True),
    "bridging time": Test("Power", "Supply off; until it gives up or the time is held.",
        (Figure("bridging", "Time it holds", "min", ("power.ups_hold",)),)),
    "restart after a power cut": _tick("Power", "restart", "Comes back safe: nothing starts by "
        "itself that must not", "Supply off and on, nobody near a machine."),
    "heard everywhere": _tick("Alarms", "sounder", "Heard at every place of work, all running",
        "Sound it with the plant running; listen in pit, dairy, yard and house."),
    "valve travel": _tick("Valves", "valve_travel", "Goes all the way both ways; position shown "
        "right; shut, it holds",
        "With water: move it both ways, compare with what the controller shows."),
}  # fmt: skip
"""Every test by the name that kinds give it in `TESTS`."""

DIFFERENCES = frozenset({
    "sensitivity", "regulation_loss", "regulator_leak", "system_leak", "milk_leak",
    "drop_regulator", "drop_pump", "drop_pulsator_line", "exhaust", "fall_off_drop", "undershoot",
    "overshoot", "attach_drop", "meter_error", "cooler_approach", "tank_rise", "swivel_leak",
    "air_leak_down",
})  # fmt: skip
"""Figures that are the difference of two readings: a little under nothing where both are alike."""
SHARES = frozenset({
    "pulsator_ratio", "limping", "phase_b", "phase_d", "milkline_stable", "mains_dip",
    "generator_dip",
})  # fmt: skip
"""Figures in per cent of a whole."""
MOST_VACUUM_KPA, COLDEST_C, HOTTEST_C = 105.0, -60.0, 150.0
"""What no vacuum and no liquid of a plant goes beyond."""


def can_be(key: str, group: str, unit: str, value: float) -> bool:
    """Whether a figure can come out so at any plant, broken as it may be.

    >>> can_be("working_vacuum", "Vacuum and airflow", "kPa", 430.0)
    False
    >>> can_be("drop_pump", "Vacuum and airflow", "kPa", -0.1)
    True
    """
    if unit == "degC":
        return COLDEST_C <= value <= HOTTEST_C
    if key in SHARES and value > 100.0:
        return False
    if group == "Vacuum and airflow" and unit == "kPa" and abs(value) > MOST_VACUUM_KPA:
        return False
    return value >= 0.0 or key in DIFFERENCES or (unit in ("K", "%") and key not in SHARES)
