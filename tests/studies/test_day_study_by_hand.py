"""How days follow one another and where what is reported begins, with no day simulated."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies import vacuum
from byrewright.studies.day import study
from byrewright.studies.vacuum.network import NoNetwork
from tests.plants import rotary

PLANT = rotary(20, 60)
RULES = default_rulebook()
DAY = 43_200
"""Steps of two seconds."""


@pytest.mark.parametrize(("month", "day", "then"), [
    (1, 0, 1), (1, 30, 1), (1, 31, 2), (2, 27, 2), (2, 28, 3), (12, 30, 12), (12, 31, 1),
    (11, 30 + 31, 1), (6, -2, 6), (1, 364, 12), (1, 365, 1),
])  # fmt: skip
def test_months_run_on(month: int, day: int, then: int) -> None:
    """Would fail if a long run stayed in its month, or the days before it fell into the last."""
    assert study._month_of(month, day) == then


class State:
    """A state: step and extremes alone."""

    def __init__(self, step: int = 0) -> None:
        self.n = np.zeros(40, dtype=int)
        self.n[sh.I_STEP] = step
        self.items, self.g = np.full((4, 60), 7.0), np.full(60, 7.0)
        self.loads = np.ones((5, 5))

    def copy(self) -> State:
        """The same again."""
        made = State()
        made.n, made.items, made.g = self.n.copy(), self.items.copy(), self.g.copy()
        made.loads = self.loads.copy()
        return made


def compiled(**more: Any) -> Any:
    """A compiled plant of two vessels and two coolers, two milkings a day."""
    rows = {"vessels": slice(0, 2), "exchangers": slice(2, 4)}
    num = np.full(60, 8)
    usual: dict[str, Any] = {"step_s": 2.0, "start": State(), "milkings": 2, "vacuum_known": "",
                             "tables": SimpleNamespace(rows=rows.__getitem__, num=num)}  # fmt: skip
    return SimpleNamespace(**usual | more)


def test_extremes_begin_anew() -> None:
    """Would fail if a day were told the most of the days before it, or contents changed."""
    state = study._fresh(State(), compiled())
    v, x = state.items[:2], state.items[2:]
    assert (v[:, :4] == 7.0).all() and (v[:, [sh.P_MOST, sh.P_LEAST]] == 28.0).all()
    assert v[0, [sh.P_OVER_AT, sh.P_SPILT, sh.P_WARMEST]].tolist() == [-1.0, 0.0, 0.0]
    assert (x[:, sh.SX_WARMEST] == 0.0).all() and x[0, 0] == 7.0
    assert state.g[[sh.G_VAC_LEAST, sh.G_AIR_LEAST]].tolist() == [1e3, 1e3]
    assert state.g[[sh.G_KW_MOST, sh.G_MINUTE_MOST]].tolist() == [0.0, 0.0]
    assert not state.loads.any() and state.n[sh.I_LOADS] == 0


@pytest.fixture
def played(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """Every day that is asked: its number, month, end and where readings begin."""
    found: list[Any] = []
    monkeypatch.setattr("byrewright.engine.draws.day_of", lambda *_, **how: SimpleNamespace(
        count=[how["day"]] * 8, day=how["day"], month=how["month"],
        _replace=lambda **_: SimpleNamespace(day="none", month=0)))  # fmt: skip

    def simulate(_: Any, today: Any, state: State, until: int, readings_from: Any = None) -> Any:
        found.append((today.day, today.month, until, readings_from))
        made = state.copy()
        made.n[sh.I_STEP] = until
        made.n[sh.I_LOADS] = 1
        seen = None if readings_from is None else np.array([[0.0], [float(until)]])
        return SimpleNamespace(state=made, seen=seen)

    monkeypatch.setattr("byrewright.engine.simulate.simulate", simulate)
    monkeypatch.setattr(study, "session_of", lambda _, __, state, number, count: SimpleNamespace(
        number=number, count=count, step=int(state.n[sh.I_STEP]),
        wash_end_s=float(state.n[sh.I_STEP] >= (number // 2 + 1 + number % 2) * DAY)))  # fmt: skip
    return found


def stretch(month: int = 1, said: Any = lambda *_: None) -> study._Stretch:
    """A stretch of days of a month."""
    return study._Stretch(PLANT, compiled(), None, month, 1, (), said, False)


def test_days_before_those_that_are_told(played: list[Any]) -> None:
    """Would fail if warming up were told, a day's loads were lost or told twice, a milking whose
    wash ends the next day were left out, or the last were not seen to its end."""
    shares: list[float] = []
    run = stretch(1, lambda _, share: shares.append(share)).run(2, 3, None, None)
    extra = 5 * 3600  # ten hours
    assert played == [
        *((d, 1, (d + 1) * DAY, None) for d in range(3)),
        (3, 1, 4 * DAY, 3 * DAY), (4, 1, 5 * DAY, 4 * DAY), ("none", 0, 5 * DAY + extra, None),
    ]  # fmt: skip
    assert shares == pytest.approx([0.2, 0.4, 0.6, 0.8, 1.0])
    assert int(run.first.n[sh.I_STEP]) == 3 * DAY and int(run.last.n[sh.I_STEP]) == 5 * DAY
    assert run.seen.ravel().tolist() == [4.0 * DAY, 5.0 * DAY]
    assert [len(x) for x in run.loads] == [1, 1] and not run.last.loads.any()
    assert [(s.number, s.count) for s in run.sessions] == [(6, 3), (7, 3), (8, 4), (9, 4)]  # type: ignore[attr-defined]
    assert run.sessions[-1].step == 5 * DAY + extra  # type: ignore[attr-defined]
    assert run.beyond_s == 36_000.0


def test_a_run_that_goes_on_from_a_state_or_ends_early(played: list[Any]) -> None:
    """Would fail if a snapshot were warmed up again, hours were counted from the days before, or
    milkings that were cut off were seen to an end."""
    shares: list[float] = []
    run = stretch(1, lambda _, share: shares.append(share)).run(1, 3, State(5 * DAY), 3600.0)
    assert played == [(5, 1, 5 * DAY + 1800, 5 * DAY)] and run.beyond_s == 0.0
    assert shares == [1.0]
    played.clear()
    stretch().run(1, 2, None, 3600.0)
    assert [p[2] for p in played] == [DAY, 2 * DAY, 2 * DAY + 1800]
    played.clear()
    stretch().run(1, 28, None, 3600.0)
    assert played[-1][:2] == (28, 1)  # what is told begins with its month


def test_the_second_half_of_a_long_run(played: list[Any]) -> None:
    """Would fail if the second half began with the first's day of the calendar or its cows."""
    run = stretch().run(1, 1, None, None, skip=40)
    assert played[0] == (40, 2, 41 * DAY, None)  # the fortieth day from the first of January
    assert played[1][:2] == (41, 2)
    assert int(run.first.n[sh.I_PENDING]) == int(run.first.n[sh.I_MILKED]) == 80


@pytest.mark.parametrize(("days", "more", "parts"), [
    (1, {}, [(1, 0)]), (29, {}, [(29, 0)]), (60, {}, [(30, 0), (30, 30)]),
    (61, {}, [(30, 0), (31, 30)]), (65, {}, [(30, 0), (35, 30)]), (60, {"until": 9.0}, [(60, 0)]),
    (60, {"rows": ((1, 1, 1, 1, 1.0),)}, [(60, 0)]), (60, {"snapshot": State()}, [(60, 0)]),
])  # fmt: skip
def test_a_long_run_is_cut_in_two(
    monkeypatch: pytest.MonkeyPatch, days: int, more: dict[str, Any], parts: list[tuple[int, int]]
) -> None:
    """Rounds of three days: would fail if a half began in the middle of a round, days were lost
    between them, or a run that someone steps were cut."""
    asked: list[tuple[int, int]] = []
    every: list[float] = []

    class Stretch:
        """Keeps what is asked of it."""

        tell: Any = staticmethod(lambda *_: None)

        def __init__(self, *_: Any) -> None: ...

        def run(self, length: int, warm_up: int, *_: Any, skip: int = 0) -> Any:
            """A part."""
            assert warm_up == 3
            asked.append((length, skip))
            self.tell("simulating", 0.5)
            return "part"

    def with_(tell: Any) -> Stretch:
        one = Stretch()
        one.tell = tell
        return one

    monkeypatch.setattr("byrewright.engine.compiled.compile_plant",
                        lambda *_, sample_s, **__: every.append(sample_s)
                        or compiled())  # fmt: skip
    monkeypatch.setattr("byrewright.engine.ahead.finish", lambda _: None)
    monkeypatch.setattr("byrewright.engine.draws.Herd", lambda *_: None)
    monkeypatch.setattr("byrewright.engine.session.first_day", lambda _: 3)
    monkeypatch.setattr(study, "_Stretch", Stretch)
    monkeypatch.setattr(study, "replace", lambda _, tell: with_(tell))
    monkeypatch.setattr(study, "joined", lambda found, n: (found, n))
    shares: list[float] = []
    more["progress"] = lambda _, share: shares.append(share)
    got: Any = study.simulate_days(PLANT, RULES, days=days, **more)
    assert max(shares) == (0.5 if len(parts) == 2 else 0.0)
    assert sorted(asked, key=lambda p: p[1]) == parts
    assert got == ("part" if len(parts) == 1 else (["part", "part"], days))
    assert every == [60.0 if days <= 7 else 600.0]
    for wrong in ({"month": 0}, {"month": 13}, {"days": 0}, {"days": 3661}):
        with pytest.raises(ValueError, match="give"):
            study.simulate_days(PLANT, RULES, **wrong)
    for right in ({"month": 1}, {"month": 12}, {"days": 3660}):
        study.simulate_days(PLANT, RULES, **right)


def test_the_map_of_the_vacuum_or_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a plant without pumps, setting or milking were solved, or one that cannot be
    were an error of the whole day."""
    asked: list[Any] = []
    found = SimpleNamespace(row={"milking": 1}, pumps="p", units="u", vacuum_kpa="xv", speed="xs",
                            power_kw="xk")  # fmt: skip
    monkeypatch.setattr(vacuum, "operating_map", lambda *_: found)
    monkeypatch.setattr("byrewright.engine.operating_map.from_network",
                        lambda *a: asked.append(a) or "made")  # fmt: skip
    assert study.vacuum_map(PLANT, RULES) == "made"
    assert asked == [("p", "u", "v", "s", "k", ("VP1", "VP2"), 20, 42.0,
                      RULES.number("motor.efficiency"))]  # fmt: skip
    for bare in (rotary(20, 60, VP1=None, VP2=None), rotary(20, 60, RG1=None),
                 PLANT.model_copy(update={"modes": {}})):  # fmt: skip
        assert study.vacuum_map(bare, RULES) is None

    def fails(*_: Any) -> None:
        raise NoNetwork("none")

    monkeypatch.setattr(vacuum, "operating_map", fails)
    assert study.vacuum_map(PLANT, RULES) is None and len(asked) == 1
