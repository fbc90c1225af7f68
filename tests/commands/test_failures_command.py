"""The command `failures`: what it prints, and one clear sentence for bad input."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import pytest

from byrewright.commands.failures import run
from byrewright.studies.failures import study
from tests.studies.failing import EXAMPLES, ROWS


def test_prints_the_ranked_table(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The user would not see what stops milking."""
    quick = partial(study.study_failures, simulate=False)
    monkeypatch.setattr(study, "study_failures", quick)
    result = run(EXAMPLES / ROWS / "plant.yaml")
    out = capsys.readouterr().out
    assert result.study == "failures"
    assert "Failures, worst first" in out
    assert "failures.single_stop" in out
    assert "Traceback" not in out


def test_bad_costs_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A slip in the costs would end in a traceback."""
    costs = tmp_path / "costs.yaml"
    costs.write_text("air_dryer: cheap\n")
    with pytest.raises(SystemExit) as caught:
        run(EXAMPLES / ROWS / "plant.yaml", costs=costs)
    assert caught.value.code == 2
    assert "is not a cost: a number above 0" in capsys.readouterr().err
