"""What a plant keeps when it is drafted again: the id its site log goes by, what was decided."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import TYPE_CHECKING

from byrewright.plant.decided import decided_in

if TYPE_CHECKING:
    from byrewright.plant.brief import BriefFile
    from byrewright.plant.plant import Plant


def made_id(farm: str) -> str:
    """An id for a plant that has none yet; it stays in the file when the farm is renamed."""
    return f"plant-{hashlib.sha256(farm.encode()).hexdigest()[:8]}"


def keeping(file: BriefFile, plant: Plant | None) -> BriefFile:
    """A brief whose draft takes the place of a plant: what people decided of that one stays.

    Its id, so that its site log stays its own; where things stand, what was measured, and how
    pipes were said to run.
    """
    if plant is None:
        return file
    brief = file.brief
    if brief.id is None and plant.site.id is not None:
        brief = brief.model_copy(update={"id": plant.site.id})
    return replace(file, brief=brief.deciding(decided_in(plant)))
