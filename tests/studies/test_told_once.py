"""Quantities that more than one study gives, on random briefs that nobody tuned with."""

from __future__ import annotations

import pytest

from benchmarks.bench_agreement import compared
from benchmarks.briefs import TUNING
from byrewright.results import Finding, Result, ResultBuilder, Verdict
from byrewright.studies.day import run_day
from byrewright.studies.every import STUDIES
from byrewright.studies.sizing import size
from byrewright.studies.sizing.duty import duty_of
from byrewright.studies.told_once import (
    LATER_MILKINGS,
    QUANTITIES,
    Quantity,
    Reading,
    agrees,
    disagreements,
    finding,
    owners_only,
)
from tests.studies.benches import bench_of
from tests.studies.failing import ROWS, SMALL, example

HOW_MANY = 3
"""Random briefs here; benchmarks/bench_agreement.py takes 300."""


@pytest.mark.parametrize("seed", range(TUNING + 1, TUNING + 1 + HOW_MANY))
def test_no_quantity_is_told_twice(seed: int) -> None:
    """Would fail if two studies gave numbers for one quantity that lie too far apart."""
    assert [str(d) for d in compared(seed)] == []


def test_sizing_and_the_day_milk_the_same_cows() -> None:
    """Would fail if sizing paced part-full rows, or a farm with a tanker every second day, by
    other cows than the day; or if the deck's drive took power while the deck stood."""
    plant = example(ROWS)
    rows, alone = run_day(plant), duty_of(bench_of(plant))
    on_time = finding("day.milking_on_time")(rows)
    assert [m.cows % 20 for m in alone.milkings] != [0, 0]
    assert on_time == pytest.approx({m.name: m.hours for m in alone.milkings}, abs=0.002)
    assert rows.finding("day.yard_wait").value == pytest.approx(
        max(m.yard_wait_min for m in alone.milkings), abs=0.02
    )
    deck = run_day(example(SMALL))
    duty = duty_of(bench_of(example(SMALL)))
    kw = next(f.value for f in size(example(SMALL)).findings if f.key == "deck.running_power")
    table = deck.table("day.milkings")
    stood = sum(float(r[table.columns.index("stood")]) for r in table.rows) / 60
    machines = deck.table("day.machines").rows
    kwh = sum(float(r[2]) for r in machines if r[1] == "Platform drives")
    turning = sum(m.hours for m in duty.milkings) - stood
    assert kw is not None and stood > 0.05
    last = duty.turn_s / 3600 * len(duty.milkings)  # the last cow is carried on to the exit
    assert kw * turning < kwh < kw * (turning + last)
    assert stood > last * 0.5  # else the bounds would not see a drive that runs while it stands


def test_the_list_names_each_quantity_once_and_gives_its_reason() -> None:
    """Would fail if an owner were unclear, a study unknown, or a tolerance without a reason."""
    assert len({q.name for q in QUANTITIES}) == len(QUANTITIES) >= 12
    for one in QUANTITIES:
        assert (
            one.others
            and one.reason
            and {one.owner.study, *(o.study for o in one.others)} <= (set(STUDIES))
        ), one.name


def told(study: str, value: float, key: str = "k", verdict: Verdict = "holds") -> Result:
    """A study that says one number."""
    notes = ResultBuilder(study, "")
    notes.findings.append(Finding(key, "", "what", value, "L", "It is so.", verdict))
    return notes.result()


def pair() -> Quantity:
    """What study `a` owns, and `b` tells too by another key."""
    owner, other = Reading("a", finding("k"), "k"), Reading("b", finding("j"), "j")
    return Quantity("flow", "L", owner, (other,), 0.1, 0.0, "r")


def test_the_blend_of_milkings_is_compared_where_a_region_asks_for_it() -> None:
    """Would fail if sizing promised a tank colder than the day finds it when more milk comes."""

    def tank(study: str, key: str, title: str, c: float) -> Result:
        return Result(study, "", (Finding(key, "", title, c, "degC", "", "holds"),))

    step = f"(invented) rule: at all times, {LATER_MILKINGS}"
    day = tank("day", "day.milk_temperature_2", step, 6.5)
    every = {"day": day, "sizing": tank("sizing", "cooling.tank.blend", "TK1", 4.9)}
    assert len(list(disagreements(every))) == 1
    every["sizing"] = tank("sizing", "cooling.tank.blend", "TK1", 5.6)
    assert not list(disagreements(every))
    every["day"] = tank("day", "day.milk_temperature_1", "(invented) rule: at once", 35.0)
    assert not list(disagreements(every))


def test_a_disagreement_is_seen_and_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if the comparison went blind: a number a fifth off must be named."""
    quantity = pair()
    monkeypatch.setattr("byrewright.studies.told_once.QUANTITIES", (quantity,))
    assert [str(d) for d in disagreements({"a": told("a", 10.0), "b": told("b", 12.0, "j")})] == [
        "flow: a 10, b 12 L"
    ]
    assert not list(disagreements({"a": told("a", 10.0), "b": told("b", 10.9, "j")}))
    assert len(list(disagreements({"a": told("a", 10.0), "b": told("b", 10.1, "k")}))) == 1
    low = Quantity("x", "", quantity.owner, quantity.others, 0.0, 0.0, "r", "not under")
    assert agrees(low, 1.0, 5.0) and not agrees(low, 5.0, 1.0)
    assert not agrees(low, 5.0, 4.0, 0.5) and agrees(low, 5.0, 4.0, 1.0)


def test_a_report_prints_the_owners_number_only(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a report of several studies told one quantity by two numbers."""
    monkeypatch.setattr("byrewright.studies.told_once.QUANTITIES", (pair(),))
    kept = owners_only([told("a", 10.0), told("b", 10.1, "j")])
    assert [len(r.findings) for r in kept] == [1, 0]
    assert [len(r.findings) for r in owners_only([told("b", 10.1, "j")])] == [1]
    same = owners_only([told("a", 10.0), told("c", 10.0)])
    assert [len(r.findings) for r in same] == [1, 0]


@pytest.mark.parametrize("key", ["j", "k"])
def test_a_worse_verdict_is_never_left_out(key: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a report dropped what fails because another study owns the number."""
    monkeypatch.setattr("byrewright.studies.told_once.QUANTITIES", (pair(),))
    worse: tuple[Verdict, ...] = ("fails", "unknown", "tight")
    for verdict in worse:
        found = owners_only([told("a", 10.0), told("b", 10.1, key, verdict)])
        assert [len(r.findings) for r in found] == [1, 1]
    assert [len(r.findings) for r in owners_only(
        [told("a", 10.0, verdict="fails"), told("b", 10.1, key, "tight")])] == [1, 0]  # fmt: skip
