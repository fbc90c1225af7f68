"""Routes: where fluids go, what wrong positions do, against a separate search of the raw file."""

from __future__ import annotations

import random
from itertools import combinations
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.plant.farm import minutes
from byrewright.plant.plant import Plant
from byrewright.plant.read import read_plant
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.routes import ledger
from byrewright.studies.routes.brute import FoundHarm, harms_of, search, tried
from byrewright.studies.routes.litres import (
    AT_MOST,
    Loss,
    Spills,
    from_duty,
    litres_in,
    milk_rate,
)
from byrewright.studies.routes.questions import all_scenes
from byrewright.studies.routes.scene import Question, Scene, other_positions
from byrewright.studies.routes.study import Routes, report
from tests.drafting.drafts import begun
from tests.engine.test_day_network import two_ends
from tests.plants import rotary, rows
from tests.studies.raw_search import COMPARED, Raw

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*/plant.yaml"))
PAIRS_SEED = 7
PAIRS = 60  # random pairs a mode: enough to meet every pair of valve roles over the modes


def named(path: Path) -> str:
    """The example's folder as the test's name."""
    return path.parent.name


@pytest.fixture(scope="module", params=EXAMPLES, ids=named)
def example(request: pytest.FixtureRequest) -> tuple[Raw, dict[str, Scene]]:
    """An example plant: its raw file, and the scenes of the model."""
    path: Path = request.param
    return Raw(path), all_scenes(read_plant(path).plant)


def compared(hits: list[tuple[str, str]]) -> set[tuple[str, str]]:
    """Only the harms that the separate search answers for, milk lines and contents left out."""
    return {
        (h, s)
        for h, s in hits
        if h in COMPARED
        and not s.endswith("content")
        and s[:2] not in ("TB", "CF", "WM")
        and s != "milk line"
    }


def test_every_single_position_agrees_with_the_raw_file(
    example: tuple[Raw, dict[str, Scene]],
) -> None:
    """Would fail if the model and a search of only the raw file differed on one position."""
    raw, scenes = example
    for mode, scene in scenes.items():
        every = [(), *(((m, p),) for m, ps in scene.others.items() for p in ps if p != "full")]
        for wrong in every:
            ours = compared([(q.harm, q.subject) for q in harms_of(scene, wrong)])
            assert ours == raw.harms(mode, dict(wrong)), (mode, wrong)


def test_random_pairs_agree_with_the_raw_file(example: tuple[Raw, dict[str, Scene]]) -> None:
    """Would fail if two wrong positions together were judged differently from the raw file."""
    raw, scenes = example
    draw = random.Random(PAIRS_SEED)
    for mode, scene in scenes.items():
        every = [(m, p) for m, ps in scene.others.items() for p in ps if p != "full"]
        pairs = [c for c in combinations(every, 2) if c[0][0] != c[1][0]]
        for wrong in draw.sample(pairs, min(PAIRS, len(pairs))):
            ours = compared([(q.harm, q.subject) for q in harms_of(scene, wrong)])
            assert ours == raw.harms(mode, dict(wrong)), (mode, wrong)


def test_side_by_side_search_equals_one_case_at_a_time(
    example: tuple[Raw, dict[str, Scene]],
) -> None:
    """Would fail if the bit-parallel spread and the walk of one case ever differed."""
    _, scenes = example
    draw = random.Random(PAIRS_SEED)
    for scene in scenes.values():
        hits = search(scene, 1)
        found = {(h.question.name, h.wrong) for h in hits}
        at_rest = {h.question.name for h in hits if not h.order}
        machines = draw.sample(list(scene.others), min(12, len(scene.others)))
        for wrong in [((m, p),) for m in machines for p in scene.others[m]]:
            one = {q.name for q in harms_of(scene, wrong)} - at_rest
            assert one == {name for name, w in found if w == wrong and name not in at_rest}


def test_examples_do_no_harm_with_everything_in_place(
    example: tuple[Raw, dict[str, Scene]],
) -> None:
    """Would fail if a drafted plant dumped or spoilt milk as designed, or the plant that is broken
    on purpose passed."""
    raw, scenes = example
    wrong = [h for s in scenes.values() for h in search(s, 0)]
    broken = "broken" in raw.data["site"]["name"]
    assert bool(wrong) is broken, [(h.mode, h.question.name) for h in wrong]


def test_half_open_counts_as_open_and_as_shut() -> None:
    """Would fail if a half-open valve were taken as harmless in either way."""
    scene = all_scenes(rotary())["milking"]
    hits = {(h.question.name, h.wrong) for h in search(scene, 1)}
    assert ("wrong_tank@TB1", (("V33", "half"),)) in hits  # wanted shut: it passes
    assert ("closed_line@MP3", (("V31", "half"),)) in hits  # wanted open: it may not pass


def test_wrong_positions_differ_in_effect() -> None:
    """Would fail if positions of the same effect were tried twice, or a ready pump called wrong."""
    plant = rotary()
    assert other_positions(plant, "V31", "open") == ("closed", "half")
    assert other_positions(plant, "V40", "to_b") == ("to_c", "half")
    assert other_positions(plant, "MP1", "ready") == ("stopped",)
    assert other_positions(plant, "AI1", "pulses") == ("closed",)
    assert other_positions(plant, "MU1", "milks") == ()


def test_one_receiver_floods_when_its_pump_stops() -> None:
    """Would fail if a receiver under vacuum could empty itself into an open vessel."""
    hits = search(all_scenes(rows())["milking"], 1)
    assert ("flooded@RC1", (("MP1", "stopped"),)) in {(h.question.name, h.wrong) for h in hits}


def test_number_of_combinations() -> None:
    """Would fail if the count told to the user were not the number of combinations tried."""
    from byrewright.studies.routes.brute import every_combination

    scene = all_scenes(rows())["milking"]
    for order in (1, 2, 3):
        counted = sum(1 for k in range(1, order + 1) for _ in every_combination(scene.others, k))
        assert tried(scene, order) == counted


def test_litres() -> None:
    """Would fail if litres lost did not follow from the duty, the network and the pipe."""
    plant = rotary()
    rate = milk_rate(plant)
    scene = all_scenes(plant)["milking"]
    loss = from_duty(plant, rate)
    hits = {(h.question.name, h.wrong): h for h in search(scene, 1)}
    to_calf = loss(hits["wrong_tank@CF1", (("V40", "to_c"),)])
    assert to_calf.amount == pytest.approx(rate.mean_l_min) and to_calf.unit == "L/min"
    half = loss(hits["milk_to_wash@TR1", (("V34", "open"),)])
    assert 0.4 * rate.mean_l_min < (half.amount or 0) < 0.6 * rate.mean_l_min  # two lines alike
    assert litres_in(50.0, 10.0) == pytest.approx(19.635, abs=0.001)  # pi/4 0.05^2 x 10 m


def test_stored_milk_tells_the_level_it_runs_from(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a loss out of a tank named another level than the one that was solved."""
    monkeypatch.setattr(Spills, "out_of", lambda *_: 5.0)
    plant = rotary()
    hit = FoundHarm("idle", Question("milk_lost", "FD1", (), "TK1"), (("V1", "open"),))
    rules = Rulebook({"vessel.level_share": 0.5})
    told = from_duty(plant, milk_rate(plant), rules)(hit)
    assert told.amount == 5.0 and told.basis.endswith("50 % full")


def test_a_line_said_to_rise_by_its_slope_does_not_run_empty() -> None:
    """Would fail if a stated slope had no say in what drains: the line to the receiver, said to
    rise 3 % towards it, keeps its liquid."""
    plant = begun("cows: 60\nyield_l_day: 22\nlayout: rows\nstalls: 12\n")
    line = next(p for p in plant.pipes if p.start == "ML1.receiver_1")

    def stand(slope_pct: float) -> list[str]:
        pipes = tuple(p.model_copy(update={"slope_pct": slope_pct}) if p is line else p
                      for p in plant.pipes)  # fmt: skip
        scene = all_scenes(plant.model_copy(update={"pipes": pipes}))["drain_down"]
        return [q.subject for q in harms_of(scene, ()) if q.harm == "not_drained"]

    assert line.rise_m == 0.0
    assert line.id not in stand(3.0)
    assert line.id in stand(-3.0)


def test_litres_are_those_of_the_milk_that_comes() -> None:
    """Would fail if a pump with two open ends split the farm's milk as it would its full flow, of
    which it lifts far more into the tank."""
    spills = Spills(two_ends("level_led"), Rulebook())
    hit: Any = SimpleNamespace(mode="milking", wrong=())
    full, most, little = (spills.share(hit, {"FD1"}, q) for q in (1e6, 150.0, 30.0))
    assert full is not None and full < 0.3
    assert most is not None and 0.8 < most < 1.0
    assert little == 1.0
    steady = Spills(two_ends("on_off"), Rulebook())
    assert steady.share(hit, {"FD1"}, 30.0) == pytest.approx(full)


def test_report_says_plain_things() -> None:
    """Would fail if the study lost a finding, or put internal words before the reader."""
    result = report(Routes(rotary(), Rulebook()))
    assert result.finding("routes.proof").verdict == "holds"
    assert (
        result.finding("routes.at_rest").verdict == "fails"
    )  # tanks piped to the bay without a valve
    assert {t.key for t in result.tables} == {
        "where", "single", "double", "sensors", "interlocks", "orders",
    }  # fmt: skip
    rows = next(t.rows for t in result.tables if t.key == "interlocks")
    assert len(rows) == len(Routes(rotary(), Rulebook()).table.rows)
    for finding in result.findings:
        assert not {"None", "nan", "[]", "()"} & set(finding.sentence.split()), finding.sentence
    assert result.to_json() == report(Routes(rotary(), Rulebook())).to_json()


def test_the_order_of_the_file_does_not_matter() -> None:
    """Would fail if shuffling machines, pipes or modes in the file changed what is found."""
    plant = rotary()
    draw = random.Random(PAIRS_SEED)
    machines, pipes, modes = list(plant.equipment), list(plant.pipes), list(plant.modes)
    for one in (machines, pipes, modes):
        draw.shuffle(one)
    other = plant.model_copy(
        update={
            "equipment": {m: plant.equipment[m] for m in machines},
            "pipes": tuple(pipes),
            "modes": {m: plant.modes[m] for m in modes},
        }
    )

    def found(one: Plant) -> set[tuple[str, str, frozenset[tuple[str, str]]]]:
        return {
            (h.mode, h.question.name, frozenset(h.wrong))
            for s in all_scenes(one).values()
            for h in search(s, 2)
        }

    assert found(other) == found(plant)


def test_a_new_kind_needs_no_change_here() -> None:
    """Would fail if routes held a list of kinds: a cock defined here must be found and proven."""
    from byrewright.plant.machine import REGISTRY, InternalPath, Machine, port, ports
    from tests.plants import pipe

    class Cock(Machine):
        """A kind of this test only."""

        KIND = "test_cock"
        PORTS = ports(port("one", "milk", "drain"), port("two", "milk", "drain"))
        INSIDE = (InternalPath("one", "two", "gate", ("wide",)),)
        STATES = ("shut", "wide")

    try:
        plant = rotary(QQ1=Cock(id="QQ1"))
        ways = (pipe("LQ1", "BT1.drain", "QQ1.one"), pipe("LQ2", "QQ1.two", "FD1.inlet_9"))
        plant = plant.model_copy(update={"pipes": (*plant.pipes, *ways)})
        study = Routes(plant, Rulebook(), order=1, by_day=False)
        hits = {(h.mode, h.question.name, h.wrong) for h in study.hits}
        assert ("milking", "milk_lost@FD1", (("QQ1", "wide"),)) in hits
        assert study.proof(1)[0] and "QQ1" in study.best.machines
        row = study.table.row("QQ1_not_shut")
        assert row.on == ("QQ1_shut",) and row.off == ("QQ1_wide",) and row.needed
    finally:
        del REGISTRY["test_cock"]


def test_sixty_valves_are_quick() -> None:
    """Would fail if order two on sixty valves, all modes, took so long that nobody would wait."""
    import time

    from benchmarks.bench_routes import ORDER_TWO_S, VALVES, sixty_valves

    plant = sixty_valves(read_plant(EXAMPLES[-2]).plant)
    assert sum(1 for m in plant.equipment.values() if m.can("is a valve")) == VALVES
    begun = time.process_time()
    hits = [h for s in all_scenes(plant).values() for h in search(s, 2)]
    assert time.process_time() - begun < ORDER_TWO_S  # measured: a tenth of it
    assert hits


class FakeLedger:
    """A day that loses so much, and remembers what it was asked."""

    def __init__(self, litres: float) -> None:
        self.litres = litres
        self.asked: list[tuple[float, float]] = []
        self.got: list[Any] = []

    def expect(self, wrongs: Any) -> None:
        """What is got ready."""
        self.got = list(wrongs)

    def lost_l(self, wrong: Any, start_min: float, end_min: float) -> float:
        """Litres of that time."""
        self.asked.append((start_min, end_min))
        return self.litres


@pytest.mark.parametrize(("litres", "amount"), [(0.4, 7.0), (0.6, 0.06), (80.0, 8.0)])
def test_milk_that_flows_is_lost_by_the_day_and_all_else_by_the_duty(
    litres: float, amount: float
) -> None:
    """Would fail if a loss were taken of another time than ten minutes in the first milking, a
    trickle were told as a loss, or milk that stands were asked of the day."""
    plant, day = rotary(), FakeLedger(litres)

    def hit(harm: str, loses: str = "milk", at: str = "open") -> FoundHarm:
        return FoundHarm("milking", Question(harm, "V1", (), loses), (("V1", at),))

    duty = Loss(7.0, "L/min", "the duty")
    lost, stored = hit("milk_lost"), hit("milk_lost", "TK1")
    others = [stored, hit("flooded"), hit("milk_lost", at="full")]
    loss = ledger.from_day(plant, day, lambda _: duty, [lost, *others])  # type: ignore[arg-type]
    assert day.got == [lost.wrong]
    assert all(loss(one) is duty for one in others) and not day.asked
    told = loss(lost)
    assert told.amount == pytest.approx(amount) and told.unit == "L/min"
    assert (AT_MOST in told.basis) == (litres < 0.5)
    first = min(minutes(m.start) for m in plant.milkings)
    assert day.asked == [(first + 30, first + 40)]
