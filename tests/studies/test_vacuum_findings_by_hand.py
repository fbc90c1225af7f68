"""What is said of the vacuum, on states, events and lines that are made up."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.plant.plant import Plant
from byrewright.results import Finding
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.vacuum import findings, findings_time
from byrewright.studies.vacuum.sensitivity import Effect
from byrewright.studies.vacuum.transient import Tuned
from tests.plants import machine, rotary
from tests.studies.benches import bench_of

PLANT = rotary()
RULES = {"vacuum.test.working_vacuum_kpa": 2.0, "milkline.drop_share_of_time_pct": 95.0,
         "vacuum.iso_drop_receiver_to_pump_kpa": 3.0, "vacuum.line_velocity_m_s": 20.0,
         "vacuum.iso_drop_receiver_to_regulator_kpa": 1.0}  # fmt: skip


def bench(redundancy: str = "none", no_stop: bool = False, plant: Plant | None = None,
          ) -> StudyContext:  # fmt: skip
    """A bench for a farm with these wishes."""
    plant = plant or PLANT
    wishes = plant.wishes.model_copy(update={"redundancy": redundancy, "no_single_stop": no_stop})
    return bench_of(plant.model_copy(update={"wishes": wishes}), RULES)


def told(ctx: StudyContext) -> list[Finding]:
    """What was found since the last asking."""
    found = [*ctx.notes.findings]
    ctx.notes.findings.clear()
    return found


def pump(name: str = "VP1", speed: float = 1.0, inlet: float = 44.0, kw: float = 5.0,
         motor: float = 7.5, back: float = 2.0) -> Any:  # fmt: skip
    """A pump in a state."""
    return SimpleNamespace(name=name, speed=speed, inlet_vacuum_kpa=inlet, power_kw=kw,
                           motor_kw=motor, back_kpa=back)  # fmt: skip


def state(*pumps: Any, least: float = 41.0, vm: float = 42.0, at_a1: float = 900.0,
          speed: float = 0.7, segments: Any = (), **more: Any) -> Any:  # fmt: skip
    """A solved state."""
    return SimpleNamespace(
        pumps=pumps or (pump(),), least_at_units_kpa=least, milk_vacuum_kpa=vm, speed=speed,
        power_kw=5.0, pump_flow_l_min_free=2000.0, use=SimpleNamespace(total=1200.0),
        situation=SimpleNamespace(title="All units", running=("VP1",)),
        asked_l_min_free=(at_a1,), regulated_l_min_free=60.0, segments=segments, **more,
    )  # fmt: skip


def place(name: str, speed: str = "variable", **more: Any) -> Any:
    """A pump in a network."""
    fields: dict[str, Any] = {"capacity_l_min_free": 3000, "motor_kw": 7.5, "speed": speed}
    return SimpleNamespace(name=name, machine=machine(name, "vacuum_pump", **fields | more),
                           efficiency=0.6)  # fmt: skip


def network(*pumps: Any, varies: bool = True) -> Any:
    """A network of which only pumps, vessels and settings are known."""
    return SimpleNamespace(
        pumps=pumps or (place("VP1"), place("VP2")), varies=varies, set_vacuum_kpa=42.0,
        ambient_kpa_abs=100.0, volumes_l=(600.0, 400.0), plant=PLANT,
        rules=bench_of(PLANT, RULES).rules,
    )  # fmt: skip


def case(**more: Any) -> Any:
    """A plant's answers."""
    usual: dict[str, Any] = {"network": network(), "running": ("VP1",), "states": {},
                             "reserve": state(), "manual": state(), "reserve_alone": None,
                             "milking": state(), "effects": [], "tuned": [], "runs": {},
                             "tuned_with": ("VP1",), "lines": ()}  # fmt: skip
    return SimpleNamespace(**usual | more)


@pytest.mark.parametrize(("key", "least", "verdict", "little"), [
    ("milking", 40.0, "holds", False), ("milking", 39.9, "fails", True),
    ("one_pump", 39.9, "fails", True), ("wash", 30.0, "holds", False),
])  # fmt: skip
def test_vacuum_of_a_situation(key: str, least: float, verdict: str, little: bool) -> None:
    """Two under the setting of 42 is enough: would fail if a wash were held to milking, or milking
    to its setting."""
    ctx = bench()
    one = state(pump("VP1"), pump("VP2", speed=0.0), least=least)
    findings._situation(ctx, case(states={key: one}), key)
    (got,) = told(ctx)
    assert (got.verdict, got.value) == (verdict, least) and got.title == "Vacuum: all units"
    assert got.limit == (40.0 if key != "wash" else None)
    assert ("too little to milk" in got.sentence) == little
    assert "VP1 running at 70 % speed" in got.sentence


@pytest.mark.parametrize(("held", "us_held", "has", "verdict", "shorter"), [
    (True, False, 551.0, "holds", False),
    (True, False, 549.0, "tight", False), (True, False, 499.0, "fails", True),
    (True, True, 799.0, "fails", True), (True, True, 900.0, "holds", False),
    (False, False, 10.0, "holds", False),
])  # fmt: skip
def test_reserve_of_one_pump_alone(
    monkeypatch: pytest.MonkeyPatch, held: bool, us_held: bool, has: float, verdict: str,
    shorter: bool,
) -> None:  # fmt: skip
    """Would fail if a farm that asked for no second pump were held to one, or the other country's
    rule were."""
    monkeypatch.setattr(findings, "reserve_limits", lambda *_: (500.0, 800.0, us_held))
    ctx = bench("shared-running" if held else "none")
    findings._reserve_alone(ctx, case(reserve_alone=state(pump("VP1", 0.0), pump("VP2"),
                                                          at_a1=has)))  # fmt: skip
    (got,) = told(ctx)
    assert got.limit == ((800.0 if us_held else 500.0) if held else None)
    assert got.verdict == verdict and [i.value for i in got.inputs][-1] == 70
    assert ("attach more slowly" in got.sentence) == shorter
    assert ("is required" in got.sentence) == held and "With VP2 alone" in got.sentence
    findings._reserve_alone(ctx, case())
    assert told(ctx) == []


def test_drops_to_pump_and_regulator() -> None:
    """Would fail if a pump that stands were read, the better of two were, or a drop were less than
    none."""
    one = state(pump("VP1", inlet=44.5), pump("VP2", inlet=45.0), pump("VP3", 0.0, inlet=60.0))
    assert findings.to_pump(one) == 3.0
    assert findings.to_pump(state(pump(inlet=41.0))) == 0.0
    assert findings.to_pump(state(pump(speed=0.0, inlet=50.0))) == 0.0
    for kpa, drop in ((43.5, 1.5), (41.0, 0.0)):
        there = state(network=SimpleNamespace(regulation_point=7), at={7: kpa}.__getitem__)
        assert findings.to_regulator(there) == drop


@pytest.mark.parametrize(("kpa", "found", "words"), [
    (2.5, None, "are lost at the effective reserve of 900 L/min."),
    (3.0, None, "are lost at the effective reserve of 900 L/min."),
    (3.1, [("L1", 76.0, 98.0), ("L2", 76.0, 98.0), ("L3", 98.0, 110.0)],
     "Take 98 mm instead of 76 mm for L1 and L2 and 110 mm instead of 98 mm for L3: that leaves "
     "2.2 kPa."),
    (3.1, [], "No standard bore is enough"),
])  # fmt: skip
def test_bores_that_bring_a_drop_within_its_limit(
    monkeypatch: pytest.MonkeyPatch, kpa: float, found: Any, words: str
) -> None:
    """Would fail if a drop at its limit were mended, or mended to its very limit."""
    asked: list[float] = []
    monkeypatch.setattr(findings, "mend", lambda _, __, most, ___: (asked.append(most) or found,
                                                                    2.2))  # fmt: skip
    for end in ("pump", "regulator"):
        ctx = bench()
        rule = "vacuum.iso_drop_receiver_to_pump_kpa"
        findings._one_drop(ctx, case(), end, rule, lambda _: kpa)
        (got,) = told(ctx)
        assert words in got.sentence and got.limit == 3.0 and got.value == kpa
        assert got.verdict == {2.5: "holds", 3.0: "tight", 3.1: "fails"}[kpa]
        assert ("sense at the receivers" in got.sentence) == (end == "regulator" and bool(found))
        assert len(got.remedies) == len(found or ())
        assert all(r.why.endswith("within 80 % of its limit") for r in got.remedies)
        assert (got.advised_why[-25:] == " within 80 % of its limit") == bool(found)
        assert [*asked] == ([] if found is None else [pytest.approx(2.4)])
        asked.clear()


BORES = (50.0, 60.0, 70.0, 80.0)


class Pipes:
    """Pipes between receiver and pump: drop at 50 mm, flow; drops go by the fifth power."""

    def __init__(self, pipes: dict[str, tuple[float, float]], bores: dict[str, float]) -> None:
        self.pipes, self.bores = pipes, bores
        self.segments = [SimpleNamespace(
            name=n, what="pipe" if not n.startswith("f") else "fitting", bore_mm=bores.get(n, 50.0))
            for n in pipes]  # fmt: skip

    def state(self) -> Any:
        """Its state."""
        drops = {n: d * (50.0 / self.bores.get(n, 50.0)) ** 5 for n, (d, _) in self.pipes.items()}
        each = [SimpleNamespace(segment=s, flow_l_min_free=self.pipes[s.name][1])
                for s in self.segments]  # fmt: skip
        return SimpleNamespace(network=self, segments=each, drop_of=drops.__getitem__,
                               total=sum(drops.values()))  # fmt: skip


@pytest.fixture
def pipes(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Solving made short: sizes are 50, 60, 70 and 80 mm."""
    monkeypatch.setattr(findings, "at_airflow", lambda net, _: net.state())
    monkeypatch.setattr(findings, "with_bore", lambda net, bores: Pipes(net.pipes, bores))
    monkeypatch.setattr(findings, "plate_bore", lambda *_: 50.0)
    monkeypatch.setattr(findings, "next_bore_mm",
                        lambda need: next((b for b in BORES if b >= need), None))  # fmt: skip

    def mend(wanted: float, **of: tuple[float, float]) -> tuple[list[Any], float]:
        return findings.mend(Pipes(of, {}), None, wanted, lambda s: s.total)  # type: ignore[arg-type]

    return mend


def test_the_pipe_that_helps_most_for_its_cost_is_widened_first(pipes: Any) -> None:
    """The next bore takes off 0.598 of a drop: would fail if twins were widened one without the
    other, two pipes for less than one gives, or more than is wanted."""
    share = (50 / 60) ** 5
    twins, one = {"P": (0.4, 100.0), "Q": (0.4, -101.0)}, {"R": (0.5, 300.0)}
    changes, drop = pipes(1.05, **twins, **one)
    assert changes == [("R", 50.0, 60.0)] and drop == pytest.approx(0.8 + 0.5 * share)
    changes, drop = pipes(0.7, **twins, **one)
    assert changes == [("R", 50.0, 60.0), ("P", 50.0, 60.0), ("Q", 50.0, 60.0)]
    assert drop == pytest.approx(1.3 * share)
    changes, _ = pipes(0.05, R=(0.5, 300.0))
    assert changes == [("R", 50.0, 80.0)]  # no wider one is made
    changes, drop = pipes(0.1, P=(0.4, 100.0), Q=(0.4, 103.0))
    assert changes[0][0] == "P" and pipes(0.6, P=(0.4, 100.0), Q=(0.4, 103.0))[0] == [
        ("P", 50.0, 60.0)]  # fmt: skip
    assert pipes(0.0, P=(0.03, 100.0)) == ([], 0.03)  # gains 0.018 kPa
    assert pipes(0.0, P=(0.04, 100.0))[0] == [("P", 50.0, 60.0)]
    assert pipes(0.5, P=(0.5, 100.0)) == ([], 0.5)


@pytest.mark.parametrize(("then", "what", "worth"), [
    (0.375, "pipe", True), (0.41, "pipe", False), (0.375, "line", True), (None, "pipe", False),
])  # fmt: skip
def test_a_pipe_is_worth_changing_for_a_tenth_of_a_kilopascal(
    then: float | None, what: str, worth: bool
) -> None:
    """Would fail if a change that gives nearly nothing were advised, or a line were as a pipe."""
    ctx = bench()
    wider = None if then is None else 98.0
    effect = Effect("L1", what, 76.0, 900.0, 9.0, 0.5, wider, then, None, None)
    findings._worst_pipe(ctx, case(effects=[effect, effect]))
    first, second = told(ctx)
    kind = "Line" if what == "line" else "Branch"
    assert first.sentence.startswith("The worst drop: ") and second.sentence.startswith(kind)
    for one in (first, second):
        assert ("not worth changing" in one.sentence) != worth
        assert one.advised == (98.0 if worth else None)
        assert (one.target is not None) == (worth and what == "pipe")


def test_the_fastest_air_is_that_of_a_pipe() -> None:
    """Would fail if air in a fitting were told, or the slowest of all."""
    each = (("a", "pipe", 12.0), ("b", "line", 15.0), ("c", "fitting", 30.0))
    segments = [SimpleNamespace(segment=SimpleNamespace(name=n, what=w), velocity_m_s=v)
                for n, w, v in each]  # fmt: skip
    ctx = bench()
    findings._velocity(ctx, case(reserve=state(segments=segments)))
    (got,) = told(ctx)
    assert got.value == 15.0 and "fastest in b: 15 m/s; above 20 m/s" in got.sentence


def test_motors_flat_out_and_lobes_that_run_hot() -> None:
    """Air of 19 degC from 50 to 102 kPa warms by 0.2856 T (2.04 - 1) / 0.6: would fail if a pump
    that stands were judged, or a full load were called too much."""
    pumps = (place("VP1"), place("VP2", design="lobe"), place("VP3"))
    states = (pump("VP1", kw=7.5), pump("VP2", kw=7.6, inlet=50.0), pump("VP3", 0.0))
    ctx = bench()
    findings._power(ctx, case(network=network(*pumps), manual=state(*states)))
    one, two, hot = told(ctx)
    assert (one.subject, two.subject, hot.key) == ("VP1", "VP2", "vacuum.discharge")
    assert "trip" not in one.sentence and "It would trip" in two.sentence
    assert (one.limit, two.value) == (7.5, 7.6)
    warmest = max(ctx.plant.site.ambient_c)
    rise = 287.05 / 1005 * (warmest + 273.15) * (102 / 50 - 1) / 0.6
    assert hot.value == pytest.approx(warmest + rise, abs=0.1)


@pytest.mark.parametrize(("speed", "varies", "second", "seen"), [
    (0.45, True, 1.0, True), (0.46, True, 1.0, False), (0.45, False, 1.0, False),
    (0.45, True, 0.0, False),
])  # fmt: skip
def test_pumps_that_share_at_their_least_speed(
    speed: float, varies: bool, second: float, seen: bool
) -> None:
    """The highest of their least speeds counts, 45 %: would fail if pumps that still slow down were
    said to stand at their floor, or one alone to share."""
    pumps = (place("VP1", least_speed_pct=40.0), place("VP2", least_speed_pct=45.0))
    both = state(pump("VP1"), pump("VP2", second), speed=speed, vm=42.7)
    alone = state(pump("VP1"), speed=0.55)
    for states, said in (({}, False), ({"one_pump": alone}, True)):
        ctx = bench()
        findings._sharing(ctx, case(network=network(*pumps, varies=varies), milking=both,
                                    states=states))  # fmt: skip
        found = told(ctx)
        assert len(found) == seen
        if seen:
            assert found[0].value == 60.0 and "of 45 %" in found[0].sentence
            assert "+0.7 kPa off" in found[0].sentence
            assert ("VP1 alone would run at 55 %" in found[0].sentence) == said


@pytest.mark.parametrize(("us_held", "has", "speed", "pct"), [
    (False, 400.0, "fixed", 10.0), (True, 400.0, "fixed", 40.0), (False, 500.0, "fixed", None),
    (False, 400.0, "variable", None),
])  # fmt: skip
def test_belts_that_would_give_the_reserve(
    monkeypatch: pytest.MonkeyPatch, us_held: bool, has: float, speed: str, pct: float | None
) -> None:
    """100 L/min short of 1000 drawn is a tenth more speed: would fail if a pump that stands or that
    varies were given other belts."""
    monkeypatch.setattr(findings, "reserve_limits", lambda *_: (500.0, 800.0, us_held))
    for running in (("VP1",), ("VP2",)):
        ctx = bench()
        findings._belts(ctx, case(
            network=network(place("VP1", speed), place("VP2", "variable")), running=running,
            reserve=state(pump("VP1", kw=5.0), pump("VP2", 0.0), at_a1=has),
            flat_out=lambda _: 1000.0))  # fmt: skip
        found = told(ctx)
        assert len(found) == (pct is not None and running == ("VP1",))
        if found:
            assert found[0].value == pytest.approx(pct)
            assert f"Belts for {pct:.0f} % more speed" in found[0].sentence
            assert f"VP1 7.5 kW motor at {5 + 0.05 * (pct or 0):.1f} kW." in found[0].sentence


def test_air_held_back_by_lines() -> None:
    """1000 L give 20 L for 2 kPa of 100, one second of 1200 L/min: would fail if volumes were not
    added, or minutes were taken for seconds."""
    ctx = bench()
    findings._volume(ctx, case())
    (got,) = told(ctx)
    assert got.value == pytest.approx(20.0)
    assert "hold 1.00 m3 and yield 20 L" in got.sentence and "1.0 s of the air" in got.sentence


TUNED = [Tuned(0.5, 0.25, 1.234, 0.1, 2.0), Tuned(0.2, 0.1, 2.0, 0.2, 3.0)]


def test_settings_of_speed_control(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if the setting in use were told for the best, a pump at its best setting were set
    again, or pumps with a fixed speed were set at all: 3000 L/min and 15 % are 3450."""
    ctx = bench()
    findings_time._tuning(ctx, case())
    assert told(ctx) == [] and findings_time.retuned(case()) == ()
    for now, used in (((0.2, 0.1), "2.00 and 0.20"), ((0.9, 0.9), "1.23 and 0.10")):
        monkeypatch.setattr(findings_time, "speed_control", lambda _, n=now: n)
        findings_time._tuning(ctx, case(tuned=TUNED))
        (got,) = told(ctx)
        assert got.value == 0.5 and f"against {used} kPa as set" in got.sentence
        assert "1.23 kPa drop and 0.10 kPa" in got.sentence
        set_ = [(r.of, r.figure, r.to) for r in findings_time.retuned(case(tuned=TUNED))]
        assert set_ == [(t, f, v) for t in ("VP1", "VP2")
                        for f, v in (("gain_per_kpa", 0.5), ("ramp_per_s", 0.25))]  # fmt: skip
    for best in ((0.5, 0.1), (0.2, 0.25)):
        monkeypatch.setattr(findings_time, "speed_control", lambda _, n=best: n)
        assert len(findings_time.retuned(case(tuned=TUNED))) == 4
    monkeypatch.setattr(findings_time, "speed_control", lambda _: (0.5, 0.25))
    larger = findings_time.retuned(case(tuned=TUNED))
    assert [(r.of, r.to) for r in larger] == [("VP1", 4000.0), ("VP2", 4000.0)]
    fixed = case(tuned=TUNED, network=network(place("VP1", "fixed")))
    assert findings_time.retuned(fixed) == ()
    (wish,) = findings_time.together(case(running=("VP1", "VP2")))
    assert (wish.of, wish.figure) == ("wishes", "redundancy")
    (idle,) = findings_time.together(case())
    assert (idle.of, idle.figure, idle.to) == ("VP2", "in_milking", "runs")


def line(**more: Any) -> Any:
    """A milkline's answer: ten units a slope."""
    load = SimpleNamespace(slopes=2, units=10.0, peak_l_min=30.0, steady_air_l_min=100.0,
                           attach_interval_s=9.0, cow_peak_l_min=4.0)  # fmt: skip
    usual: dict[str, Any] = {
        "line": machine("ML1", "milkline", bore_mm=73, slope_pct=1.0, length_m=60), "load": load,
        "at_peak": SimpleNamespace(stratified=True), "level": 0.4, "slug_share": 0.05,
        "slug_limit_l_min": 40.0, "units_by_slug_limit": 9, "half_full_l_min": 45.0,
        "units_1978": 10, "table_units": None, "better_bore_mm": None,
    }  # fmt: skip
    return SimpleNamespace(**usual | more)


@pytest.mark.parametrize(("more", "verdict", "words"), [
    ({}, "tight", "(stratified)"), ({"slug_share": 0.039}, "holds", "for 3.9 % of milking"),
    ({"slug_share": 0.051, "better_bore_mm": 98.0}, "fails", "Take 98 mm."),
    ({"slug_share": 0.051}, "fails", "No standard bore is enough"),
    ({"slug_share": 0.0, "units_1978": 9}, "tight", "The 1978 rule has 9 units"),
    ({"slug_share": 0.0, "units_1978": 9, "table_units": 12.0}, "holds", "40 % deep"),
    ({"at_peak": SimpleNamespace(stratified=False), "slug_share": 0.0}, "holds", "(slugs)"),
    ({"at_peak": None, "slug_share": 0.0}, "holds", "(slugs)"),
])  # fmt: skip
def test_a_milkline_by_its_share_of_slugs(more: dict[str, Any], verdict: str, words: str) -> None:
    """A twentieth of milking is allowed, near it a fifth less: would fail if the rule of 1978 were
    asked beside a standard's own table, or let a line hold."""
    ctx = bench()
    findings_time._milkline(ctx, line(**more))
    slugs, cows, table = told(ctx)
    assert slugs.verdict == verdict and words in slugs.sentence
    assert slugs.limit == pytest.approx(5.0)
    assert ("1978" in slugs.sentence) == ("1978" in words)
    assert slugs.advised == more.get("better_bore_mm") and cows.value == 9.0
    if "table_units" in more:
        assert (table.value, table.limit, table.verdict) == (10.0, 12.0, "holds")
    else:
        assert (table.value, table.verdict) == (None, "unknown")
    assert not math.isnan(slugs.value or 0.0)
