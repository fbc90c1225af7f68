"""The day command: what it prints, writes and refuses."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

from byrewright.commands.day import run
from tests.timing import cpu_seconds

EXAMPLE = Path(__file__).resolve().parent.parent / "examples" / "rotary_spring_ice" / "plant.yaml"
LATER_START_S = 4.0  # two seconds are promised on a quiet machine; the test machine is shared
TRIES = 3


def test_it_prints_findings_and_tables(capsys: pytest.CaptureFixture[str]) -> None:
    """Would fail if the command said nothing of time, milk or electricity."""
    run(EXAMPLE)
    said = capsys.readouterr().out
    for word in (
        "Milkings",
        "Groups",
        "Electricity by use",
        "day.milking_on_time",
        "seed 1",
        "Seed 1;",
    ):
        assert word in said, word
    assert "None" not in said and "nan" not in said


def test_json_is_the_one_serialisation(capsys: pytest.CaptureFixture[str]) -> None:
    """Would fail if anything but the result were printed with --json."""
    run(EXAMPLE, as_json=True, seed=3)
    data = json.loads(capsys.readouterr().out)
    assert data["study"] == "day" and data["seed"] == 3


def test_two_plants_beside_each_other(capsys: pytest.CaptureFixture[str]) -> None:
    """Would fail if a comparison showed only one plant."""
    other = EXAMPLE.parent.parent / "rows_two_by_twenty" / "plant.yaml"
    run(EXAMPLE, compare=other)
    said = capsys.readouterr().out
    assert "rotary_spring_ice" in said and "rows_two_by_twenty" in said


def test_a_sheet_and_a_file_are_written(tmp_path: Path) -> None:
    """Would fail if --out left nothing, or something half written."""
    for name in ("day.svg", "day.json"):
        run(EXAMPLE, out=tmp_path / name)
        assert (tmp_path / name).stat().st_size > 1000
    assert sorted(p.name for p in tmp_path.iterdir()) == ["day.json", "day.svg"]


@pytest.mark.parametrize(
    ("how", "says"),
    [({"month": 13}, "1 to 12"), ({"days": 0}, "1 to 3660"), ({"step": 9.0}, "0.05 to 1 s")],
)
def test_nonsense_is_refused_in_a_sentence(
    how: dict[str, float], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Would fail if a wrong option gave a traceback."""
    with pytest.raises(SystemExit):
        run(EXAMPLE, **how)  # type: ignore[arg-type]
    assert says in capsys.readouterr().err


def test_a_later_start_is_quick_and_light() -> None:
    """Would fail if the path of a compiled plant pulled in solvers or graphs, or grew slow.

    The compiler itself loads the linear algebra of scipy where that is installed.
    """
    script = (
        "import sys; from pathlib import Path; from byrewright.commands.day import run;"
        f"run(Path({str(EXAMPLE)!r}), as_json=True);"
        "heavy = {'networkx', 'scipy.optimize', 'scipy.integrate', 'CoolProp', 'matplotlib'};"
        "print(*sorted(heavy & set(sys.modules)), file=sys.stderr)"
    )
    best = float("inf")
    for _ in range(TRIES):
        used, done = cpu_seconds([sys.executable, "-c", script])
        best = min(best, used)
        assert done.stderr.strip() == ""
        if best < LATER_START_S:
            return
    pytest.fail(f"the whole command took {best:.1f} s at best")
