"""What is said of a simulated day, on records of which only what is read is made up."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.results import Finding
from byrewright.standards.cooling import TemperatureStep
from byrewright.studies.day import findings, temperatures
from tests.plants import rotary, rows
from tests.studies.benches import bench_of

PLANT = rotary(20, 60)
TAGS = ("TK1", "TB1", "WS1", "WT1", "(cows)", "(sold)", "(fed)")
WIDE = 40


class Record:
    """A run of which tables, names and states are made up as the test sets them; milk weighs a
    kilogram a litre, a step takes a second."""

    def __init__(self, plant: Any = PLANT, **more: Any) -> None:
        self.plant, self.days, self.sessions = plant, 1, []
        roles = {"WS1": sh.SOURCE, "(cows)": sh.SOURCE, "(sold)": sh.SINK, "(fed)": sh.SINK}
        cells = np.zeros((len(TAGS) + 4, WIDE), dtype=int)
        cells[: len(TAGS), sh.VI_ROLE] = [roles.get(t, sh.STORE) for t in TAGS]
        sections = {"chillers": slice(7, 9), "exchangers": slice(9, 11), "vessels": slice(0, 7)}
        self.tables = SimpleNamespace(I=cells, F=np.zeros((len(TAGS) + 4, WIDE)),
                                      rows=sections.__getitem__)  # fmt: skip
        names = SimpleNamespace(vessels=TAGS, places=("TK1", "TB1"), tanker="TB1", cooled=("TK1",),
                                exchangers=("PC1.water_in", "PC1.chilled_in"))  # fmt: skip
        self.compiled: Any = SimpleNamespace(
            tables=self.tables, names=names, vessel=TAGS.index, withheld_apart=True,
            litres={"TK1": 9000.0, "TB1": 28_000.0}, milk_kg_l=1.0)  # fmt: skip
        self.first, self.last = (SimpleNamespace(items=np.zeros((len(TAGS) + 4, WIDE)),
                                                 g=np.zeros(99)) for _ in range(2))  # fmt: skip
        self.loads: list[Any] = []
        for name, value in more.items():
            setattr(self, name, value)

    @property
    def all_loads(self) -> Any:
        """Loads: came, left, kg, degC."""
        return np.array(self.loads, float).reshape(-1, 5)

    def vessel(self, tag: str) -> Any:
        """A vessel at the end."""
        return self.last.items[TAGS.index(tag)]

    def change(self, section: str) -> Any:
        """What changed of one sort."""
        made = getattr(self, section, None)
        if made is not None:
            return made
        at = self.tables.rows(section)
        return self.last.items[at] - self.first.items[at]

    items = change

    def litres(self, kg: float) -> float:
        """Litres of milk."""
        return kg / self.compiled.milk_kg_l

    def grown(self, index: int) -> float:
        """Growth of a general figure."""
        return float(self.last.g[index] - self.first.g[index])

    def clock(self, at_s: float) -> str:
        """A time of day."""
        return f"{int(at_s // 3600):02}:{int(at_s % 3600 // 60):02}"


def told(what: Any, run: Any, rules: dict[str, float] | None = None) -> list[Finding]:
    """What is said of a record."""
    ctx = bench_of(run.plant, rules)
    what(ctx, run)
    return ctx.notes.findings


def session(**more: Any) -> Any:
    """A milking of three people that ended."""
    usual: dict[str, Any] = {"begun_s": 3600.0, "left_s": 3 * 3600.0, "last_off_s": 9000.0,
                             "operators": 3, "ended": True,
                             "cows": np.zeros((0, WIDE))}  # fmt: skip
    return SimpleNamespace(**usual | more)


def cows(enter_s: list[float], passes: list[int]) -> Any:
    """Cows that came on at these times."""
    made = np.zeros((len(enter_s), WIDE))
    made[:, sh.O_ENTER], made[:, sh.O_PASSES] = enter_s, passes
    return made


def test_hours_of_work_and_water_from_sources() -> None:
    """Three people for two hours, two for one: would fail if a milking that never ended were
    counted, hours were of cows and not of people, or milk of cows were water."""
    run: Any = Record(sessions=[session(), session(operators=2, begun_s=0.0, left_s=3600.0),
                                session(ended=False)])  # fmt: skip
    assert findings.labour_h(run) == 8.0
    run.first.items[:, sh.WATER] = 900.0
    run.last.items[:, sh.WATER] = (0.0, 0.0, 300.0, 0.0, 0.0, 0.0, 0.0, 0, 0, 0, 0)
    assert findings.water_l(run) == 600.0


def test_cows_that_go_round_again_and_cows_an_hour(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three cows in half an hour are four an hour; one of them went round twice, none of the other
    milking: would fail if milkings were not each weighed alike, or the worst wait were not told."""
    monkeypatch.setattr(findings, "wait_s", lambda c, _: 3600.0 if len(c) == 3 else 7200.0)
    monkeypatch.setattr(findings.remedies, "slower", lambda *_: ())
    monkeypatch.setattr(findings.remedies, "fewer_at_a_time", lambda *_: ())
    three = session(cows=cows([0.0, 600.0, 1800.0], [1, 2, 1]))
    two = session(cows=cows([900.0, 0.0], [1, 1]))
    for plant, words in ((PLANT, "16.7 % of the cows"), (rows(12, 40), "no cow goes round")):
        run: Any = Record(plant, sessions=[three, two, session(ended=False), session()])
        run.last.g[sh.G_MINUTE_MOST] = 77.0
        found = {f.key: f for f in told(findings._traffic, run, {"milking.wait_most_min": 90.0})}
        assert found["day.go_rounds"].value == pytest.approx(1 / 6)
        assert words in found["day.go_rounds"].sentence
        assert found["day.cows_an_hour"].value == pytest.approx(4.0)
        assert found["day.milk_flow_peak"].value == 77.0
        assert (found["day.yard_wait"].value, found["day.yard_wait"].verdict) == (120.0, "fails")
    assert findings._cows_h(session(cows=cows([5.0, 5.0], [1, 1]))) == 0.0
    assert told(findings._traffic, Record(sessions=[session(ended=False), session()])) == []


@pytest.mark.parametrize(("apart", "marked", "value", "verdict"), [
    (True, 6, 12.0, "fails"), (True, 0, 12.0, "fails"), (False, 6, 12.0, "fails"),
    (False, 0, 1.0, "fails"),
])  # fmt: skip
def test_withheld_milk_in_store_and_load(
    apart: bool, marked: int, value: float, verdict: str
) -> None:
    """Would fail if what the tanker took were left out, or a plant with no way of its own for such
    milk passed as no cow is marked."""
    plant = PLANT.model_copy(update={"herd": PLANT.herd.model_copy(update={
        "groups": tuple(g.model_copy(update={"withheld_cows": marked if not i else 0})
                        for i, g in enumerate(PLANT.herd.groups))})})  # fmt: skip
    run: Any = Record(plant)
    run.compiled.withheld_apart = apart
    for tag, kg in (("TK1", 5.0), ("TB1", 0.0), ("(sold)", 7.0), ("WT1", 90.0)):
        run.last.items[TAGS.index(tag), sh.WITHHELD] = kg
    (one,) = told(findings._withheld, run)
    assert (one.value, one.verdict) == (value, verdict)
    assert ("no way of its own" in one.sentence) == (not apart)
    assert ("12.0 kg of the milk of 6 marked" in one.sentence) == (apart and marked > 0)


def test_loads_that_leave_full() -> None:
    """Would fail if milk of two days were told as one day's, a tanker's place were counted as a
    tank, or one that takes a rest were called full."""
    run: Any = Record(
        days=2, loads=[[0, 1, 27_996.0, 4, 0], [0, 1, 27_990.0, 4, 0], [0, 1, 0, 4, 0]]
    )
    (one,) = told(findings._tankers, run)
    assert one.value == pytest.approx((27_996 + 27_990) / 2)
    assert "in 3 loads over 2 days; 1 left full. The tanks hold 9000 L" in one.sentence
    none = PLANT.model_copy(update={"collections": ()})
    assert told(findings._tankers, Record(none))[0].verdict == "unknown"
    (idle,) = told(findings._tankers, Record())
    assert idle.value == 0.0 and "none left full" in idle.sentence


def test_what_closes_and_what_is_missing() -> None:
    """Would fail if wash that was made up of water were lost twice, or heat that was taken out were
    not put beside what came in: a hundredth of each is missing."""
    run: Any = Record(milk_kg=1000.0)
    run.vessels, run.lines = np.zeros((2, WIDE)), np.zeros((1, WIDE))
    run.vessels[:, sh.MILK] = (-400.0, 410.0)
    run.vessels[:, sh.WITHHELD] = (-50.0, 40.0)
    run.vessels[:, sh.WATER] = (-300.0, 100.0)
    run.lines[0, sh.WASH] = 100.0
    run.vessels[:, sh.HEAT] = (-5000.0, 3000.0)
    run.last.g[[sh.G_MADE_WASH, sh.G_COLD_KJ, sh.G_LOST_KJ, sh.G_IN_KJ]] = (
        104.0,
        700.0,
        1500.0,
        120.0,
    )
    found = findings.closure(run)
    assert found == pytest.approx({
        "milk": 0.01, "withheld milk": -0.01, "water": -96.0 / 400, "wash": -4.0 / 400,
        "heat": (-2000 + 700 + 1500 - 120) / 8000})  # fmt: skip
    (one,) = told(findings._balance, run)
    assert one.value == pytest.approx(0.24) and "(water)" in one.sentence


def test_heat_of_refrigeration_in_the_wash(monkeypatch: pytest.MonkeyPatch) -> None:
    """7200 kJ of two machines on two days are a kilowatt-hour a day: would fail if a plant without
    recovery were told of it, or heaters' work were told for all."""
    run: Any = Record(days=2, month=5, heated=np.full((1, WIDE), 6.0))
    run.tables.I[7:9, sh.RI_TAKES] = (-1, -1)
    run.chillers = np.zeros((2, WIDE))
    run.chillers[:, sh.SR_RECOVERED] = (3600.0, 3600.0)
    assert told(findings.recovered, run) == []
    run.tables.I[8, sh.RI_TAKES] = 0
    (one,) = told(findings.recovered, run)
    assert one.value == pytest.approx(1.0)
    assert "used 3 kWh as well. Without it they would use about 4 kWh" in one.sentence
    assert [i.value for i in one.inputs] == ["May"]


def test_a_day_without_vacuum() -> None:
    """Would fail if pumps that all stand in milking passed, or one that runs beside one that stands
    did not."""
    mode = PLANT.modes["milking"]
    for runs, seen in ((("VP1", "VP2"), False), (("VP2",), False), ((), True)):
        kept = {t: p for t, p in mode.positions.items() if not t.startswith("VP")}
        stand = {t: "runs" if t in runs else "stopped" for t in ("VP1", "VP2")}
        made = mode.model_copy(update={"positions": kept | stand})
        plant = PLANT.model_copy(update={"modes": PLANT.modes | {"milking": made}})
        ctx = bench_of(plant)
        assert findings._no_vacuum(ctx, Record(plant)) == seen == bool(ctx.notes.findings)  # type: ignore[arg-type]
    bare = rotary(20, 60, VP1=None, VP2=None)
    (one,) = told(findings._no_vacuum, Record(bare))
    assert "There is no vacuum pump" in one.sentence and one.verdict == "fails"
    assert told(findings._no_vacuum, Record(bare.model_copy(update={"modes": {}}))) == []


# temperatures ----------------------------------------------------------------------------------


def step(clock: Any, within_h: float | None = None, applies: Any = "every_milking") -> Any:
    """A step of a rule: 6 degC."""
    return TemperatureStep(6.0, clock, within_h, applies)


def test_a_step_in_words_and_its_deadline() -> None:
    """Would fail if a step from the end of milking were told from its start, or one at once were
    asked at once: two hours are our choice."""
    one = session(begun_s=3600.0, last_off_s=9000.0)
    hours = temperatures.AT_ONCE_H
    for asked, words, at in (
        (step("start_of_milking", 3.0), "3 h after the start of milking", 3600 + 3 * 3600),
        (step("end_of_milking", 1.5, "first_milking"),
         "1.5 h after the end of milking, first milking", 9000 + 1.5 * 3600),
        (step("at_once"), f"at once (judged {hours:g} h after the end of milking)",
         9000 + hours * 3600),
    ):  # fmt: skip
        assert temperatures._words(asked) == words
        assert temperatures._deadline_s(asked, one) == at
    assert temperatures._words(step("always", None, "transport")) == "at all times, in transport"


@pytest.mark.parametrize(("worst", "where", "direct", "times", "tanks"), [
    (7.0, "in TK1 at 10:00", 0, 1.55, ["TK1"]), (10.0, "in TK1 at 10:00", 1, 2.3, ["TK1"]),
    (20.0, "in TK1 at 10:00", 0, 3.0, ["TK1"]),
    (7.0, f"{temperatures.IN_TANKER} of 10:00", 0, 1.55, ["TK1", "TK2"]),
    (7.0, f"{temperatures.IN_TANKER} of 10:00", 1, 1.55, []),
])  # fmt: skip
def test_more_cooling_for_the_tank_that_was_too_warm(
    worst: float, where: str, direct: int, times: float, tanks: list[str]
) -> None:
    """Would fail if another tank's cooling grew, or a tank's for milk that went straight to a
    tanker; or if nothing cooled milk better that a tanker took warm out of the tanks."""
    run: Any = Record()
    run.tables.num = np.zeros(len(sh.NUMBERS), dtype=int)
    run.tables.num[sh.N_DIRECT] = direct
    sizes = (60.0, 80.0, 100.0, 120.0, 150.0, 200.0)
    to = next(s for s in sizes if s >= 60.0 * times)
    found = [(r.of, r.to) for r in temperatures._colder(run, where, worst, step("always"))]
    assert found == [(m, to) for tank in tanks for m in (tank, tank.replace("TK", "CU"))]


def test_stages_of_coolers_as_milk_meets_them(monkeypatch: pytest.MonkeyPatch) -> None:
    """1000 kg from 35 to 20 and 5 degC by 2000 kg of water from 12 degC, warmed by 5 K: would fail
    if sums were told for means, or the first of two stages were held to the wish for the last."""
    wishes = PLANT.wishes.model_copy(update={"milk_out_c": 4.5})
    run: Any = Record(PLANT.model_copy(update={"wishes": wishes}))
    monkeypatch.setattr(temperatures.remedies, "larger_stage", lambda *a: (a[2:],))
    monkeypatch.setattr(temperatures, "stage_of", lambda _, name: tuple(name.split(".")))
    x = run.exchangers = np.zeros((2, WIDE))
    x[:, sh.SX_KG] = 1000.0
    x[:, sh.SX_KGIN], x[:, sh.SX_KGC] = (35_000.0, 20_000.0), (20_000.0, 5000.0)
    x[:, sh.SX_COLD], x[:, sh.SX_COLDC] = (2000.0, 0.0), (24_000.0, 0.0)
    x[:, sh.SX_KJ] = 2000.0 * 4.2 * 5.0
    x[:, sh.SX_WARMEST], x[:, sh.SX_ICED] = 21.0, (10.0, 11.0)
    ctx = bench_of(run.plant, {"water.cp_kj_kgk": 4.2})
    temperatures._coolers(ctx, run)
    one, two, ice = ctx.notes.findings
    assert (one.value, one.limit, two.value, two.limit) == (20.0, None, 5.0, 4.5)
    assert one.remedies == () and two.remedies == (((20.0, 5.0, None), 4.5),)  # type: ignore[comparison-overlap]
    assert "On average 20.0 degC, warmest 21.0 degC; 12 kWh of heat left" in one.sentence
    assert ice.key == "day.milk_freezes" and ice.value == pytest.approx(1.1)
    assert ctx.notes.tables[0].rows == (
        ("PC1", "water_in", 35.0, 20.0, 12.0, 17.0, 2.0, 11.7),
        ("PC1", "chilled_in", 20.0, 5.0, "", "", 0.0, 11.7))  # fmt: skip
    x[:, sh.SX_KG] = 0.0
    ctx = bench_of(run.plant)
    temperatures._coolers(ctx, run)
    assert [f.verdict for f in ctx.notes.findings] == ["unknown"] * 2 and not ctx.notes.tables


def test_milk_that_tankers_took_before_it_was_cold() -> None:
    """Would fail if a load after the deadline, one before the milking or an empty one were judged,
    or the coldest load were told as the warmest."""
    run: Any = Record(loads=[[100, 0, 900, 12, 0], [200, 0, 900, 30, 0], [300, 0, 1.0, 40, 0],
                             [400, 0, 900, 20, 0], [401, 0, 900, 35, 0],
                             [99, 0, 900, 36, 0]])  # fmt: skip
    assert [c for c, _ in temperatures._taken(run, 100.0, 400.0)] == [12.0, 30.0, 20.0]
    worst, where = temperatures._worst(run, step("always", None, "transport"))
    assert worst == 36.0 and "of 00:01" in where
    assert temperatures._worst(Record(), step("always", None, "transport")) == (None, "")  # type: ignore[arg-type]
