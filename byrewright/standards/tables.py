"""Tables of sizes and properties that are held whole: where each comes from and how it is known.

A rule carries its own source (`Value`), so do rows that differ in theirs; every other table of this
package stands here, once.
"""

from __future__ import annotations

from collections.abc import Sized
from dataclasses import dataclass

from byrewright.standards import (
    cables,
    cleaning,
    compressed_air,
    cooling,
    deck,
    diagnosis,
    electrical,
    laundry,
    pipes,
    practice,
    water,
)
from byrewright.standards.model import Confidence


@dataclass(frozen=True, slots=True)
class Held:
    """One table: what it gives, where from, how it is known, and the table itself."""

    title: str
    source: str
    confidence: Confidence
    table: Sized


TABLES: tuple[Held, ...] = (
    Held("preferred outputs of motors", "iec60072", "from_memory", electrical.MOTOR_KW),
    Held("locked-rotor power by code letter", "nec430", "from_memory", electrical.CODE_LETTERS),
    Held("greatest locked-rotor power of motors", "iec60034_12", "from_memory",
         electrical.DESIGN_N),
    Held("outsides and walls of steel tubes", "iso2037", "from_memory", pipes.ISO_2037),
    Held("outsides and walls of tubes in inches", "bpe", "from_memory", pipes.ASME_BPE),
    Held("bores by the inches that they are bought under", "practice", "from_memory",
         pipes.TRADE_IN),
    Held("bores of milklines in published measurements", "reinemann1995", "read",
         pipes.MILKLINE_BORES_MM),
    Held("copper conductors and what they carry", "iec60364_552", "from_memory", cables.SIZES),
    Held("devices against backflow and their categories", "en1717", "from_memory",
         water.BACKFLOW),
    Held("ambient classes of bulk tanks", "en13732", "from_memory", cooling.AMBIENT_CLASSES),
    Held("cooling classes of bulk tanks", "en13732", "from_memory", cooling.COOLING_CLASSES),
    Held("US limits of milk temperature in degF, as they stand beside degC", "pmo", "second_hand",
         cooling.LIMITS_F),
    Held("filling classes of bulk tanks", "en13732", "from_memory", cooling.FILL_CLASSES),
    Held("freezing of propylene glycol in water", "lange", "read", cooling.GLYCOL),
    Held("density, heat, viscosity and conductivity of propylene glycol in water (fitted)",
         "coolprop", "derived", cooling.COOLANT_FIT),
    Held("dew points of humidity classes", "iso8573", "second_hand",
         compressed_air.HUMIDITY_CLASSES),
    Held("what is usual at 50 and at 80 stalls", "practice", "common_practice",
         practice.MAGNITUDES),
    Held("how far figures lie from data plates, and how far faults go", "practice",
         "common_practice", diagnosis.DEVIATIONS),
    Held("how well readings repeat, by unit", "practice", "common_practice", diagnosis.DOUBTS),
    Held("how well readings repeat, where a kind has its own", "practice", "common_practice",
         diagnosis.OWN_DOUBTS),
    Held("figures that complaints name", "practice", "common_practice", diagnosis.COMPLAINTS),
    Held("minutes that tests take", "practice", "common_practice", diagnosis.TEST_MINUTES),
    Held("usual bores of airlines", "practice", "common_practice", pipes.AIRLINE_BORES_MM),
    Held("usual bores of water pipes", "practice", "common_practice", water.WATER_BORES_MM),
    Held("usual bores of compressed-air pipes", "practice", "common_practice",
         compressed_air.AIR_BORES_MM),
    Held("usual air receivers", "practice", "common_practice", compressed_air.RECEIVER_L),
    Held("usual air compressors", "practice", "common_practice", compressed_air.COMPRESSOR_L_MIN),
    Held("usual standby sets", "practice", "common_practice", electrical.GENERATOR_KVA),
    Held("usual fuses and breakers", "practice", "common_practice", electrical.SUPPLY_A),
    Held("usual outputs of motors in the US", "practice", "common_practice",
         electrical.US_MOTOR_HP),
    Held("usual fuses and breakers in the US", "practice", "common_practice",
         electrical.US_SUPPLY_A),
    Held("usual uninterruptible supplies", "practice", "common_practice", electrical.UPS_KVA),
    Held("usual conductors in the US", "practice", "common_practice", cables.US_SIZES),
    Held("usual water heaters", "practice", "common_practice", cleaning.HEATER_KW),
    Held("usual deck rollers", "practice", "common_practice", deck.ROLLER_KN),
    Held("usual washers and dryers of cloths", "practice", "common_practice",
         laundry.WASHER_LOADS_KG),
)  # fmt: skip
