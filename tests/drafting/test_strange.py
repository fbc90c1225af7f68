"""Small plants and strange ones: drafted, every study answering, or refused in one sentence."""

from __future__ import annotations

from dataclasses import replace

import pytest
from pydantic import ValidationError

from byrewright.drafting.draft import draft_plant, intent_of
from byrewright.errors import ByrewrightError
from byrewright.plant.brief import read_brief_text
from byrewright.plant.farm import FEWEST_ON_A_DECK
from byrewright.plant.kinds.deck import Platform
from byrewright.plant.read import read_plant_text
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.day import run_day
from byrewright.studies.failures.study import study_failures
from byrewright.studies.sizing import size
from byrewright.studies.vacuum import study_vacuum
from tests.drafting.drafts import drafted_text

RULES = default_rulebook()
COWS = "cows: 40\nyield_l_day: 25\nlayout: rows\nmilkings: 2\n"
TWO_ROWS = COWS + "rows: 2\nstalls: 4\n"
REFUSED = {
    "one stall": (COWS + "rows: 1\nstalls: 1\n", "stalls: 1 is out of range"),
    "no yield": ("cows: 300\n", "yield_l_day"),
    "a tower": (COWS + "altitude_m: 9000\n", "altitude_m: 9000 is out of range"),
    "a deck of four": (
        "cows: 30\nyield_l_day: 20\nlayout: rotary\nstalls: 4\nmilkings: 2\n",
        "4:.*stalls: 4 stalls are too few for a rotary.*14 or more. Say `layout: rows`",
    ),
    "no cows": ("cows: 0\nyield_l_day: 25\n", "cows: 0 is out of range"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_drafted_is_refused_with_what_is_missing(name: str) -> None:
    """Would fail if a brief that makes no plant got a traceback, or a plant."""
    text, says = REFUSED[name]
    with pytest.raises(ByrewrightError, match=says):
        draft_plant(read_brief_text(text))


def test_two_rows_of_two_are_drafted_and_every_study_answers() -> None:
    """Would fail if a very small plant were told that it needs eight stalls, or had no answer. The
    water that stands before a shut tank valve is too much for so little milk, and is told."""
    draft = drafted_text(TWO_ROWS)
    failing = {f.key: f.sentence for f in draft.sizing.findings if f.verdict == "fails"}
    assert failing.keys() <= {"wash.standing"}, failing
    assert run_day(draft.plant, RULES).findings
    assert study_vacuum(draft.plant, RULES).findings
    assert study_failures(draft.plant, RULES, simulate=False).findings


def test_a_draft_was_sized_with_its_pipes_as_they_are_laid() -> None:
    """Would fail if drafting saw straight pipes where the file's studies see dips: water that
    stands in a line of a small plant would be told by the day and not by the draft."""
    draft = drafted_text(TWO_ROWS)
    again = size(read_plant_text(draft.text).plant)
    assert [(f.name, f.value) for f in draft.sizing.findings] == [
        (f.name, f.value) for f in again.findings
    ]
    assert again.finding("wash.standing").value


def test_the_fewest_stalls_of_a_rotary_fill_the_least_track_of_a_platform() -> None:
    """Would fail if stalls were drafted on a track that a platform cannot have, or a rotary that
    can be drafted were refused: width, radius and number would no longer go together."""
    brief = read_brief_text(f"cows: 100\nyield_l_day: 25\nstalls: {FEWEST_ON_A_DECK}\n").brief
    want = intent_of(brief, RULES)
    track = {"turn_s": 300, "rail_radius_m": want.radius_m}
    assert Platform(id="PF1", stalls=want.stalls, **track)
    fewer = replace(want, stalls=want.stalls - 1)
    with pytest.raises(ValidationError, match="rail_radius_m"):
        Platform(id="PF1", stalls=fewer.stalls, **(track | {"rail_radius_m": fewer.radius_m}))
