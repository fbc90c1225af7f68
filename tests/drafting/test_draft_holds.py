"""What a draft promises: nothing fails in the other studies, and the examples are current."""

from __future__ import annotations

from pathlib import Path

import pytest

import byrewright.drafting.close as closing
from byrewright.drafting.close import close
from byrewright.drafting.draft import Draft, text_of
from byrewright.plant.brief import read_brief
from byrewright.studies.failures.study import study_failures
from byrewright.studies.routes.study import routes
from byrewright.studies.vacuum import study_vacuum
from tests.drafting.drafts import RULES, drafted, settled_once

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
BRIEFS = sorted(EXAMPLES.glob("*/brief.yaml"))
COLDEST = "day, coldest month, cows of seed 1"
MENDED_BY = {
    "rotary_round_the_clock": (COLDEST, "single failures"),
    "rotary_spring_ice": (COLDEST,),
    "rows_two_by_twenty": (COLDEST, "vacuum and its events", "routes"),
}
ROTARIES = [b for b in BRIEFS if b.parent.name.startswith("rotary")]


@pytest.fixture(scope="module", params=ROTARIES, ids=lambda p: p.parent.name)
def rotary(request: pytest.FixtureRequest) -> Draft:
    """A rotary's draft: farms that wish no single stop and pay for seeing what is wrong."""
    return drafted(request.param)


def test_no_single_failure_stops_milking(rotary: Draft) -> None:
    """Would fail if the drafter put what milking needs on one board, one ring or one receiver."""
    found = study_failures(rotary.plant, simulate=False).finding("failures.single_stop")
    assert found.verdict == "holds", found.sentence


def test_no_wrong_position_goes_unseen(rotary: Draft) -> None:
    """Would fail if the drafter left out a sensor that the proof needs."""
    result = routes(rotary.plant, orders=False)
    assert [f.sentence for f in result.findings if f.verdict == "fails"] == []


def test_the_vacuum_network_holds(rotary: Draft) -> None:
    """Would fail if a line were sized so that the solved network or a predicted test fails."""
    result = study_vacuum(rotary.plant)
    assert [f.sentence for f in result.findings if f.verdict == "fails"] == []


@pytest.mark.parametrize("brief", BRIEFS, ids=lambda p: p.parent.name)
def test_the_examples_are_what_the_drafter_writes_today(
    brief: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if examples were left behind, or if drafting depended on chance or on the order of
    a set; tools/examples.py drafts them again, held to every study. Only those that had something
    mended in an example are asked here."""
    monkeypatch.setattr(closing, "settle", settled_once)
    kept = (brief.parent / "plant.yaml").read_text(encoding="utf-8")
    found = read_brief(brief)
    now = close(found.brief, RULES, only=MENDED_BY[brief.parent.name])
    assert now.open == ()
    assert text_of(now.settled, found) == kept
