"""What the studies that own the figures predict of them."""

from __future__ import annotations

from contextlib import suppress

from byrewright.errors import ByrewrightError
from byrewright.plant.plant import Plant
from byrewright.results import Result, merge
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.sizing import size
from byrewright.studies.vacuum import study_vacuum


def predicted_of(plant: Plant, rules: Rulebook) -> Result:
    """The findings of sizing and vacuum."""
    parts = [size(plant, rules)]
    with suppress(ByrewrightError):  # without a vacuum network nothing is predicted of it
        parts.append(study_vacuum(plant, rules))
    return merge("predicted", plant.site.name, parts)
