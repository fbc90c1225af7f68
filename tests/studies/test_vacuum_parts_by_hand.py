"""What pipes cost, the balance of the air, the map for the day and the milkline: each by hand."""

from __future__ import annotations

import re
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from byrewright.results import ResultBuilder
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.vacuum import balance, milkline, operating, sensitivity, study
from byrewright.studies.vacuum.milkline import load_of
from byrewright.studies.vacuum.network import NoNetwork
from byrewright.studies.vacuum.sensitivity import Effect, FittingEffect
from tests.plants import machine, rotary, rows
from tests.studies.benches import duty

RULES = default_rulebook()


def stretch(name: str, what: str = "pipe", bore_mm: float = 76.0, machine_: str | None = None,
            fittings: dict[str, int] | None = None) -> Any:  # fmt: skip
    """A stretch of a network; its pipe runs between two machines of its name."""
    pipe = None
    if what == "pipe":
        pipe = SimpleNamespace(start=f"{name}a.x", end=f"{name}b.y", bore_mm=bore_mm,
                               fittings=fittings or {})  # fmt: skip
    return SimpleNamespace(name=name, what=what, bore_mm=bore_mm, machine=machine_, pipe=pipe)


class Net:
    """A network of which only names, bores and what is taken out are known."""

    def __init__(self, *segments: Any) -> None:
        self.segments = segments
        line = machine("ML1", "milkline", bore_mm=73, slope_pct=1.0, length_m=60)
        self.plant = SimpleNamespace(equipment={"ML1": line}, machines=lambda _: [line])
        self.changed: Any = None

    def but(self, changed: Any) -> Net:
        """The same with one thing changed."""
        other = Net(*self.segments)
        other.changed = changed
        return other

    def without_fitting(self, name: str, fitting: str) -> Net:
        """One fitting taken out."""
        return self.but((name, fitting))

    def without_loss(self, name: str) -> Net:
        """The loss inside a machine taken out."""
        return self.but((name, "inside"))


@pytest.fixture
def net(monkeypatch: pytest.MonkeyPatch) -> Net:
    """Air through a wide and a narrow pipe, a milkline of two stretches, and a trap: kPa at the
    receiver follow from what is changed."""
    made = Net(stretch("wide", bore_mm=110.0), stretch("L1", fittings={"bend": 3, "tee": 1}),
               stretch("ML1", "line", 70.0, "ML1"), stretch("ML1", "line", 70.0, "ML1"),
               stretch("ST1", "fitting"), stretch("NR1", "fitting"),
               stretch("none", fittings={"bend": 1}))  # fmt: skip
    drops = {"wide": 0.006, "L1": 0.4, "ML1": 0.9, "ST1": 0.005, "NR1": 0.004, "none": 0.0049}
    gains = {("L1", "bend"): 0.02, ("L1", "tee"): 0.05, ("ST1", "inside"): 0.03}

    def solve(network: Net, *_: Any) -> Any:
        kpa, now = 40.0, dict(drops)
        if isinstance(network.changed, dict):
            ((name, bore),) = network.changed.items()
            was = {"wide": 110.0, "L1": 76.0, "ML1": 73.0}[name]
            now[name] = drops[name] * (was / bore) ** 5
            kpa += drops[name] - now[name]
        elif network.changed:
            kpa += gains[network.changed]
        states = [
            SimpleNamespace(segment=s, flow_l_min_free=-100.0 * i, velocity_m_s=10.0 - i)
            for i, s in enumerate(network.segments, 1)
        ]
        return SimpleNamespace(segments=states, drop_of=now.__getitem__, milk_vacuum_kpa=kpa,
                               situation=None)  # fmt: skip

    monkeypatch.setattr(sensitivity, "solve", solve)
    monkeypatch.setattr(sensitivity, "at_airflow", lambda network, _: solve(network))
    monkeypatch.setattr(sensitivity, "with_bore", lambda network, bores: network.but(bores))
    return made


def test_a_pipe_is_told_with_the_bores_above_and_below(net: Net) -> None:
    """Drops go by the fifth power of the bore: would fail if a milkline were offered bores of
    airlines or its own again, gains and losses changed sign, or the least air of a line were told
    as its most."""
    line, thin, wide = sensitivity.effects(net, None)  # type: ignore[arg-type]
    assert [line.name, thin.name, wide.name] == ["ML1", "L1", "wide"]
    assert (line.bore_mm, line.flow_l_min_free, line.velocity_m_s) == (73.0, 400.0, 7.0)
    above, below = (min if up else max for up in (True, False))
    for one, bores in ((line, sensitivity.MILKLINE_BORES_MM), (thin, sensitivity.AIRLINE_BORES_MM)):
        wider = above(b for b in bores if b >= 1.02 * one.bore_mm)
        thinner = below(b for b in bores if b < one.bore_mm / 1.02)
        then, less = (one.drop_kpa * (one.bore_mm / b) ** 5 for b in (wider, thinner))
        assert one.next_bore_mm == wider and one.drop_then_kpa == pytest.approx(then)
        assert one.gain_kpa == pytest.approx(one.drop_kpa - then)
        assert one.loss_if_narrower_kpa == pytest.approx(less - one.drop_kpa)
    assert sensitivity.plate_bore(net, "ML1", 70.0) == 73.0  # type: ignore[arg-type]
    assert sensitivity.plate_bore(net, "ST1", 70.0) == 70.0  # type: ignore[arg-type]
    assert sensitivity.plate_bore(net, "nowhere", 71.0) == 71.0  # type: ignore[arg-type]
    joined = SimpleNamespace(pipe=SimpleNamespace(start="RC1.milkline_1", end="ML1.receiver_1"))
    assert sensitivity._carries_milk(net, joined)  # type: ignore[arg-type]


def test_what_each_fitting_costs(net: Net) -> None:
    """Would fail if the least gain stood first, or a fitting were asked where nothing drops."""
    found = sensitivity.fitting_effects(net, None)  # type: ignore[arg-type]
    assert [(f.name, f.fitting, f.count) for f in found] == [
        ("L1", "tee", 1), ("ST1", "inside", 1), ("L1", "bend", 3)]  # fmt: skip
    assert [f.gain_kpa for f in found] == pytest.approx([0.05, 0.03, 0.02])
    one = Effect("L1", "pipe", 76.04, 99.6, 1.26, 0.4004, None, None, -0.0001, 0.0567)
    bores, fittings = sensitivity.tables([one], [FittingEffect("L1", "tee", 1, 0.0499)])
    (row,) = bores.rows
    assert row[:7] == ("L1", 76.0, 100, 1.3, 0.4, "-", "-") and row[8] == 0.057
    assert str(row[7]) == "0.0" and fittings.rows == (("L1", "tee", 1, 0.05),)


def test_the_balance_shares_out_what_the_pumps_draw() -> None:
    """60 and 20 L/min are used, 100 drawn, of which 20 by the regulator: would fail if parts did
    not add up to what is drawn, or a spare were less than none."""
    use = SimpleNamespace(pulsators=60.0, claws=20.0, total=80.0)

    def row(drawn: float, flat: float) -> dict[str, Any]:
        state: Any = SimpleNamespace(use=use, regulated_l_min_free=20.0, pump_flow_l_min_free=drawn)
        table = balance.balance_table({"milking": (state, flat)}, 500.0)
        return dict(zip(table.columns, table.rows[0], strict=True))

    got = row(140.0, 200.0)
    assert (got["pulsators"], got["claw admission"], got["regulator and its leakage"]) == (
        90, 30, 20)  # fmt: skip
    assert (got["spare at the pumps"], got["pumps running flat out"]) == (60, 200)
    assert row(140.0, 100.0)["spare at the pumps"] == 0


def test_the_drawing_of_the_balance_lays_its_words_beside_its_bars() -> None:
    """Would fail if words left their bar or their key, keys lay on bars or on each other, or the
    drawing ended before them: two bars, three uses."""
    parts = len(balance.PARTS)
    rows_ = (("first", 60.0, 30.0, *(0.0,) * (parts - 3), 10.0, 100.0),
             ("other", 10.0, 0.0, *(0.0,) * (parts - 3), 40.0, 50.0))  # fmt: skip
    table = SimpleNamespace(title="Balance", rows=rows_)
    drawn = balance.balance_svg(SimpleNamespace(table=lambda _: table))  # type: ignore[arg-type]
    high = float(re.search(r'viewBox="0 0 760 (\d+)"', drawn)[1])  # type: ignore[index]
    bars = [tuple(map(float, b)) for b in re.findall(
        r'<rect x="([\d.]+)" y="(\d+)" width="([\d.]+)" height="28"', drawn)]  # fmt: skip
    assert [b[2] for b in bars] == pytest.approx([300, 150, 50, 50, 200])
    words = re.findall(r'<text x="([\d.-]+)" y="([\d-]+)"[^>]*>([^<]+)</text>', drawn)
    for name, y in (("first", bars[0][1]), ("other", bars[3][1]), ("100", bars[0][1]),
                    ("50", bars[3][1])):  # fmt: skip
        (said,) = (w for w in words if w[2] == name)
        assert y < float(said[1]) < y + 28
        assert (float(said[0]) < bars[0][0]) == (name in ("first", "other"))
    keys = re.findall(r'<rect x="(\d+)" y="(\d+)" width="16" height="14" fill="url\(#b(\d+)', drawn)
    assert [int(k[2]) for k in keys] == [0, 1, parts - 1]
    (ax, ay), (bx, by), (cx, cy) = ((float(x), float(y)) for x, y, _ in keys)
    assert 0 < ax < bx < 500 and ax == cx and ay == by and bars[3][1] + 28 < ay < cy - 14
    assert cy + 14 < high < cy + 40
    for x, y, i in keys:
        (said,) = (w for w in words if w[2] == balance.PARTS[int(i)][1])
        assert float(x) + 16 < float(said[0]) < float(x) + 40
        assert float(y) < float(said[1]) <= float(y) + 14
    marks = re.findall(r'M([\d.]+) (\d+)V(\d+)" stroke="#a33"', drawn)
    assert [float(m[0]) - bars[0][0] for m in marks] == [500.0, 250.0]
    assert all(float(a) < y and y + 28 < float(b) for (_, a, b), y in zip(
        marks, (bars[0][1], bars[3][1]), strict=True))  # fmt: skip
    nothing = SimpleNamespace(title="", rows=(("none", *(0.0,) * parts, 0.0),))
    assert "<svg" in balance.balance_svg(SimpleNamespace(table=lambda _: nothing))  # type: ignore[arg-type]


@pytest.mark.parametrize(("vacuum", "least", "speed", "power", "bends"), [
    (0.034, 0.0, 0.0, 0.0, True), (0.033, 0.033, 9.0, 0.049, False), (0.0, 0.034, 0.0, 0.0, True),
    (0.0, 0.0, 0.0, 0.051, True), (-0.034, 0.0, 0.0, 0.0, True),
])  # fmt: skip
def test_a_point_off_the_straight_line_is_kept(
    vacuum: float, least: float, speed: float, power: float, bends: bool
) -> None:
    """A quarter of the way from 40 to 44 is 41: would fail if a map were coarser than it says, or
    finer for the speed, which no one reads so near."""
    a, c = (40.0, 38.0, 0.5, 4.0), (44.0, 42.0, 0.9, 8.0)
    b = tuple(x + (z - x) / 4 + d for x, z, d in
              zip(a, c, (vacuum, least, speed, power), strict=True))  # fmt: skip
    assert operating._bends(a, b, c, 0.25) == bends


def test_the_map_of_the_day_is_read_as_it_is_solved(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if pumps, modes or units were taken for others, or a bend between two points were
    left out: vacuum falls by 0.5 kPa a unit from the fifth of 16 on."""
    plant = rotary()
    network = SimpleNamespace(pumps=[SimpleNamespace(name=n) for n in ("A", "B")], units=16.0,
                              segments=[], plant=plant)  # fmt: skip

    def point(_: Any, mode: str, state: int, units: int, __: Any) -> tuple[float, ...]:
        kpa = 42.0 - 0.5 * max(0, units - 5) * (state == 1) - (mode == "wash")
        return kpa, kpa - 1, 0.1 * state, 2.0 * state

    monkeypatch.setattr(operating, "network_of", lambda *_: network)
    monkeypatch.setattr(operating, "_point", point)
    found = operating.operating_map(plant)
    assert {0.0, 4.0, 5.0, 8.0, 12.0, 16.0} <= set(found.units) and 13.0 not in found.units
    assert found.row["milking"] == found.row["idle"] != found.row["wash"]
    for units in (3, 5, 6, 11):
        assert found.look_up("milking", ["A", "A"], units) == pytest.approx(
            (42 - 0.5 * max(0, units - 5), 0.1, 2.0))  # fmt: skip
        assert found.look_up("wash", ["B", "A"], units) == pytest.approx((41.0, 0.3, 6.0))
    monkeypatch.undo()
    assert operating._point(network, "milking", 0, 9, ("A", "B")) == (0.0,) * 4  # type: ignore[arg-type]
    asked: list[Any] = []
    state = SimpleNamespace(milk_vacuum_kpa=41.0, least_at_units_kpa=40.0, speed=0.7, power_kw=3.0)
    monkeypatch.setattr(operating, "solve", lambda _, s: asked.append(s) or state)
    assert operating._point(network, "milking", 2, 4, ("A", "B")) == (41.0, 40.0, 0.7, 3.0)  # type: ignore[arg-type]
    operating.at_point(network, "wash", ["A"], 4)  # type: ignore[arg-type]
    milks, washes = asked
    assert (milks.running, milks.attached, milks.pulsating) == (("B",), 0.25, 0.25)
    assert (washes.running, washes.attached, washes.pulsating) == (("A",), 0.25, 1.0)
    assert washes.washing and not milks.washing


@pytest.mark.parametrize(("speed", "running", "used"), [
    (0.55, ("A", "B"), ("A",)), (0.56, ("A", "B"), ("A", "B")), (0.55, ("A",), ("A",)),
])  # fmt: skip
def test_speed_control_is_tried_where_it_works(
    monkeypatch: pytest.MonkeyPatch, speed: float, running: tuple[str, ...], used: tuple[str, ...]
) -> None:
    """Would fail if control were tuned while pumps that share stand at the least speed of the
    highest of theirs (55 %), or settings in use were not among those tried."""
    asked: list[Any] = []
    monkeypatch.setattr(study, "speed_control", lambda _: (0.3, 0.7))
    monkeypatch.setattr(study.transient, "scan", lambda *a: asked.append(a) or [])
    pumps = [SimpleNamespace(machine=SimpleNamespace(least_speed_pct=p)) for p in (40.0, 55.0)]
    network: Any = SimpleNamespace(varies=True, pumps=pumps)
    situation = operating.Situation("m", "Milking", "milking", 1.0, 1.0, False, running)
    milking: Any = SimpleNamespace(speed=speed, situation=situation)
    tune = study._tune
    assert tune(network, milking, running, RULES, None, lambda *_: None) == ([], used)
    (_, at, gains, ramps) = asked.pop()
    assert at.running == used and gains == [0.1, 0.25, 0.3, 0.6, 1.5]
    assert ramps == [0.1, 0.25, 0.5, 0.7]
    assert tune(network, milking, running, RULES, [study.TUNING], lambda *_: None) == ([], used)
    for fixed, events in ((True, ["other"]), (True, []), (False, None)):
        network.varies = fixed
        assert tune(network, milking, running, RULES, events, lambda *_: None) == ([], ())
    assert len(asked) == 1
    assert [study._seconds(s) for s in (2.34, float("inf"))] == [2.3, "not back"]


@pytest.mark.parametrize(("levels", "fill"), [((0.3, 0.5), 0.5), ((0.3, 0.95), 0.9), ((), 0.0)])
def test_milk_narrows_the_line_for_the_air(
    monkeypatch: pytest.MonkeyPatch, levels: tuple[float, ...], fill: float
) -> None:
    """Would fail if the emptier line set the way for air, or a full one shut it."""
    asked: list[float] = []

    def network_of(_: Any, __: Any, share: float | None = None) -> Any:
        if share is not None:
            asked.append(share)
            raise NoNetwork("enough")

    monkeypatch.setattr(study, "network_of", network_of)
    monkeypatch.setattr(study, "_lines", lambda *_: [SimpleNamespace(level=x) for x in levels])
    ctx = StudyContext(rotary(), RULES, ResultBuilder("vacuum", ""))
    with pytest.raises(NoNetwork):
        study.solve_case(ctx, None, None, None, lambda *_: None)
    assert asked == [fill]


def test_air_of_a_slope_follows_the_unit_that_lets_in_most() -> None:
    """Would fail if the tighter of two kinds of unit told how much a fallen one lets in, a plant
    without any had none, or a loop took as much as a single line."""
    plant = rotary(40, 300)
    line: Any = plant.equipment["ML1"]
    made = {t: machine(t, "milking_unit", count=20, fall_off_air_l_min_free=q)
            for t, q in (("MU1", 700.0), ("MU2", 900.0))}  # fmt: skip
    two = plant.model_copy(update={"equipment": {**plant.equipment, **made}})
    of = duty(plant)
    assert load_of(two, RULES, line, of).fall_air_l_min == 900.0
    for looped, share in ((True, 0.5), (False, 1.0)):
        one = load_of(plant, RULES, line.model_copy(update={"looped": looped}), of)
        assert one.air_share == share
        passing = RULES.number("milkline.transient_air_typical_l_min")
        assert one.peak_air_l_min == pytest.approx(one.steady_air_l_min + share * passing)


def test_a_line_at_peak_and_the_references_beside_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a flat line or one without milk were outside of what is solved, a line that
    runs full were told as less, slugs as often as allowed asked for a wider line, or references
    stood for another bore: units of the 1978 rule go by the square of the bore in inches."""
    plant = rows()
    line: Any = plant.equipment["ML1"]
    base = load_of(plant, RULES, line, duty(plant))
    seen: list[Any] = []
    monkeypatch.setattr(milkline, "line_flow", lambda *a: seen.append(a[:4]))
    flat = line.model_copy(update={"slope_pct": 0.05, "bore_mm": 76.2})
    dry = replace(base, milk=replace(base.milk, flow_l_min=np.zeros((1, 9)),
                                     attached=np.zeros((1, 9))), peak_l_min=0.0)  # fmt: skip
    monkeypatch.setattr(milkline, "_limit", lambda *a: 2.5 * base.cow_peak_l_min)
    got = milkline.study_line(plant, RULES, flat, dry, 42.0, 100.0)
    assert seen == [(0.01, dry.peak_air_l_min, 76.2, 0.1)]
    assert (got.level, got.units_by_slug_limit, got.units_1978, got.table_units) == (
        1.0,
        2,
        9,
        None,
    )
    allowed = 1 - RULES.number("milkline.drop_share_of_time_pct") / 100
    for share, wider in ((allowed, None), (allowed + 0.001, 5.0)):
        monkeypatch.setattr(milkline, "_share", lambda *_, s=share: s)
        monkeypatch.setattr(milkline, "_better_bore", lambda *_: 5.0)
        assert milkline.study_line(plant, RULES, line, base, 42.0, 100.0).better_bore_mm == wider
    table = milkline.slope_table(RULES, got, 42.0, 100.0)
    from byrewright.standards.pipes import MILKLINE_BORES_MM

    near = sorted(MILKLINE_BORES_MM, key=lambda b: abs(b - 76.2))[:3]
    assert sorted({(r[0], r[1]) for r in table.rows}) == sorted(
        (b, s) for b in {76.2, *near} for s in (0.5, 1.0, 2.0))  # fmt: skip
    assert {r[5] for r in table.rows if r[0] == 76.2} == {9} and {r[3] for r in table.rows} == {2}


def test_the_limit_is_the_lesser_of_slugs_and_half_full(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a line were let run more than half full, a flat one carried milk, or the next
    bore offered were the line's own."""
    line: Any = rows().equipment["ML1"]
    monkeypatch.setattr(milkline, "slug_limit_l_min", lambda *_: 50.0)
    for half, slope, least in ((40.0, 1.0, 40.0), (60.0, 1.0, 50.0), (60.0, 0.1, 50.0),
                               (60.0, 0.09, 0.0)):  # fmt: skip
        monkeypatch.setattr(milkline, "gravity_half_full_l_min", lambda *_, h=half: h)
        sloped = line.model_copy(update={"slope_pct": slope})
        assert milkline._limit(RULES, sloped, 73.0, 9.0, 42.0, 100.0) == least
    monkeypatch.setattr(milkline, "_airs", lambda _: [1.0])
    monkeypatch.setattr(milkline, "_limit", lambda _, __, bore, *___: bore)
    for need, own, bore in ((0.0, 72.5, 98.0), (99.0, 60.0, None), (73.0, 48.5, 73.0)):
        monkeypatch.setattr(milkline, "_share", lambda _, limits, n=need: float(limits[0] < n))
        held = line.model_copy(update={"bore_mm": own})
        found = milkline._better_bore(RULES, held, None, 42.0, 100.0, 0.0)  # type: ignore[arg-type]
        assert found == bore
