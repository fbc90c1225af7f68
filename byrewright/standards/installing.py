"""Installing: hours by task, who usually supplies what, and how sure a count is.

All of it is common practice without a source. A quotation names every norm that it used; the
user's own numbers go into the terms file, and the hours of finished jobs correct them.
"""

from __future__ import annotations

from collections.abc import Mapping

from byrewright.standards.model import Value


def _norm(key: str, hours: float, unit: str, meaning: str, low: float, high: float) -> Value:
    return Value(f"install.{key}", hours, unit, meaning, "practice", "common_practice", "typical",
                 low, high)  # fmt: skip


RUNNING: Mapping[str, tuple[str, tuple[float, float], tuple[float, float]]] = {
    "electricity": ("electricity", (0.9, 1.15), (0.75, 1.4)),
    "water": ("water", (0.85, 1.25), (0.9, 1.3)),
    "chemicals": ("wash chemicals", (0.9, 1.2), (0.9, 1.25)),
    "labour": ("milking work", (0.95, 1.15), (0.95, 1.15)),
    "service": ("parts and service", (0.7, 1.5), (0.95, 1.1)),
}
"""Parts of the running cost: in words, and how far use and price may be off, least and most, as
shares of what is stated or simulated (common practice, no source)."""


def _ranges() -> tuple[Value, ...]:
    return tuple(
        Value(f"quote.{key}_{what}_{end}", share, "",
              f"{words}: {what} at the {'least' if end == 'low' else 'most'}, of the usual",
              "practice", "common_practice", "typical",
              least=0.0 if end == "low" else 1.0, most=1.0 if end == "low" else 5.0)
        for key, (words, *both) in RUNNING.items()
        for what, pair in zip(("use", "price"), both, strict=True)
        for end, share in zip(("low", "high"), pair, strict=True)
    )  # fmt: skip


VALUES: tuple[Value, ...] = (
    _norm("pipe_40_h_m", 0.25, "h/m", "lay a metre of pipe up to 40 mm bore", 0.15, 0.4),
    _norm("pipe_65_h_m", 0.35, "h/m", "lay a metre of pipe over 40 mm and up to 65 mm bore",
          0.2, 0.5),
    _norm("pipe_100_h_m", 0.5, "h/m", "lay a metre of pipe over 65 mm and up to 100 mm bore",
          0.3, 0.8),
    _norm("pipe_over_h_m", 0.8, "h/m", "lay a metre of pipe over 100 mm bore", 0.5, 1.3),
    _norm("joint_40_h", 0.3, "h", "make a joint up to 40 mm bore", 0.15, 0.5),
    _norm("joint_65_h", 0.45, "h", "make a joint over 40 mm and up to 65 mm bore",
          0.25, 0.7),
    _norm("joint_100_h", 0.7, "h", "make a joint over 65 mm and up to 100 mm bore", 0.4, 1.0),
    _norm("joint_over_h", 1.0, "h", "make a joint over 100 mm bore", 0.6, 1.6),
    _norm("support_h", 0.25, "h", "set a pipe support", 0.15, 0.5),
    _norm("valve_h", 0.5, "h", "fit a valve between joints that are counted", 0.3, 1.0),
    _norm("stall_h", 5.0, "h", "build a stall of the platform or rows", 3.0, 8.0),
    _norm("stall_set_h", 0.6, "h", "set a machine of which every stall has one", 0.3, 1.2),
    _norm("tank_h", 16.0, "h", "bring in and set a milk tank", 8.0, 32.0),
    _norm("machine_h", 4.0, "h", "set and align a machine with a motor", 2.0, 8.0),
    _norm("vessel_h", 2.0, "h", "set a machine without a motor", 1.0, 4.0),
    _norm("motor_h", 1.5, "h", "connect and turn a motor or heater", 0.8, 3.0),
    _norm("cable_h_m", 0.08, "h/m", "pull and fix a metre of cable", 0.04, 0.15),
    _norm("sensor_h", 1.0, "h", "fit and wire a sensor or a valve's position switch", 0.5, 2.0),
    _norm("prove_h", 0.5, "h", "prove a sensor or position switch to the alarm", 0.25, 1.0),
    _norm("test_h", 0.4, "h", "do a test of the commissioning sheets", 0.2, 1.0),
    _norm("training_h", 4.0, "h", "teach one operator", 2.0, 8.0),
    Value("install.cable_guess_m", 25.0, "m", "a cable where there is no plan", "practice",
          "common_practice", "typical", 10.0, 60.0),
    Value("quote.contingency_measured_pct", 2.0, "%", "contingency on what is measured or counted",
          "practice", "common_practice", "typical", 0.0, 5.0, least=0.0, most=50.0),
    Value("quote.contingency_plan_pct", 6.0, "%", "contingency on lengths taken from the plan",
          "practice", "common_practice", "typical", 3.0, 10.0, least=0.0, most=50.0),
    Value("quote.contingency_guessed_pct", 20.0, "%", "contingency on what is guessed", "practice",
          "common_practice", "typical", 10.0, 30.0, least=0.0, most=100.0),
    *_ranges(),
    Value("quote.rise_spread_pct", 1.5, "%", "how far the yearly rise of running costs may be off",
          "practice", "common_practice", "typical", 0.5, 3.0, least=0.0, most=10.0),
    Value("quote.rate_old_days", 30.0, "d", "age after which a currency's rate is called old",
          "practice", "common_practice", "typical", 7.0, 60.0),
)  # fmt: skip

TASKS: tuple[str, ...] = tuple(
    v.key.removeprefix("install.") for v in VALUES if v.unit in ("h", "h/m")
)
"""What hours are reckoned for, by the rule's key without `install.`."""

PARTIES = ("installer", "electrician", "refrigeration", "builder", "farm")
"""Who can supply something; `installer` is the one who quotes."""

SCOPES: Mapping[str, tuple[str, str]] = {
    "parlour": ("platform, milking units and what turns and fits them", "installer"),
    "machines": ("machines of vacuum, milk, wash, water and air", "installer"),
    "tanks": ("milk tanks and their agitators", "installer"),
    "refrigeration": ("machines that make cold, with refrigerant and its tests", "refrigeration"),
    "boards": ("switchboards, standby generator and uninterruptible supplies", "electrician"),
    "controls": ("controllers, sensors and sounders", "installer"),
    "pipes": ("pipes, fittings, valves and supports", "installer"),
    "cables": ("power cables and the connection of motors", "electrician"),
    "signals": ("signal cables and the wiring of sensors and position switches", "installer"),
    "site": ("mains supply, water source, drains and the tanker's stand", "farm"),
    "proving": ("commissioning tests and training", "installer"),
    "works": ("floors, pits, plinths, gullies, openings, doors and ventilation", "builder"),
    "permits": ("permits, inspections by authorities and insurance of the site", "farm"),
    "waste": ("removal of old machines and of packing", "farm"),
}
"""What there is to supply: in words, and who usually does (common practice, no source)."""
