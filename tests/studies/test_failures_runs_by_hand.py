"""Moments, rows and spans of failures on the simulated day, with no day simulated."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.studies.failures import runs
from byrewright.studies.failures.cuts import Cancelled
from byrewright.studies.failures.runs import Field

DAY = 172_800
"""Steps of half a second."""


class State:
    """A state of which only the step is known, and whether it is as undisturbed."""

    def __init__(self, step: int, like: bool = True) -> None:
        self.n = np.zeros(max(sh.I_STEP, 0) + 1)
        self.n[sh.I_STEP] = step
        self.like = like

    def copy(self) -> State:
        """Itself again."""
        return State(int(self.n[sh.I_STEP]), self.like)

    def same_as(self, other: State) -> bool:
        """Whether two are alike."""
        return self.like == other.like


def field(*rows: tuple[int, int], washed: Any = ()) -> Any:
    """A field whose third day has these rows (step of the run, what) and washes begun at these
    seconds of it; half a second a step."""
    one: Any = Field.__new__(Field)
    one.compiled = SimpleNamespace(step_s=0.5, start=State(0), tables=None)
    one.steps, one.first, one.longest_h = DAY, 2, 20.0
    heads = np.zeros((len(rows), 4), dtype=int)
    for i, (step, what) in enumerate(rows):
        heads[i, sh.RW_STEP], heads[i, sh.RW_FIELD] = step, what
    one.days = {d: SimpleNamespace(rows=heads, number=d) for d in range(4)}
    one.session = np.zeros((len(washed), 24))
    for i, at_s in enumerate(washed):
        one.session[i, sh.B_WASH_BEGUN] = at_s
    return one


@pytest.mark.parametrize(("rows", "washed", "at"), [
    ((), (), {"peak flow": 2 * DAY + 108 * 120}),
    # the last milking of the day less a minute; the first tanker less ten
    (((2 * DAY + 40_000, sh.ROW_MILKING), (2 * DAY + 90_000, sh.ROW_MILKING),
      (2 * DAY + 60_000, sh.ROW_TANKER), (2 * DAY + 70_000, sh.ROW_TANKER)), (),
     {"peak flow": 2 * DAY + 108 * 120, "before the mode changes": 2 * DAY + 89_880,
      "before collection": 2 * DAY + 58_800}),
    (((2 * DAY + 500, sh.ROW_TANKER),), (), {"before collection": 2 * DAY,
                                             "peak flow": 2 * DAY + 108 * 120}),
    # the first wash of the day, ten minutes into it; what began before the day is none
    ((), (172_700.0, 190_000.0, 180_000.0), {"peak flow": 2 * DAY + 108 * 120, "wash": 361_200}),
])  # fmt: skip
def test_bad_moments_of_a_day(
    monkeypatch: pytest.MonkeyPatch, rows: Any, washed: Any, at: dict[str, int]
) -> None:
    """Would fail if a moment were of another milking, tanker or wash, steps were taken for seconds,
    or moments came out of their order; milk is busiest in minutes 100 to 115."""
    one = field(*rows, washed=washed)
    flow = np.zeros((300, 2))
    flow[100:115, 1] = 90.0
    asked: list[tuple[int, int]] = []

    def simulate(_: Any, day: Any, state: State, until: int, **more: Any) -> Any:
        asked.append((day.number, until))
        made = State(until)
        made.session = one.session  # type: ignore[attr-defined]
        return SimpleNamespace(state=made, seen=flow if "readings_from" in more else None)

    monkeypatch.setattr(runs, "simulate", simulate)
    monkeypatch.setattr(runs, "_fresh", lambda state, _: state)
    one._moments()
    found = {m.name: m.step for m in one.moments}
    assert {("before the mode changes" if k == runs.MODE_CHANGE else k): v
            for k, v in found.items()} == at  # fmt: skip
    assert [*found.values()] == sorted(found.values())
    assert all(int(m.state.n[sh.I_STEP]) == m.step for m in one.moments)
    assert asked[:3] == [(0, DAY), (1, 2 * DAY), (2, 3 * DAY)]


def test_a_run_goes_over_midnight_day_by_day(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a day were run with the next day's work, or tankers that have come were put
    off."""
    asked: list[Any] = []

    def simulate(_: Any, day: Any, state: State, until: int, rows: Any = ()) -> Any:
        asked.append((day, until))
        return SimpleNamespace(state=State(until))

    monkeypatch.setattr(runs, "simulate", simulate)
    monkeypatch.setattr(runs, "_later", lambda day, now, steps: (day.number, now, steps))
    one = field()
    one.run(State(DAY - 10), 5 * DAY, ())
    assert [(d.number, until) for d, until in asked] == [
        (0, DAY), (1, 2 * DAY), (2, 3 * DAY), (3, 4 * DAY), (3, 5 * DAY)]  # fmt: skip
    asked.clear()
    one.run(State(100), 200, (), 7)
    assert asked == [((0, 100, 7), 200)]


def test_undisturbed_states_are_kept_and_gone_on_from(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a day were run anew for each failure, or from a state that lies later."""
    from threading import Lock

    one = field()
    one.base_runs, one.lock = {}, Lock()
    began: list[int] = []
    one.run = lambda state, until: began.append(int(state.n[sh.I_STEP])) or State(until)
    here, there = (SimpleNamespace(name=n, state=State(100)) for n in ("here", "there"))
    for moment, until in ((here, 300), (here, 900), (here, 600), (here, 300), (there, 800)):
        assert int(one.undisturbed(moment, until).n[sh.I_STEP]) == until
    assert began == [100, 300, 300, 100]


STEP_H = 7200


@pytest.mark.parametrize(("repair_s", "longest_h", "until_h"), [
    (3600.0, 20.0, 6.0), (3 * 3600.0, 20.0, 7.0), (30 * 3600.0, 20.0, 20.0), (3600.0, 2.0, 2.0),
])  # fmt: skip
def test_a_failure_is_followed_until_all_is_as_before(
    monkeypatch: pytest.MonkeyPatch, repair_s: float, longest_h: float, until_h: float
) -> None:
    """Four hours after its repair, six at least: would fail if a failure were left before its last
    row, called over while tankers come late, or run on when it is over."""
    one = field()
    one.longest_h = longest_h
    moment = SimpleNamespace(name="here", step=1000, state=State(1000))
    like: list[bool] = [False]
    one.run = lambda state, until, rows=(), late=0: State(until, like[0])
    one.undisturbed = lambda _, until: State(until)
    one._trap_shuts = lambda s, m, rows, first, hour, late: (rows, first)
    one._measure = lambda m, first, base, end, end_base, rejoined: (
        int(first.n[sh.I_STEP]), int(end.n[sh.I_STEP]), rejoined)  # fmt: skip
    rows: list[Any] = [(1000,), (1000 + round(repair_s * 2),)]
    one.rows = lambda *_: tuple(rows)
    script: Any = SimpleNamespace(repair_s=repair_s, late_s=0.0)
    assert one.consequence(script, moment) == (1000 + STEP_H, 1000 + until_h * STEP_H, False)
    like[0] = True
    last = max(3.0, -(-(repair_s / 3600 - 1) // 2) * 2 + 1)  # hours in steps of two from the first
    ends = 1000 + round(min(last, until_h) * STEP_H)
    assert one.consequence(script, moment) == (1000 + STEP_H, ends, repair_s / 3600 <= until_h)
    rows.clear()
    assert one.consequence(script, moment) == (1000 + STEP_H, 1000 + STEP_H, True)
    script.late_s = 60.0
    assert one.consequence(script, moment) == (1000 + STEP_H, 1000 + until_h * STEP_H, False)


@pytest.mark.parametrize(("over_s", "at", "end"), [
    (600.0, 1201, 2000), (999.5, 2000, 4000), (1999.9, 4000, 6000), (5000.0, 10_001, 10_001),
])  # fmt: skip
def test_a_full_receiver_shuts_its_trap(over_s: float, at: int, end: int) -> None:
    """Stages at 500 s and 1500 s after step 1000, mended after 2500 s: would fail if cups fell
    before milk is in the trap, stayed off longer than until the next stage, or another vessel that
    runs over were taken for a receiver."""
    one = field()
    names = ("TK1", "RC1", "RC2")
    one.receivers = frozenset(names[1:])
    one.compiled.names = SimpleNamespace(vessels=names)
    one.compiled.tables = SimpleNamespace(rows=lambda _: slice(1, 4))
    one._targets = lambda *_: [(7, 3)]
    one.run = lambda state, until, rows, late: ("again", until)
    script: Any = SimpleNamespace(repair_s=2500.0, stages=[SimpleNamespace(after_s=t)
                                                           for t in (500.0, 1500.0)])  # fmt: skip
    moment: Any = SimpleNamespace(step=1000, state=State(1000))
    first: Any = SimpleNamespace(items=np.full((4, 40), -1.0))
    row = (1000, 8, 0, 0, 1.0)
    assert one._trap_shuts(script, moment, (row,), first, 99, 0) == ((row,), first)
    first.items[:, sh.P_OVER_AT] = (-1.0, 1.0, over_s + 50, over_s)
    rows, again = one._trap_shuts(script, moment, (row,), first, 99, 0)
    assert again == ("again", 99)
    assert rows == tuple(sorted([row, (at, 9, 7, 3, 0.0), (end, 7, 7, 3, 1.0)]))
    assert one._trap_shuts(script, moment, (), first, 99, 0) == ((), first)


def test_scripts_alike_are_run_once() -> None:
    """Would fail if each of many failures alike were simulated, or a stop were not heard."""
    ran: list[Any] = []
    one: Any = SimpleNamespace(
        moments=[SimpleNamespace(name=n) for n in ("a", "b")],
        rows=lambda script, moment: (script.rows, moment.name),
        consequence=lambda script, moment: ran.append(script) or (script.name, moment.name),
    )
    scripts: Any = {n: SimpleNamespace(name=n, rows=r, late_s=late) for n, r, late in (
        ("x", 1, 0.0), ("y", 1, 0.0), ("z", 2, 0.0), ("w", 1, 9.0))}  # fmt: skip
    said: list[tuple[int, int]] = []
    got = runs.run_all(one, scripts, say=lambda _, n, of: said.append((n, of)))  # type: ignore[func-returns-value]
    assert len(ran) == 6 and sorted(said) == [(n, 6) for n in range(1, 7)]
    assert got["y"] == got["x"] == (("x", "a"), ("x", "b")) and got["w"][0] == ("w", "a")
    with pytest.raises(Cancelled):
        runs.run_all(one, scripts, say=lambda *_: True)


def test_stages_after_the_repair_are_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if something were set after it is mended, a setting that stays were set again, or
    a script for one moment were run at another."""
    one = field()
    one._settings = lambda stage: dict(stage.settings)
    monkeypatch.setattr(runs, "Stage", lambda after, *_: SimpleNamespace(after_s=after,
                                                                         settings={}))  # fmt: skip
    pump, level = (1, sh.ROW_PUMP), (2, sh.ROW_LEVEL)

    def rows(*stages: tuple[float, dict[Any, float]], only: str = "") -> Any:
        made: Any = SimpleNamespace(only=only, repair_s=600.0, stages=[
            SimpleNamespace(after_s=t, settings=s) for t, s in stages])  # fmt: skip
        moment: Any = SimpleNamespace(name="here", step=1000)
        return one.rows(made, moment)

    assert rows((0.0, {pump: 0.0}), (300.0, {pump: 0.0, level: 40.0}), (700.0, {pump: 0.5})) == (
        (1000, 8, *pump, 0.0), (1600, 8, *level, 40.0), (2200, 8, *pump, 1.0),
        (2200, 8, *level, -1.0))  # fmt: skip
    assert rows((600.0, {pump: 0.0}), only="here") == (
        (2200, 8, *pump, 0.0), (2200, 8, *pump, 1.0))  # fmt: skip
    assert rows((0.0, {pump: 0.0}), only="there") == ()
