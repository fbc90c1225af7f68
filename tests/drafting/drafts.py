"""Drafts that several tests look at, each made once."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

import byrewright.drafting.draft as drafting
from byrewright.drafting.draft import Draft, Settled, draft_plant, intent_of, settle
from byrewright.drafting.intent import Intent
from byrewright.drafting.sheet import Choices
from byrewright.drafting.topology import lay_out
from byrewright.plant.brief import read_brief, read_brief_text
from byrewright.plant.plant import Plant
from byrewright.standards.rulebook import Rulebook, default_rulebook

RULES = default_rulebook()
_begun: list[tuple[Intent, Settled]] = []


def settled_once(
    want: Intent, rules: Rulebook | None = None, start: Settled | None = None,
    held: Choices | None = None,
) -> Settled:  # fmt: skip
    """Settling, done once for each intent where it begins from guesses by the rules of RULES."""
    if start or held or rules is not RULES:
        return settle(want, rules, start, held)
    for known, found in _begun:
        if known == want:
            return found
    _begun.append((want, settle(want, rules)))
    return _begun[-1][1]


@cache
def drafted(path: Path) -> Draft:
    """The draft of an example."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(drafting, "settle", settled_once)
        return draft_plant(read_brief(path), RULES)


@cache
def drafted_text(text: str) -> Draft:
    """The draft of a brief given as text."""
    return draft_plant(read_brief_text(text))


def begun(text: str, rules: Rulebook = RULES) -> Plant:
    """The plant that the draft of a brief begins with: what the brief asks for stands in it, and no
    size is taken over. For tests of what a brief reaches, not of where sizes settle."""
    return lay_out(intent_of(read_brief_text(text).brief, rules), {})[0]
