"""Drafts that several tests look at, each made once."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from byrewright.drafting.draft import Draft, draft_plant
from byrewright.plant.brief import read_brief, read_brief_text


@cache
def drafted(path: Path) -> Draft:
    """The draft of an example."""
    return draft_plant(read_brief(path))


@cache
def drafted_text(text: str) -> Draft:
    """The draft of a brief given as text."""
    return draft_plant(read_brief_text(text))
