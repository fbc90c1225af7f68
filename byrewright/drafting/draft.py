"""Draft a plant: lay it out, size it, take the sizes over, until nothing changes any more."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from byrewright.drafting.intent import CLOCK_ROUND_H, Cold, Intent
from byrewright.drafting.sheet import Chosen, Sheet
from byrewright.drafting.topology import lay_out
from byrewright.plant.plant import Plant
from byrewright.plant.write import plant_to_text
from byrewright.results import Assumption, Result

if TYPE_CHECKING:
    from byrewright.plant.brief import Brief, BriefFile
    from byrewright.standards.rulebook import Rulebook

MOST_ROUNDS = 12
"""Rounds of sizing after which drafting keeps the larger of two sizes that take turns."""
COWS_A_STALL_HOUR = 6.0
"""Cows a stall and hour for the first guess of stalls; the sizing study then chooses."""


@dataclass(frozen=True, slots=True)
class Draft:
    """A drafted plant: the model, its file text with reasons, its sizing, and what was assumed."""

    plant: Plant
    text: str
    sizing: Result
    assumptions: tuple[Assumption, ...]
    rounds: int


def draft_plant(brief_file: BriefFile, rules: Rulebook | None = None) -> Draft:
    """The plant of a brief, every size from the sizing study.

    Raises:
        ByrewrightError: the brief asks for something that cannot be drafted.
    """
    from byrewright.studies.sizing import size

    want = intent_of(brief_file.brief)
    sizes: dict[tuple[str, str], Chosen] = {}
    for turn in range(1, MOST_ROUNDS + 1):
        plant, sheet = lay_out(want, sizes)
        result = size(plant, rules)
        fresh = _advice(result, sizes, keep_larger=turn > MOST_ROUNDS // 2)
        if _same(fresh, sizes):
            break
        sizes = fresh
        stalls = sizes.get(("PF1", "stalls"))
        if stalls is not None and not want.stalls_given:
            want = replace(want, stalls=round(stalls.value))
    comments = dict(sheet.comments) | _brief_comments(brief_file)
    return Draft(plant, plant_to_text(plant, comments), result, tuple(brief_file.assumptions), turn)


def _advice(
    result: Result, before: Mapping[tuple[str, str], Chosen], *, keep_larger: bool
) -> dict[tuple[str, str], Chosen]:
    """The sizes the findings advise; where several speak of one field, the largest."""
    advised: dict[tuple[str, str], Chosen] = {}
    for one in result.findings:
        if one.target is None or one.advised is None:
            continue
        choice = Chosen(one.advised, one.advised_why or one.title)
        held = advised.get(one.target)
        if held is None or choice.value > held.value:
            advised[one.target] = choice
    merged = dict(before) | advised
    if keep_larger:
        for target, choice in before.items():
            if choice.value > merged[target].value:
                merged[target] = choice
    return merged


def _same(a: Mapping[tuple[str, str], Chosen], b: Mapping[tuple[str, str], Chosen]) -> bool:
    return a.keys() == b.keys() and all(a[k].value == b[k].value for k in a)


def _brief_comments(brief_file: BriefFile) -> dict[str, str]:
    """A reason behind each farm value that the brief left out."""
    return {a.where: f"assumed: {a.why}" for a in brief_file.assumptions}


def intent_of(brief: Brief) -> Intent:
    """The structure a brief asks for."""
    raise NotImplementedError


__all__ = ["Cold", "Draft", "Sheet", "draft_plant", "intent_of", "math", "CLOCK_ROUND_H"]
