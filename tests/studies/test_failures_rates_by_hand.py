"""How often things fail, in which ways, and cups that fall: on parts that are made up."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.plant.machine import Failure
from byrewright.studies.failures import cups, events, rates
from byrewright.studies.failures.cups import Cups
from byrewright.studies.failures.events import Event, FaultEffect
from byrewright.studies.failures.rates import Rate
from byrewright.studies.vacuum import steady, transient
from tests.plants import machine, rotary
from tests.studies.benches import bench_of

PLANT = rotary(20, 60)
RULES = bench_of(PLANT, {"vacuum.standby_delay_s": 8.0, "failures.cup_again_s": 12.0}).rules


# cups ------------------------------------------------------------------------------------------


def asked(*, untouched: bool = True, down: Any = (), lost: dict[str, float] | None = None) -> Any:
    """What is asked with these pumps down, or shares of them lost."""
    pumps = [SimpleNamespace(id=t) for t in ("VP1", "VP2")]
    return SimpleNamespace(
        pulse=lambda: SimpleNamespace(untouched=untouched), s=SimpleNamespace(pumps=pumps),
        runs=lambda tag: None if tag in down else (), w=SimpleNamespace(lost=lost or {}),
    )  # fmt: skip


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> Cups:
    """Twenty cups on pumps VP1 (two) and VP2; VP1's run."""
    one = Cups(PLANT, RULES, SimpleNamespace(units_on=19.6))  # type: ignore[arg-type]
    places = [SimpleNamespace(name=n, machine=SimpleNamespace(id=t))
              for n, t in (("VP1 (1)", "VP1"), ("VP1 (2)", "VP1"), ("VP2", "VP2"))]  # fmt: skip
    one.__dict__["_network"] = (SimpleNamespace(pumps=places), SimpleNamespace(mode="milking"))
    monkeypatch.setattr(cups, "pumps_running", lambda *_: ("VP1 (1)", "VP1 (2)"))
    monkeypatch.setattr(cups, "leak_l_min", lambda *_: 0.0)
    held = SimpleNamespace(goes_on=True, acts=())
    monkeypatch.setattr(cups, "vacuum", lambda _: (held, None))
    return one


def test_pumps_that_are_lost_are_followed_in_time(
    made: Cups, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if a share of a pump's machines were rounded down, a pump that does not run were
    missed by the cups, or a case were marched twice."""
    marched: list[Any] = []
    monkeypatch.setattr(made, "_march",
                        lambda *a: marched.append(tuple(a[2])) or 7.0)  # fmt: skip
    assert made.fall(asked()) == 0.0 and made.fall(asked(down=("VP2",))) == 0.0
    assert made.fall(asked(down=("VP1",))) == 7.0 and made.fall(asked(down=("VP1",))) == 7.0
    assert marched == [("VP1 (1)", "VP1 (2)")]
    for share, lost in ((0.24, None), (0.26, ("VP1 (1)",)), (0.5, ("VP1 (1)",)),
                        (0.76, ("VP1 (1)", "VP1 (2)"))):  # fmt: skip
        before = len(marched)
        made._known.clear()
        assert made.fall(asked(lost={"VP1": share})) == (0.0 if lost is None else 7.0)
        assert marched[before:] == ([] if lost is None else [lost])
    assert made.fall(asked(), 5.0) == 7.0 and marched[-1] == ("VP1 (1)", "VP1 (2)", "VP2")


def test_all_cups_fall_where_nothing_holds_the_vacuum(
    made: Cups, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if cups stayed on while pulsation stands, air streams in or people must first
    start a pump; slowing down or shutting something does not let them fall."""
    assert made.fall(asked(untouched=False)) == 20.0
    for goes_on, verbs, fallen in ((True, ("slow", "close"), 0.0), (True, ("slow", "run"), 20.0),
                                   (False, (), 20.0)):  # fmt: skip
        held = SimpleNamespace(goes_on=goes_on, acts=[SimpleNamespace(verb=v) for v in verbs])
        monkeypatch.setattr(cups, "vacuum", lambda _, h=held: (h, None))
        assert made.fall(asked()) == fallen
    monkeypatch.setattr(cups, "vacuum", lambda _: (SimpleNamespace(goes_on=True, acts=()), None))
    for leak, fallen in ((cups.WHOLE, 20.0), (0.9 * cups.WHOLE, 0.0)):
        monkeypatch.setattr(cups, "leak_l_min", lambda *_, q=leak: q)
        assert made.fall(asked()) == fallen
    made.__dict__["_network"] = None
    assert made.fall(asked(down=("VP1",))) == 0.0 and made.fall(asked(), 5.0) == 20.0
    assert not made.looked_at


@pytest.mark.parametrize(("lost", "dark_s", "later", "back"), [
    (("VP1 (1)",), 0.0, 8.0, [2]), (("VP1 (1)", "VP2"), 3.0, 3.0, [0, 2]),
    (("VP1 (1)", "VP1 (2)", "VP2"), 0.0, 8.0, []),
])  # fmt: skip
def test_pumps_stop_and_come_back(
    made: Cups, monkeypatch: pytest.MonkeyPatch, lost: Any, dark_s: float, later: float, back: Any
) -> None:
    """Would fail if a pump that is lost came back by itself, or those that were dark did not when
    there is power again; followed for fifteen seconds more."""
    from byrewright.engine.airmarch import ON_PUMP

    found: list[Any] = []

    def march(network: Any, event: Any, _: Any) -> Any:
        found.append(event)
        return SimpleNamespace(units_falling=6.6)

    monkeypatch.setattr(transient, "march", march)
    network, milking = made.__dict__["_network"]
    assert made._march(network, milking, list(lost), dark_s) == 7.0
    (event,) = found
    begin = transient.BEFORE_S
    assert event.seconds == later + 15.0 and event.running == ("VP1 (1)", "VP1 (2)")
    stops = [i for i, n in enumerate(("VP1 (1)", "VP1 (2)")) if n in lost]
    starts = [(begin + later, ON_PUMP, i, 1.0) for i in back]
    assert event.rows(network, None) == [*((begin, ON_PUMP, i, 0.0) for i in stops), *starts]

    def fails(*_: Any) -> None:
        raise steady.NotSolved("no")

    monkeypatch.setattr(transient, "march", fails)
    assert made._march(network, milking, list(lost), dark_s) == 20.0


def test_cups_are_put_on_again_by_all_hands() -> None:
    """Three people put on ten cups of 12 s each in 40 s: would fail if the fewest were counted."""
    fewer = [m.model_copy(update={"operators": n}) for m, n in zip(PLANT.milkings, (1, 3),
                                                                   strict=True)]  # fmt: skip
    for milkings, s in ((fewer, 40.0), ((), 120.0)):
        plant = PLANT.model_copy(update={"milkings": tuple(milkings)})
        one = Cups(plant, RULES, SimpleNamespace(units_on=20))  # type: ignore[arg-type]
        assert one.again_s(10.0) == s


# events ----------------------------------------------------------------------------------------


def way(law: str, share: float = 0.0, each: bool = True) -> Any:
    """A failure that acts by a law."""
    return SimpleNamespace(effect=SimpleNamespace(law=law, share=share), each=each, way="w")


@pytest.mark.parametrize(("one", "failure", "found"), [
    (machine("SN1", "sensor", measures="level", on="RC1"), way("off"), [[("blind", "", 1.0)]]),
    (PLANT.equipment["RG1"], way("off"), [[("off", "", 1.0)]]),
    (machine("V1", "valve", seats="double"), way("passes"), [[("outside", "", 1.0)]]),
    (machine("V1", "valve"), way("passes"), [[("passes", "", 1.0)]]),
    (machine("DU1", "drive_unit", count=4, motor_kw=1), way("off"), [[("share", "", 0.75)]]),
    (machine("DU1", "drive_unit", count=4, motor_kw=1), way("share", 0.5),
     [[("share", "", 0.875)]]),
    (machine("DU1", "drive_unit", count=4, motor_kw=1), way("off", 0.0, False),
     [[("off", "", 1.0)]]),
    (machine("DU1", "drive_unit", count=1, motor_kw=1), way("share", 0.4), [[("share", "", 0.4)]]),
    (machine("DU1", "drive_unit", count=4, motor_kw=1), way("slow"), [[("slow", "", 1.0)]]),
    (machine("V1", "valve", on_loss="opens"), way("rests"), [[("rests", "open", 1.0)]]),
    (machine("V1", "valve", on_loss="closes"), way("rests"), [[("rests", "closed", 1.0)]]),
    (PLANT.equipment["RG1"], way("rests"), [[("rests", "", 1.0)]]),
    (machine("V1", "valve"), way("breaks open"), [[("off", "", 1.0), ("leaks", "", 1.0)]]),
    (machine("VP1", "vacuum_pump", capacity_l_min_free=900, motor_kw=2), way("three phases"),
     [[("off", "", 1.0)]]),
    (machine("V31", "valve"), way("stuck"), [[("stuck", "open", 1.0)], [("stuck", "closed", 1.0)]]),
])  # fmt: skip
def test_what_a_failure_leaves_broken(one: Any, failure: Any, found: Any) -> None:
    """Would fail if one of four were taken for all, a double seat let wash into milk, a sensor that
    fails were told as dark, or a valve stuck where it never stands."""
    modes = {m: PLANT.modes[m] for m in ("milking", "wash", "direct")}
    got = events._variants(PLANT.model_copy(update={"modes": modes}), one, failure)
    assert [[(h.law, h.at, h.amount) for h in hits] for hits in got] == found
    assert all(h.machine == one.id for hits in got for h in hits)


def test_one_cause_that_takes_several() -> None:
    """Would fail if half of five lift groups were three of them, drives were counted by tags, or
    one drive had a group that could fail."""
    for counts, amount in (((5,), 0.6), ((2, 2), 0.5), ((1,), None), ((1, 1), 0.5)):
        drives = {f"DU{i}": machine(f"DU{i}", "drive_unit", count=n, motor_kw=1)
                  for i, n in enumerate(counts, 1)}  # fmt: skip
        plant = PLANT.model_copy(update={"equipment": drives})
        found = [e for e in events.events_of(plant) if e.common]
        assert len(found) == (amount is not None)
        if amount is not None:
            (hits,) = found[0].variants
            assert [h.amount for h in hits] == [pytest.approx(amount)] * len(counts)
            assert found[0].machine == "DU1"
    air = [e for e in events.events_of(PLANT) if e.common and "air" in e.id]
    assert [[h.machine for h in e.variants[0]] for e in air] == [["AC1", "AC2"]]
    both = FaultEffect("duty", "x"), FaultEffect("off", "x")
    for hits, structural in ((both[:1], False), (both, True)):
        assert Event("", "", "", None, (hits,)).structural == structural  # type: ignore[arg-type]


# rates -----------------------------------------------------------------------------------------


def test_lives_by_the_hours_that_count(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if what stands in the wet lived as long as in the dry, a controller rested between
    milkings, or parts of one machine did not add up."""
    lives = {k: SimpleNamespace(beta=1.0, wet=wet, damp=damp, low_h=1000.0, high_h=4000.0)
             for k, wet, damp in (("a", False, False), ("b", True, True), ("c", False, True),
                                  ("controller", False, False))}  # fmt: skip
    monkeypatch.setattr(rates, "LIVES", lives)
    hours = {"life.a": 2000.0, "life.b": 2000.0, "life.c": 2000.0, "life.controller": 8760.0,
             "reliability.wet_divisor": 4.0, "reliability.damp_divisor": 2.0,
             "failures.repair_factor": 1.5, "reliability.beta_common_cause": 0.1,
             "generator.fail_to_start": 0.02}  # fmt: skip
    rules: Any = SimpleNamespace(number=hours.__getitem__)
    found = {k: rates.life_a_year(k, rules, 1000.0) for k in lives}
    assert found == pytest.approx({"a": 0.5, "b": 2.0, "c": 1.0, "controller": 1.0})
    sigma = math.log(4.0) / 3.29

    def rate(life: str, *also: str, alike: int = 1, common: bool = False) -> Rate:
        failure = Failure("w", life, 4.0, "", "")
        seen = SimpleNamespace(life=life, also=also, repair_h=failure.repair_h)
        return rates._rate(Event("", "", "", seen, (), alike, common), rules, 1000.0)  # type: ignore[arg-type]

    one = rate("a")
    assert (one.a_year, one.repair_h) == (pytest.approx(0.5), 6.0)
    assert one.unavailable == pytest.approx(0.5 * 6 / 8760) and one.sigma == pytest.approx(sigma)
    two = rate("a", "b", alike=3)
    assert two.a_year == pytest.approx(7.5)
    assert dict(two.shares) == pytest.approx({"a": 0.2, "b": 0.8})
    assert two.sigma == pytest.approx(sigma * math.hypot(0.2, 0.8))
    assert rate("a", alike=2, common=True).a_year == pytest.approx(0.1)
    low, high = one.range_a_year
    assert (low, high) == (pytest.approx(0.25), pytest.approx(1.0))
    lives["generator_start"] = lives["a"]
    hours["life.generator_start"] = 2000.0
    assert rate("generator_start").unavailable == 0.02
    hours["failures.repair_factor"] = 1e4
    assert rate("b").unavailable == 1.0


@pytest.mark.parametrize(("alike", "life", "hours"), [
    (False, "motor", 0.5 * 0.002 * 2.0 + 0.25 * 0.001 * 2.0),
    (True, "motor", 0.5 * 0.002 * 2.0 + 0.25 * 0.001 * 2.0 + 0.1 * 0.25 * 3.0),
])  # fmt: skip
def test_hours_with_two_out(alike: bool, life: str, hours: float) -> None:
    """Repairs of 3 and 6 h leave 2 h of both: would fail if the longer repair were taken, or two of
    other kinds failed by one cause."""
    a = Rate(0.5, 3.0, 0.0, 0.001, life)
    b = Rate(0.25, 6.0, 0.0, 0.002, life)
    assert rates.pair_hours(a, b, 0.1, alike) == pytest.approx(hours)
    none = Rate(0.5, 0.0, 0.0, 0.0, life)
    assert rates.pair_hours(none, none, 0.1, False) == 0.0
