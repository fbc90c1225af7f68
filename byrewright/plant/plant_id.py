"""The id by which a site log knows a plant, whatever the farm is called."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from byrewright.plant.brief import BriefFile


def made_id(farm: str) -> str:
    """An id for a plant that has none yet; it stays in the file when the farm is renamed."""
    return f"plant-{hashlib.sha256(farm.encode()).hexdigest()[:8]}"


def keeping_id(file: BriefFile, plant_id: str | None) -> BriefFile:
    """A brief for a plant that has an id already, so that its site log stays its own."""
    if plant_id is None or file.brief.id is not None:
        return file
    return replace(file, brief=file.brief.model_copy(update={"id": plant_id}))
