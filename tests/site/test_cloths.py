"""Lots of cloths: washes counted, shifts told, a lot used unwashed is seen."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from byrewright.commands import cloths as command
from byrewright.errors import ByrewrightError
from byrewright.site.log import Log, Owner
from byrewright.site.upkeep.cloths import cloths_of, enter, lots_of
from byrewright.standards.rulebook import default_rulebook
from tests.plant.small import SMALL

DAY = dt.date(2026, 3, 1)


@pytest.fixture
def log(tmp_path: Path) -> Any:
    """An empty log."""
    one = Log(tmp_path / "log.sqlite", Owner("plant-1", "(invented) one"))
    yield one
    one.close()


def test_washes_count_and_a_lot_used_unwashed_is_seen(log: Log) -> None:
    """Would fail if a worn lot went on, or cloths went from cow to cow of the next shift."""
    enter(log, "anna", DAY, new=["A=500", "B=500 cloths"])
    enter(log, "anna", DAY, used=["A=morning"])
    enter(log, "anna", DAY, washed=["A"])
    enter(log, "anna", DAY, washed=["A"])  # twice in a day is twice
    enter(log, "anna", DAY, used=["B=evening"])
    enter(log, "bert", DAY + dt.timedelta(days=1), used=["B=morning"])
    lots = lots_of(log.entries())
    assert (lots["A"].washes, lots["A"].dirty) == (2, "")
    assert lots["B"].unwashed == ["morning of 2026-03-02"]
    result = cloths_of("one", default_rulebook(), log.entries(), DAY)
    assert [f.subject for f in result.findings if f.verdict == "fails"] == ["B"]
    shifts = [r[1:3] for r in result.table("cloths.shifts").rows]
    assert shifts == [("morning", "B"), ("evening", "B"), ("morning", "A")], "the newest first"


def test_a_lot_is_worn_when_the_rule_says(log: Log) -> None:
    """Would fail if the number of washes of a cloth's life were not taken from the rulebook."""
    rules = default_rulebook()
    life = round(rules.number("cloth.washes_of_life"))
    enter(log, "anna", DAY, new=["A=10"])
    for count, verdict in ((life // 2, "holds"), (life - 1, "tight"), (life + 1, "fails")):
        more = count - lots_of(log.entries())["A"].washes
        enter(log, "anna", DAY + dt.timedelta(days=100), washed=["A"] * more)
        (one,) = cloths_of("one", rules, log.entries(), DAY).findings
        assert one.verdict == verdict
    enter(log, "anna", DAY + dt.timedelta(days=101), retired=["A"])
    assert not cloths_of("one", rules, log.entries(), DAY).findings


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"new": ["B"]}, "such as A=500"), ({"new": ["A=5"]}, "is in use"),
        ({"used": ["A"]}, "such as A=morning"), ({"washed": ["C"]}, "no lot 'C'"),
        ({"washed": ["A"], "retired": ["C"]}, "no lot 'C'"),
    ],
)  # fmt: skip
def test_a_slip_is_refused_whole(log: Log, told: dict[str, list[str]], words: str) -> None:
    """Would fail if half of what was typed were entered."""
    enter(log, "anna", DAY, new=["A=500"])
    with pytest.raises(ByrewrightError, match=words):
        enter(log, "anna", DAY, **told)  # type: ignore[arg-type]
    assert len(log.entries()) == 1


def test_the_command_enters_and_prints(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Would fail if the command did not keep what was typed."""
    path = tmp_path / "plant.yaml"
    path.write_text(SMALL, encoding="utf-8")
    command.run(path, new=["A=500"], used=["A=morning"], who="anna", on="2026-03-01")
    assert "used, morning of 2026-03-01" in capsys.readouterr().out
