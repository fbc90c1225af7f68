"""What the studies that own the figures predict of them."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace

from byrewright.errors import ByrewrightError
from byrewright.plant.plant import Plant
from byrewright.results import Result, merge
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.instruments import instrument_readings
from byrewright.studies.sizing import size
from byrewright.studies.vacuum import study_vacuum


def predicted_of(plant: Plant, rules: Rulebook) -> Result:
    """What instruments read first, then the findings of sizing and vacuum."""
    read = instrument_readings(plant, rules)
    own = tuple(f for f in read.findings if f.key.startswith("reading."))
    parts = [replace(read, findings=own, tables=(), series=(), notes=()), size(plant, rules)]
    with suppress(ByrewrightError):  # without a vacuum network nothing is predicted of it
        parts.append(study_vacuum(plant, rules))
    return merge("predicted", plant.site.name, parts)
