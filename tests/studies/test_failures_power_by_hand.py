"""The mains lost and boards that take over, on machines and loads that are made up."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.results import Finding
from byrewright.studies.failures import overload, power
from tests.plants import machine, rotary
from tests.studies.benches import bench_of

PLANT = rotary(20, 60)


def found(what: Any, *machines: Any, bare: bool = False, **more: Any) -> list[Finding]:
    """What is said of a plant with these machines beside; `bare`: without any supply."""
    equipment = {} if bare else PLANT.equipment
    plant = PLANT.model_copy(update={"equipment": {**equipment, **{m.id: m for m in machines}}})
    ctx = bench_of(plant)
    what(ctx, SimpleNamespace(plant=plant, **more))
    return ctx.notes.findings


def set_(tag: str, start_s: float, by: str = "automatic") -> Any:
    """A standby set."""
    return machine(tag, "generator", rating_kva=100, start_s=start_s, start_by=by)


def held(tag: str, minutes: float) -> Any:
    """A supply for the controls."""
    return machine(tag, "uninterruptible_supply", rating_kva=1, hold_min=minutes)


@pytest.mark.parametrize(("machines", "dark_s", "limit", "verdict", "words"), [
    ((set_("G1", 15.0), set_("G2", 12.0), held("U1", 0.5)), 12.0, 30.0, "holds", "Cups fall"),
    ((set_("G1", 12.0, "hand"), set_("G2", 31.0), held("U1", 0.5)), 31.0, 30.0, "fails", "31 s"),
    ((set_("G1", 12.0), held("U1", 5.0), held("U2", 0.1)), 12.0, 6.0, "fails", "for 6 s"),
    ((set_("G1", 2.0),), 2.0, None, "holds", "for 0 s."),
    ((set_("G1", 2.1), held("U1", 1.0)), 2.1, 60.0, "holds", "Cups fall"),
    ((set_("G1", 9.0, "tractor"), held("U1", 5.0)), None, None, "holds", "up for 5 min"),
    ((set_("G1", 9.0, "hand"),), None, None, "holds", "dark until someone has started it"),
    ((), None, None, "holds", "there is no standby set"),
])  # fmt: skip
def test_dark_until_the_first_set_carries(
    machines: Any, dark_s: float | None, limit: float | None, verdict: str, words: str
) -> None:
    """Would fail if a set that people start were taken for one that starts by itself, the slowest
    set or the longest hold counted, or seconds were told as minutes."""
    (one,) = found(power._dark, *machines)
    repair_s = 3600 * PLANT.equipment["EM1"].failures()[0].repair_h
    assert one.value == (repair_s if dark_s is None else dark_s)
    assert (one.limit, one.verdict == "fails") == (limit, verdict == "fails")
    assert words in one.sentence
    if dark_s is not None:
        assert ("Cups fall" in one.sentence) == (dark_s > 2.0)
    assert found(power._dark, *machines, bare=True) == []


def over(board: str, amps: float, rated: float, *shed: str, holds: bool = True) -> Any:
    """A board over its rating, which trips after five minutes."""
    return overload.Overload(board, amps, rated, 300.0, shed, holds)


def test_the_board_that_is_worst_off() -> None:
    """Would fail if a board without a rating were said to carry, one overload of two be told, or
    the greater current for the greater share of a rating."""

    def told(rating: float | None, by: dict[str, list[Any]], **more: Any) -> list[Finding]:
        board = machine("B1", "switchboard", rating_a=rating)
        lost = SimpleNamespace(givers=set(by), overloads=lambda s: by[next(iter(s))])
        return found(power._overload, board, bare=True, structure=lost, **more)

    (bare,) = told(None, {"B2": []})
    assert bare.verdict == "fails" and "rating of B1 is not stated" in bare.sentence
    (fine,) = told(100.0, {"B2": []})
    assert (fine.value, fine.verdict) == (0, "holds") and "any one supply lost" in fine.sentence
    two = {"B2": [over("B1", 150.0, 100.0, "WH1")], "B3": [over("B4", 240.0, 200.0, "WH2"),
                                                          over("B1", 120.0, 100.0)]}  # fmt: skip
    for rating in (100.0, None):  # one that is over is told, whatever another has
        (worst,) = told(rating, two)
        assert (worst.subject, worst.value, worst.verdict) == ("B1", 2, "fails")
        assert "With B2 lost, B1 carries 150 A on 100 A" in worst.sentence
        assert "after about 5 min unless WH1 are switched off" in worst.sentence
    for one in (over("B1", 150.0, 100.0, "WH1", holds=False), over("B1", 150.0, 100.0)):
        assert "however much is shed" in told(100.0, {"B2": [one]})[0].sentence
    assert found(power._overload, bare=True, structure=None) == []


def load(tag: str, kind: str, kw: float, factor: float = 1.0) -> Any:
    """A load in milking."""
    fields = {"water_heater": {"volume_l": 500, "heater_kw": 9}, "vacuum_pump":
              {"capacity_l_min_free": 3000, "motor_kw": 9}, "chiller": {"duty_kw": 20}}  # fmt: skip
    made = SimpleNamespace(machine=machine(tag, kind, **fields[kind]), power_factor=factor)
    made.kw = lambda situation: kw if situation == "milking" else 99.0
    return made


@pytest.mark.parametrize(("loads", "shed", "holds"), [
    ((("VP1", "vacuum_pump", 69.0),), None, True),  # 99.6 A on 90 A, and 1.13 times holds
    ((("VP1", "vacuum_pump", 71.0),), (), False),
    ((("VP1", "vacuum_pump", 50.0), ("WH1", "water_heater", 10.0), ("WH2", "water_heater", 20.0)),
     ("WH2",), True),
    ((("VP1", "vacuum_pump", 50.0), ("CH1", "chiller", 30.0), ("WH1", "water_heater", 10.0)),
     ("WH1", "CH1"), True),
    ((("VP1", "vacuum_pump", 65.0), ("WH1", "water_heater", 10.0)), ("WH1",), True),
    ((("VP1", "vacuum_pump", 72.0), ("CH1", "chiller", 1.0)), ("CH1",), False),
])  # fmt: skip
def test_loads_are_shed_until_a_board_holds(
    monkeypatch: pytest.MonkeyPatch, loads: Any, shed: tuple[str, ...] | None, holds: bool
) -> None:
    """At 400 V a kilowatt takes 1.443 A, the board has 90 A and holds 1.13 times that (70.5 kW):
    would fail if cold went before heat, the smallest load first, or more than was needed."""
    boards = (machine("B1", "switchboard", rating_a=90), machine("B2", "switchboard"))
    plant = PLANT.model_copy(update={"equipment": {b.id: b for b in boards}})
    each = [load(*one) for one in loads]
    monkeypatch.setattr(overload, "carried", lambda *_: {"B1": each, "B2": each})
    rules = bench_of(
        PLANT, {"breaker.holds_multiple": 1.13, "breaker.time_constant_s": 600.0}
    ).rules
    got = overload.overloads(plant, (), rules, 400.0, 3, frozenset())
    if shed is None:
        assert got == ()
        return
    (one,) = got
    kva = sum(x[2] for x in loads)
    assert (one.board, one.rated_a, one.shed, one.holds) == ("B1", 90.0, shed, holds)
    assert one.amps == pytest.approx(1000 * kva / math.sqrt(3) / 400)
    square = (one.amps / 90.0) ** 2
    assert one.trips_s == pytest.approx(600.0 * math.log(square / (square - 1.13**2)))
