"""Usual cautions by hazard. Local codes and licensed practice come first; none replaces them."""

from __future__ import annotations

from collections.abc import Mapping

LEAD = (
    "byrewright advises and monitors. It is not a safety system. Local codes, the makers' "
    "instructions and licensed people come first."
)
CAUTIONS: Mapping[str, str] = {
    "rotating": (
        "Rotating deck and drives: guard nip points at entry and exit, fit emergency stops within "
        "reach, sound a warning before a restart, lock out before work below the deck."
    ),
    "vacuum": "Vacuum plant: vent and isolate before opening; vessels must withstand full vacuum.",
    "pressure": (
        "Compressed air and pressure vessels: relieve to zero before work; vessels need a relief "
        "valve and inspection by the local rules."
    ),
    "chemicals": (
        "Caustic and acid: never mix them or mix acid with chlorine; wear eye and hand protection, "
        "keep water for rinsing at hand, and store them apart."
    ),
    "electricity": (
        "Electricity: licensed people only; isolate, lock and prove dead; bond stalls, "
        "floor or deck steel and pipework together, and test for stray voltage."
    ),
    "refrigerant": "Refrigerant: certified people only; ventilate; some refrigerants burn.",
    "pits": "Pits, wells and tanks: gas can kill; test the air and never enter alone.",
    "hot_water": "Hot water above 60 degC scalds: mark outlets and guard pipes.",
    "food": (
        "Milk for food: any doubt about wash, drug residue or temperature means the milk is held "
        "back until the buyer or the authority has decided."
    ),
    "animals": "Cows: short waits, dry floors and smooth edges; stop what moves if one is down.",
    "generator": (
        "Standby generator: a change-over switch that cannot feed the mains; exhaust outdoors; "
        "test weekly on load."
    ),
}
"""One plain caution for each hazard."""

LICENSED: tuple[tuple[frozenset[str], str, str], ...] = (
    (frozenset({"supplies power", "shares power", "generates power", "bridges power", "controls"}),
     "a licensed electrician",
     "a cover would have to come off, a breaker trips a second time, or it is warm or smells of "
     "burning"),
    (frozenset({"makes cold", "buffers cold"}), "a certified refrigeration person",
     "it trips a second time, a pipe is oily or iced over, or there is a smell near it"),
    (frozenset({"makes air", "stores air", "dries air"}),
     "a person licensed for pressure vessels",
     "a relief valve blows, or a vessel, pipe or fitting would have to be opened"),
    (frozenset({"heats water", "recovers heat"}), "a licensed plumber or electrician",
     "steam or boiling water comes, a relief valve blows, or a cover would have to come off"),
    (frozenset({"protects water"}), "a licensed plumber", "anything on it has to be opened"),
    (frozenset({"turns deck", "carries deck", "stands cows", "joins deck"}),
     "the installer of the deck",
     "somebody would have to go below the deck or behind a guard, the deck drops or grinds, or a "
     "stop does not hold"),
)  # fmt: skip
"""By what a machine does: who may work on it, and when people on the farm stop and call."""
LICENSED_DRIVEN = (
    "the service", "its motor protection trips a second time, or a cover would have to come off"
)  # fmt: skip
LICENSED_ELSE = ("the service", "it would have to be taken apart, or something is cracked or torn")
