"""How plants differ from their data plates, how far faults go, how sure readings are, and minutes.

All of it is common practice, no source, or byrewright's own choice; a farm's own record wins.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from byrewright.standards.model import Value


def _choice(key: str, value: float, unit: str, meaning: str, low: float, high: float) -> Value:
    return Value(f"diagnosis.{key}", value, unit, meaning, "practice", "common_practice",
                 "typical", low, high)  # fmt: skip


VALUES: tuple[Value, ...] = (
    _choice("sound_share", 0.6, "", "chance, before anything is read, that a plant on which nobody "
            "complains has no fault", 0.2, 0.8),
    _choice("rate_power", 0.5, "", "power to which rates are taken as chances: what comes often is "
            "also found and mended soon, and lives are known within a factor of three", 0.0, 1.0),
    _choice("pair_share", 0.05, "", "chance that a second fault stands beside the first", 0.01,
            0.2),
    _choice("decided_share", 0.95, "", "chance from which a cause counts as decided", 0.8, 0.99),
    _choice("cleared_share", 0.99, "", "chance from which a plant counts as sound", 0.9, 0.999),
    _choice("idle_complaint_share", 0.05, "", "chance that people complain of what is as it should "
            "be", 0.01, 0.2),
    _choice("heard_share", 0.9, "", "chance that people notice what is twice as far off as they "
            "can notice", 0.7, 0.99),
    _choice("misfit_chance", 1e-4, "", "chance, of readings as far off as those taken, under which "
            "no fault is said to explain them", 1e-8, 0.01),
    _choice("fitted_share", 0.5, "", "a figure is fitted where readings leave at most this share "
            "of the spread that it has before any", 0.2, 0.8),
    _choice("told_apart", 4.0, "", "distance between two faults, in standard deviations of all "
            "readings together, from which they are told apart", 2.0, 6.0),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Deviation:
    """How far a figure lies from its data plate: sigma of its logarithm.

    `sound` in plants without a fault, `wide` before anything is known of one in use.
    """

    words: str
    sound: float
    wide: float


DEVIATIONS: Mapping[str, Deviation] = {
    "vacuum_capacity": Deviation("capacity", 0.03, 0.4),
    "vacuum_setting": Deviation("working vacuum that its control holds", 0.008, 0.1),
    "regulator_leak": Deviation("air that it lets in while shut", 0.3, 1.5),
    "system_leak": Deviation("air leakage of the vacuum side", 0.3, 1.5),
    "milk_leak": Deviation("air leakage of the milk side", 0.3, 1.5),
    "regulator_capacity": Deviation("air that the open regulator admits", 0.03, 0.4),
    "air_lines": Deviation("free bore of all air lines", 0.005, 0.15),
    "air_line": Deviation("free bore", 0.005, 0.3),
    "dryer_works": Deviation("share of the air that it dries", 0.0002, 0.5),
    "claw_air": Deviation("air admitted at each claw", 0.07, 0.5),
    "pulse_rate": Deviation("pulsation rate", 0.008, 0.1),
    "pulse_ratio": Deviation("pulsator ratio", 0.012, 0.15),
    "pulse_rise": Deviation("time in which the chambers are evacuated", 0.08, 0.7),
    "pulse_fall": Deviation("time in which the chambers are filled with air", 0.08, 0.7),
    "milk_pump_head": Deviation("head of the milk pump", 0.03, 0.4),
    "pump_head": Deviation("head of the pump", 0.03, 0.4),
    "cooler_ua": Deviation("heat transfer", 0.06, 0.6),
    "cooler_water": Deviation("cooling water through it", 0.06, 0.6),
    "water_c": Deviation("temperature of the water as it comes", 0.1, 0.5),
    "cold_duty": Deviation("cold that it makes", 0.05, 0.5),
    "tank_cooling": Deviation("cooling of the tank", 0.05, 0.5),
    "tank_wall": Deviation("heat through the wall of the tank", 0.15, 1.0),
    "heater_kw": Deviation("heating power", 0.04, 0.7),
    "heater_set": Deviation("temperature that it holds", 0.015, 0.1),
    "air_capacity": Deviation("free air delivered", 0.04, 0.5),
    "air_leak": Deviation("leakage of compressed air", 0.3, 1.5),
    "milk_out": Deviation("milk-out time of the herd", 0.04, 0.3),
    "turn_time": Deviation("time of a turn", 0.01, 0.3),
    "filter_area": Deviation("free area of the filter", 0.05, 1.0),
    "dose": Deviation("detergent dosed", 0.04, 0.7),
    "liner_age": Deviation("milkings of its liners, of their life", 0.35, 0.8),
    "pulses": Deviation("that it pulsates at all", 0.0005, 1.0),
    "own": Deviation("its own reading", 0.05, 1.0),
}
"""Figures of a plant that readings can tell, and how far they usually lie away."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """How well a reading repeats between people and days: one sigma, share of it and at least."""

    share: float
    least: float


DOUBTS: Mapping[str, Doubt] = {
    "kPa": Doubt(0.0, 0.2),
    "L/min": Doubt(0.02, 2.0),
    "degC": Doubt(0.0, 0.4),
    "K": Doubt(0.0, 0.4),
    "h": Doubt(0.04, 0.08),
    "s": Doubt(0.01, 2.0),
    "ms": Doubt(0.0, 4.0),
    "%": Doubt(0.0, 0.7),
    "1/min": Doubt(0.0, 0.15),
    "mL": Doubt(0.04, 10.0),
    "mm": Doubt(0.02, 1.0),
    "A": Doubt(0.03, 0.2),
}
"""By unit; the instrument's own uncertainty is added."""
OWN_DOUBTS: Mapping[str, Doubt] = {
    "sensitivity": Doubt(0.0, 0.1),
    "fall_off_drop": Doubt(0.0, 0.1),
    "drop_regulator": Doubt(0.0, 0.1),
    "drop_pump": Doubt(0.0, 0.1),
    "drop_pulsator_line": Doubt(0.0, 0.1),
    "system_leak": Doubt(0.06, 20.0),
    "milk_leak": Doubt(0.06, 10.0),
    "swivel_leak": Doubt(0.06, 10.0),
    "regulator_leak": Doubt(0.06, 8.0),
    "regulation_loss": Doubt(0.05, 30.0),
    "effective_reserve": Doubt(0.03, 50.0),
    "manual_reserve": Doubt(0.03, 50.0),
    "claw_air": Doubt(0.03, 0.4),
    "shut_off_leak": Doubt(0.05, 0.5),
    "exhaust": Doubt(0.05, 0.15),
    "air_leak_down": Doubt(0.05, 5.0),
    "dew_point": Doubt(0.0, 1.5),
    "back_flow": Doubt(0.1, 1.0),
    "liner_age": Doubt(0.03, 3.0),
    "meter_error": Doubt(0.0, 1.0),
    "cooler_milk_flow": Doubt(0.06, 2.0),
    "cooler_water_flow": Doubt(0.04, 2.0),
    "turn_time": Doubt(0.01, 3.0),
    "tank_rise": Doubt(0.05, 0.1),
    "milk_out": Doubt(0.02, 3.0),
}
"""Where a reading repeats better or worse than its unit says (differences on one instrument)."""


@dataclass(frozen=True, slots=True)
class Notice:
    """A figure that people notice by themselves, and how far off it must be: + more, - less."""

    figure: str
    off: float
    share: bool = False
    """`off` is a share of what it should be."""


@dataclass(frozen=True, slots=True)
class Complaint:
    """What a caller says, and the figures of the plant that it may be about."""

    words: str
    about: tuple[Notice, ...]


COMPLAINTS: Mapping[str, Complaint] = {
    "vacuum low": Complaint("the vacuum gauge is low", (
        Notice("working_vacuum", -1.0), Notice("vacuum_one_open", -1.5),
        Notice("effective_reserve", -0.5, share=True))),
    "vacuum high": Complaint("the vacuum gauge is high", (Notice("working_vacuum", 1.0),)),
    "slow milking": Complaint("milking takes longer than it did", (
        Notice("milk_out", 0.07, share=True), Notice("turn_time", 0.08, share=True),
        Notice("working_vacuum", -2.0), Notice("phase_b", -8.0), Notice("phase_d", -8.0),
        Notice("pulsation_rate", -5.0), Notice("pulsation_rate", 5.0),
        Notice("pulsator_ratio", -6.0), Notice("pulsator_ratio", 6.0),
        Notice("milk_pump_flow", -0.3, share=True), Notice("claw_air", -0.4, share=True))),
    "milk warm": Complaint("milk comes to the tank too warm", (
        Notice("cooler_milk_out", 1.5), Notice("cooler_approach", 1.5),
        Notice("tank_blend", 1.0))),
    "tank slow to cool": Complaint("the tank takes longer to be cold", (
        Notice("cooling_time", 0.4), Notice("tank_blend", 1.0), Notice("cooler_milk_out", 1.5),
        Notice("tank_rise", 0.5), Notice("ice_hours", 0.3, share=True))),
    "water in the dryer": Complaint("water comes with the compressed air", (
        Notice("dew_point", 5.0), Notice("air_leak_down", 0.8, share=True))),
    "air pressure low": Complaint("the compressed air is low, or its compressor never rests", (
        Notice("compressor_output", -0.15, share=True),
        Notice("air_leak_down", 0.8, share=True))),
    "cups fall": Complaint("cups fall while others are put on", (
        Notice("vacuum_one_open", -1.5), Notice("working_vacuum", -1.5),
        Notice("fall_off_drop", 0.7), Notice("effective_reserve", -0.5, share=True),
        Notice("swivel_leak", 200.0), Notice("liner_age", 80.0))),
    "high counts": Complaint("bacteria or cells are up in the milk", (
        Notice("wash_return", -4.0), Notice("wash_dose", -0.25, share=True),
        Notice("heater_stored", -5.0), Notice("cooling_time", 0.7), Notice("tank_blend", 1.5),
        Notice("phase_d", -6.0), Notice("limping", 6.0), Notice("phase_d_ms", -60.0),
        Notice("pump_flow", -0.25, share=True), Notice("liner_age", 80.0))),
    "wash cold": Complaint("the wash comes back cold", (
        Notice("wash_return", -4.0), Notice("heater_stored", -5.0),
        Notice("heat_up", 0.3, share=True))),
}  # fmt: skip
"""What people say, by a few words. A complaint names figures, never causes: which fault moves a
figure so far is for the plant's own physics to say."""

TEST_MINUTES: Mapping[str, float] = {
    "working vacuum": 5,
    "regulation sensitivity": 5,
    "pump capacity": 15,
    "exhaust back pressure": 5,
    "effective reserve": 20,
    "regulation loss": 1,
    "regulator leakage": 10,
    "vacuum system leakage": 15,
    "milk system leakage": 15,
    "vacuum drops": 5,
    "pump line drop": 5,
    "air line drop": 10,
    "regulation in time": 10,
    "interceptor volume": 2,
    "sanitary trap volume": 5,
    "non-return valve holds": 5,
    "standby change": 5,
    "pulsation rate": 2,
    "pulsator ratio": 0,
    "phases b and d": 0,
    "cluster air admission": 3,
    "liner condition": 5,
    "shut-off valve leakage": 2,
    "removal at the end of flow": 2,
    "meter beside a scale": 5,
    "milkline slope": 20,
    "milkline vacuum stability": 10,
    "receiver volume": 2,
    "milk pump flow": 10,
    "level control": 5,
    "loading flow": 10,
    "outlet temperature and approach": 10,
    "cooling time": 5,
    "insulation": 10,
    "refrigeration check": 45,
    "ice made and held": 10,
    "wash return temperature and dose": 15,
    "slug velocity": 10,
    "heat-up": 5,
    "compressor output": 10,
    "dew point": 5,
    "air leak-down": 12,
    "relief valve": 10,
    "pump flow": 10,
    "source flow": 15,
    "backflow test": 20,
    "emergency stops": 30,
    "level and run-out": 30,
    "stray voltage": 20,
    "turn time": 10,
    "drive current": 5,
    "vacuum and milk swivel leakage": 15,
    "slip ring resistance": 20,
    "gate stops when held": 5,
    "bonding resistance": 60,
    "residual-current trip": 30,
    "supply at the start": 10,
    "transfer and load steps": 30,
    "bridging time": 20,
    "restart after a power cut": 10,
    "heard everywhere": 10,
    "valve travel": 3,
}
"""Minutes of work of each test, by its name; 0 where another test's record gives it. Common
practice, no source."""
