"""Plants that no farm has: every command answers or refuses in a sentence, and ends."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from byrewright.plant.read import read_plant_text
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.routes import prove, sensors
from byrewright.studies.routes.study import routes
from tests.abuse import fault, trial
from tests.commands.inside import inside
from tests.plant.small import SMALL
from tests.plants import rows

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "rows_two_by_twenty" / "plant.yaml"
ROWS = EXAMPLE.read_text(encoding="utf-8")
CLOCK = EXAMPLE.parents[1].joinpath("rotary_round_the_clock", "plant.yaml").read_text("utf-8")
NO_COLLECTION = r"\ncollections:\n(  - .*\n)+", "\ncollections: []\n"
QUICK_ROUTES = ("--order", "1", "--no-orders")


def every_cow_withheld() -> str:
    """The rows plant with no milk that may be sold."""
    cows = int(re.search(r"cows: (\d+)", ROWS)[1])  # type: ignore[index]
    group = f"groups: [{{name: all, cows: {cows}, withheld_cows: {cows}}}]\n"
    return re.sub(r"groups: \[.*?\]\n", group, ROWS, count=1, flags=re.S)


def one_mode() -> str:
    """The rows plant with its first milking mode alone."""
    head, _, modes = ROWS.partition("\nmodes:\n")
    first = next(m for m in re.findall(r"  [^ #\n].*\n(?:   .*\n)*", modes) if "milking" in m)
    return f"{head}\nmodes:\n" + re.sub(r" like: \w+,", "", first)


NOTHING_RUNS = re.sub(
    r": runs(?=[ ,}\n])", ": stopped", ROWS.replace("VP1: runs, VP2: runs", "VP1: runs, VP2: ready")
)
"""Every pump stopped, and one left as a standby that would start by itself."""
NO_VACUUM = re.sub(r"(VP\d+): (runs|ready)", r"\1: stopped", ROWS)
CASES = (
    ("no collection", re.sub(*NO_COLLECTION, ROWS), "size"),
    ("no tanker comes", re.sub(*NO_COLLECTION, CLOCK), "day"),
    ("every cow withheld", every_cow_withheld(), "size"),
    ("every cow withheld", every_cow_withheld(), "day"),
    ("no vacuum", NO_VACUUM, "vacuum"),
    ("no vacuum", NO_VACUUM, "day"),
    ("one mode", one_mode(), "size"),
    ("one mode", one_mode(), "day"),
    ("one mode", one_mode(), "routes"),
)


@pytest.mark.parametrize(("what", "text", "command"), CASES, ids=lambda v: v[:20])
def test_a_plant_no_farm_has_is_answered(
    what: str, text: str, command: str, tmp_path: Path
) -> None:
    """A plant beyond what its author thought of would end in a traceback, or never."""
    path = tmp_path / "plant.yaml"
    path.write_text(text, encoding="utf-8")
    assert inside(["check", str(path)]).code == 0, what
    found = fault((command, str(path), *(QUICK_ROUTES if command == "routes" else ())))
    assert found is None, found


def test_no_milkings_are_refused_with_their_line(tmp_path: Path) -> None:
    """A plant that milks never would be studied, or crash."""
    path = tmp_path / "plant.yaml"
    path.write_text(re.sub(r"\nmilkings:\n(  - .*\n)+", "\nmilkings: []\n", ROWS))
    told = inside(["size", str(path)])
    assert told.code == 2 and "error F022: milkings: missing" in told.err


def test_what_is_not_settled_within_the_budget_is_unknown(monkeypatch: pytest.MonkeyPatch) -> None:
    """A proof that never came to its end would be called a proof, or the study would never end."""
    monkeypatch.setattr(prove, "ROUNDS", 2)
    found = routes(read_plant_text(ROWS).plant, default_rulebook(), order=1, orders=False)
    proof, least = found.finding("routes.proof"), found.finding("routes.sensors_least")
    assert proof.verdict == "unknown" and proof.missing and proof.value is None
    assert re.match(r"\d+ of \d+ questions are proven", proof.sentence)
    assert "Not settled within the solver's budget: " in proof.sentence
    assert least.verdict == "unknown" and least.value is None


def test_a_smallest_set_that_is_not_settled_is_unknown(monkeypatch: pytest.MonkeyPatch) -> None:
    """The search for the fewest sensors would never end, or a set be called the smallest unproven.

    What it tells instead: a set that sees all, and how many any set needs."""
    plant = rows()
    best = routes(plant, default_rulebook(), order=1, orders=False).finding("routes.sensors_least")
    monkeypatch.setattr(sensors, "QUESTIONS", 6)
    found = routes(plant, default_rulebook(), order=1, orders=False)
    least = found.finding("routes.sensors_least")
    assert best.verdict == "holds" and least.verdict == "unknown" and least.value is None
    told = re.match(r"Sensors at (\d+) machines see every wrong position; (\d+) at", least.sentence)
    assert told and int(told[2]) < best.value <= int(told[1])
    assert found.finding("routes.proof").verdict == "holds"


def test_a_standby_that_no_contact_tells_is_named() -> None:
    """A wrong position that no row of the table can see would be passed over in silence."""
    found = routes(read_plant_text(NOTHING_RUNS).plant, default_rulebook(), order=1, orders=False)
    named = [f for f in found.findings if f.key == "routes.no_contact"]
    assert named and all(f.verdict == "fails" for f in named)
    assert any("VP2" in f.subject and "vacuum" in f.sentence for f in named)


SEEDS = (0, 1, 5, 7, 28, 39, 48, 57)
"""Plants, briefs, limits, prices, terms, costs; many more in benchmarks/bench_mutants.py."""


@pytest.mark.parametrize("seed", SEEDS)
def test_a_bent_file_is_answered_or_refused(seed: int, tmp_path: Path) -> None:
    """A file that is a little wrong would end a command in a traceback, nonsense, or never."""
    maps = "tag,area,address\nV11_open,discrete_input,0\n"
    faults = list(trial(seed, tmp_path, [SMALL], maps))
    assert not faults, "\n".join(f"{f.words}: {f.what}" for f in faults)
