"""The timeline of a failure and milk lost by the day, with no day simulated."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.engine.kernels.loop import Z_FIRST, Z_FLOW, Z_KW, Z_VACUUM
from byrewright.studies.failures import runs, trace
from byrewright.studies.routes import ledger
from byrewright.studies.routes.brute import FoundHarm
from byrewright.studies.routes.ledger import DayLedger, from_day
from byrewright.studies.routes.litres import Loss
from byrewright.studies.routes.scene import Question
from tests.plants import rotary

DAY = 43_200
"""Steps of two seconds."""
VESSELS = ("TK1", "WT1", "(lost)", "WS1", "BT1")


def state(step: int) -> Any:
    """A state at a step."""
    n = np.zeros(sh.I_STEP + 1, dtype=int)
    n[sh.I_STEP] = step
    return SimpleNamespace(n=n)


def field() -> Any:
    """A field of two days; milk weighs 2 kg a litre here."""
    cells = np.zeros((len(VESSELS), 40), dtype=int)
    cells[:, sh.VI_ROLE] = [sh.STORE, sh.STORE, sh.STORE, sh.SOURCE, sh.STORE]
    return SimpleNamespace(
        steps=DAY, days={d: SimpleNamespace(day=d) for d in (0, 1)},
        compiled=SimpleNamespace(step_s=2.0, milk_kg_l=2.0, names=SimpleNamespace(vessels=VESSELS),
                                 tables=SimpleNamespace(I=cells), origin_s=4 * 3600.0,
                                 kg_l={"TK1": 2.0, "WT1": 1.0, "(lost)": 1.0, "WS1": 1.0}),
    )  # fmt: skip


def test_readings_over_midnight(monkeypatch: pytest.MonkeyPatch) -> None:
    """Six hours from 22:00: would fail if they ended with the day, or a tanker that comes late came
    in time on the second."""
    asked: list[Any] = []

    def simulate(_: Any, today: Any, was: Any, until: int, rows: Any, readings_from: int) -> Any:
        asked.append((today.day, int(was.n[sh.I_STEP]), until, readings_from, rows))
        return SimpleNamespace(state=state(until), seen=np.array([[0.0], [float(until)]]))

    monkeypatch.setattr(trace, "simulate", simulate)
    monkeypatch.setattr(runs, "_later", lambda day, now, steps: SimpleNamespace(
        day=(day.day, now, steps)))  # fmt: skip
    begin = DAY - 3600
    start: Any = SimpleNamespace(step=begin, state=state(begin))
    seen = trace._seen(field(), start, (), 0)
    assert [a[:4] for a in asked] == [(0, begin, DAY, begin), (1, DAY, DAY + 7200, DAY)]
    assert seen.ravel().tolist() == [DAY, DAY + 7200]
    asked.clear()
    trace._seen(field(), start, (), 30)
    assert [a[0] for a in asked] == [(0, begin, 30), (1, DAY, 30)]
    late: Any = SimpleNamespace(step=2 * DAY, state=state(2 * DAY))
    asked.clear()
    trace._seen(field(), late, (), 0)
    assert asked[0][:3] == (1, 2 * DAY, 2 * DAY + 10_800)


def test_lines_of_a_failure_beside_the_undisturbed() -> None:
    """Would fail if flow were told in kilograms, a vessel that stays were drawn, or one that
    differs by a litre were not."""
    base, hurt = np.zeros((3, Z_FIRST + 5)), np.zeros((2, Z_FIRST + 5))
    base[:, 0], hurt[:, 0] = (1000.0, 2800.0, 4600.0), (1000.0, 2800.0)
    base[:, Z_FLOW], hurt[:, Z_FLOW] = 80.0, (80.0, 60.0)
    base[:, Z_VACUUM], base[:, Z_KW] = 42.0, 30.0
    base[:, Z_FIRST : Z_FIRST + 5] = 900.0
    hurt[:, Z_FIRST : Z_FIRST + 5] = [[900, 900, 900, 900, 900], [898, 901.1, 0, 0, 0]]
    for kg, drawn in ((898.0, True), (898.1, False)):
        hurt[1, Z_FIRST] = kg
        found = trace._series(field(), 1000.0, base, hurt)
        assert [s.key for s in found] == ["flow", "vacuum", "load", *(
            ["content.TK1"] if drawn else []), "content.WT1"]  # fmt: skip
    flow = found[0]
    assert flow.x == (0.0, 0.5)
    assert [x[0] for x in flow.lines] == [trace.BASE, trace.WITH]
    assert [x[2] for x in flow.lines] == [(40.0, 40.0), (40.0, 30.0)]
    assert found[-1].lines[1][2] == (900.0, 901.1)


def test_a_trace_from_the_moment_that_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """Step 1800 of a day that begins at four is five o'clock: would fail if a failure of one moment
    alone were shown at another, or its repair were told in seconds."""
    moments = [SimpleNamespace(name=n, step=s) for n, s in (("a", 900), ("b", 1800))]
    made = field()
    made.moments, made.rows = moments, lambda script, start: (start.name,)
    script = SimpleNamespace(only="", late_s=0.0, repair_s=5400.0)
    case = SimpleNamespace(event=SimpleNamespace(machine="VP1"))
    asked: list[Any] = []
    monkeypatch.setattr(trace, "analyse", lambda *_: SimpleNamespace(case=lambda _: case))
    monkeypatch.setattr(trace, "Scripts", lambda _: SimpleNamespace(of=lambda _: script))
    monkeypatch.setattr(trace, "Field", lambda *a: asked.append(a[-1]) or made)
    monkeypatch.setattr(trace, "_seen", lambda _, start, rows, late: (start.name, rows, late))
    monkeypatch.setattr(trace, "_series", lambda _, at, *both: (at, *both))
    plant = rotary(20, 60)
    got: Any = trace.trace(plant, "x", moment="b")
    assert (got.moment, got.at, got.repair_h, got.moments) == ("b", "05:00", 1.5, ("a", "b"))
    assert got.series == (3600.0, ("b", (), 0), ("b", ("b",), 0)) and got.machine == "VP1"
    assert trace.trace(plant, "x", month=3).moment == "a" and asked == [plant.site.study_month, 3]
    script.only, script.late_s = "a", 60.0
    got = trace.trace(plant, "x", moment="b")
    assert got.moment == "a" and got.series[2] == ("a", ("a",), 30)


# milk lost by the day --------------------------------------------------------------------------

WRONG = (("V34", "open"),)


def test_litres_lost_between_two_times() -> None:
    """The day begins at 04:00; from 05:30 ten minutes are steps 2700 to 3000 of two seconds. Would
    fail if what is lost with all in place were counted, or kilograms were told as litres."""
    one: Any = DayLedger.__new__(DayLedger)
    one.compiled, one._waste = field().compiled, {}
    ran: list[Any] = []
    one._run = lambda wrong, begin, end: ran.append((begin, end)) or (50.0 if wrong else 10.0)
    assert one.lost_l(WRONG, 330.0, 340.0) == 20.0
    assert one.lost_l(WRONG, 330.0, 340.0) == 20.0
    assert ran == [(2700, 3000)] * 2  # each once
    assert one.lost_l(WRONG, 180.0, 181.0) == 20.0 and ran[-1] == (41_400, 41_430)
    assert one.lost_l(WRONG, 330.0, 330.0) == 0.0 and len(ran) == 4
    one._waste.clear()
    one._run = lambda wrong, *_: 10.0 if wrong else 50.0
    assert one.lost_l(WRONG, 330.0, 340.0) == 0.0


def test_a_day_with_positions_wrong_from_a_time_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if positions were wrong from the beginning, those of another combination were, or
    each asked for the plant to be lowered anew."""
    one: Any = DayLedger.__new__(DayLedger)
    one.plant, one.rules, one.month, one.herd = None, None, 5, None
    names = ("FD1", "TR1", "TK1")
    one.compiled = SimpleNamespace(start="start", vessel=names.index,
                                   names=SimpleNamespace(vessels=names))  # fmt: skip
    one._wrong, one._variants = one.compiled, {}
    made: list[Any] = []
    monkeypatch.setattr("byrewright.engine.compiled.with_wrong",
                        lambda _, __, every, ___: made.append(every) or one.compiled)  # fmt: skip
    monkeypatch.setattr("byrewright.engine.draws.day_of", lambda *_, **how: how)
    items = np.zeros((3, 9))
    items[:, sh.MILK] = (3.0, 4.0, 99.0)
    days: list[Any] = []
    monkeypatch.setattr("byrewright.engine.simulate.simulate", lambda _, day, begin, end:
                        days.append((day["extra"], day["month"], begin, end))
                        or SimpleNamespace(state=SimpleNamespace(items=items)))  # fmt: skip
    monkeypatch.setattr(ledger, "Roles", lambda _: SimpleNamespace(drains=("FD1", "FD9"),
                                                                   troughs=("TR1",)))  # fmt: skip
    other = (("V33", "open"),)
    one.expect([(), other, WRONG, other])
    one.expect([WRONG])
    assert made == [[dict(other), dict(WRONG)]]
    assert one._run(WRONG, 100, 200) == 7.0
    assert days == [(((100, 0, 0, sh.ROW_ROUTE, 2.0),), 5, "start", 200)]
    assert one._run((), 100, 200) == 7.0 and days[-1][0] == () and len(made) == 1


@pytest.mark.parametrize(("harm", "loses", "wrong", "l_min", "amount", "basis"), [
    ("milk_lost", "milk", WRONG, 3.0, 3.0, "simulated day, 10 minutes"),
    ("milk_to_wash", "milk", WRONG, 3.0, 3.0, "simulated day"),
    ("milk_lost", "milk", WRONG, 0.04, 90.0, "shows no loss here"),
    ("milk_lost", "milk", WRONG, 0.06, 0.06, "simulated day"),
    ("wrong_tank", "milk", WRONG, 3.0, 90.0, "by duty"),
    ("milk_lost", "TK1", WRONG, 3.0, 90.0, "by duty"),
    ("milk_lost", "milk", (*WRONG, ("TK1", "full")), 3.0, 90.0, "by duty"),
])  # fmt: skip
def test_losses_that_the_day_can_tell(
    harm: str, loses: str, wrong: Any, l_min: float, amount: float, basis: str
) -> None:
    """Half an hour into the first milking (05:00): would fail if stored milk were asked of the day,
    or a rounding of levels were told as a loss."""
    hit = FoundHarm("x", Question(harm, "FD1", (), loses), wrong)
    seen: list[Any] = []
    one: Any = SimpleNamespace(expect=lambda wrongs: seen.append(list(wrongs)),
                               lost_l=lambda _, a, b: l_min * (b - a) * (a == 330.0))  # fmt: skip
    plain = Loss(90.0, "L/min", "by duty")
    got = from_day(rotary(20, 60), one, lambda _: plain, [hit])(hit)
    assert got.amount == pytest.approx(amount) and basis in got.basis
    assert seen == [[wrong] if basis != "by duty" else []]
