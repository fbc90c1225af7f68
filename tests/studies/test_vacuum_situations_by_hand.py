"""What a situation of the vacuum lets in and runs, worked by hand on made-up data plates."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from byrewright.engine import airnet
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.vacuum import situations
from byrewright.studies.vacuum.building import network_of
from byrewright.studies.vacuum.network import Network
from byrewright.studies.vacuum.situations import Situation, air_use, lower, matrix_order
from tests.plants import machine, rotary

RULES = Rulebook({
    "vacuum.milk_leak_base_l_min": 10.0, "vacuum.milk_leak_per_unit_l_min": 2.0,
    "vacuum.leak_times.milk": 1.5, "vacuum.leak_times.system": 2.0,
    "vacuum.system_leak_share": 0.05, "vacuum.teat_leak_l_min": 3.0, "wash.unit_air_l_min": 4.0,
    "vacuum.pulsator_air_l_min": 25.0,
})  # fmt: skip
MILKING = Situation("m", "Milking", "milking")
WASH = Situation("w", "Wash", "wash", 0.5, 1.0, True)


@pytest.fixture(scope="module")
def network() -> Network:
    """Twenty units, eight of another claw; pumps of 3000 L/min at 50 kPa, one of them fixed."""
    units = {t: machine(t, "milking_unit", count=n, claw_air_l_min_free=q)
             for t, n, q in (("MU1", 12, 10.0), ("MU2", 8, 5.0))}  # fmt: skip
    pulse = machine("PU1", "pulsator", count=20, air_l_min_free=30.0)
    pumps = {t: machine(t, "vacuum_pump", capacity_l_min_free=3000, motor_kw=7, speed=s)
             for t, s in (("VP1", "variable"), ("VP2", "fixed"))}  # fmt: skip
    return network_of(rotary(20, 60, PU1=pulse, **units, **pumps), RULES)


def test_air_that_each_use_takes(network: Network) -> None:
    """Would fail if units alike were taken for all, units that hang free took their claws' air, or
    leaks were those of one pump too many."""
    n = network.units
    use = air_use(network, replace(MILKING, attached=0.5, pulsating=0.25))
    assert use.pulsators == 150.0 and use.claws == pytest.approx(0.5 * (12 * 10 + 8 * 5))
    assert use.teats == pytest.approx(0.5 * 3 * n) and use.slug == use.jetters == 0.0
    assert use.milk_leak == pytest.approx(1.5 * (10 + 2 * n))
    rated = sum(p.rated_l_min_free for p in network.pumps)
    assert use.system_leak == pytest.approx(0.05 * 2 * rated / 2)
    parts = (use.pulsators, use.claws, use.teats, use.milk_leak, use.system_leak)
    assert use.total == pytest.approx(sum(parts))
    wash = air_use(network, WASH)
    assert (wash.claws, wash.teats, wash.jetters) == (0.0, 0.0, 4.0 * n) and wash.slug > 0.0
    assert wash.total == pytest.approx(
        wash.pulsators + wash.milk_leak + wash.system_leak + wash.slug + wash.jetters
    )
    plain = SimpleNamespace(**{f: getattr(network, f) for f in (
        "rules", "units", "pumps", "set_vacuum_kpa", "ambient_kpa_abs")})  # fmt: skip
    plain.plant = rotary(20, 60, PU1=None, AI1=None, ML1=None)
    bare = air_use(plain, WASH)  # type: ignore[arg-type]
    assert (bare.pulsators, bare.slug) == (25.0 * n, 0.0)


def test_air_comes_in_where_it_is_used(network: Network) -> None:
    """Would fail if the air of all units came in at each, or what is let in besides came elsewhere
    or by another law."""
    extra = ((2, 100.0, "fixed"), (3, 50.0, "hole"))
    where, inlet, rows = situations._inlets(
        network, replace(MILKING, extra=extra, held=((1, 40.0),)))  # fmt: skip
    use = air_use(network, MILKING)

    def sums(what: str) -> float:
        return float(sum(inlet[i, 0] for (kind, _), i in rows.items() if kind == what))

    each = {"units": use.claws + use.teats + use.milk_leak, "pulsators": use.pulsators,
            "system leak": use.system_leak, "hole": 0.0, "tank hole": 0.0}  # fmt: skip
    for what, l_min in each.items():
        assert sums(what) == pytest.approx(network.kg_s(l_min)), what
    assert [tuple(where[rows[f"extra {i}", n]]) for i, n in ((0, 2), (1, 3))] == [
        (2, airnet.FIXED), (3, airnet.ORIFICE)]  # fmt: skip
    assert inlet[rows["extra 0", 2], 0] == pytest.approx(network.kg_s(100.0))
    assert inlet[rows["held", 1], 1] == pytest.approx(network.ambient_kpa_abs - 40.0)
    assert all(("hole", node) in rows for node in network.receivers)
    assert "slug" not in {k for k, _ in rows}
    washing = situations._inlets(network, WASH)[2]
    assert ("slug", network.units_at[0][0]) in washing


def test_pumps_that_run_and_those_that_vary(network: Network) -> None:
    """Would fail if a fixed pump followed the vacuum, one that stands were sped up, or a held speed
    were that of all."""
    for one, speed, vary in (
        (MILKING, [1, 1], [1, 0]), (replace(MILKING, running=("VP2",)), [0, 1], [1, 0]),
        (replace(MILKING, speed_held=0.6), [0.6, 1], [0, 0]),
        (replace(MILKING, speed_held=0.6, running=("VP2",)), [0, 1], [0, 0]),
        (replace(MILKING, regulated=False), [1, 1], [0, 0]),
    ):  # fmt: skip
        made = lower(network, one)
        assert made.speed.tolist() == speed and made.vary.tolist() == vary
    assert made.net.air[1] == pytest.approx(network.temperature_c + 273.15)
    assert made.net.volume.sum() == pytest.approx(sum(network.volumes_l) / 1000)
    assert situations.pumps_running(network, None) == ("VP1", "VP2")
    assert situations.pumps_running(network, "idle") == ()


def test_regulators_and_pumps_as_the_solver_has_them(network: Network) -> None:
    """Would fail if a regulator beside a fixed pump relieved late, leaked more than its floor, or a
    silencer's drop did not go by the square of its flow."""
    number = RULES.number
    band, relief = number("vacuum.regulator_band_kpa"), number("vacuum.regulator_relief_kpa")
    leak = number("vacuum.regulator_leak_floor_l_min") * number("vacuum.leak_times.regulator")
    ((single, node),) = network.regulators
    one = single.model_copy(update={"count": 2})
    for varies, over in ((True, relief), (False, -band / 2)):
        like: Any = SimpleNamespace(rules=RULES, varies=varies, kg_s=network.kg_s,
                                    regulators=[(one, node)])  # fmt: skip
        at, rows = situations._regulators(like, MILKING)
        assert len(at) == 1 and rows[0] == pytest.approx(
            [network.kg_s(2 * one.capacity_l_min_free), one.set_vacuum_kpa + over, band,
             network.kg_s(2 * leak), -1.0])  # fmt: skip
        none, rows = situations._regulators(like, replace(MILKING, regulated=False))
        assert len(none) == 0 and rows.shape == (0, 5)
    for pump, row in zip(network.pumps, situations._pumps(network), strict=True):
        swept, slip, back, silencer = row
        assert swept == pytest.approx(network.kg_s(pump.displacement)) and slip == pump.slip
        assert back == pytest.approx(slip + number("vacuum.stopped_pump_back_share"))
        full = network.kg_s(pump.rated_l_min_free)
        assert silencer * full**2 == pytest.approx(number("vacuum.silencer_kpa"))


def test_pipes_shut_where_their_valve_is() -> None:
    """Would fail if a check valve let air back, or a valve that a mode shuts let it pass."""

    def stretch(open_in: tuple[str, ...], one_way: bool) -> Any:
        return SimpleNamespace(a=0, b=1, open_in=open_in, one_way=one_way, machine="V1",
                               bore_mm=50.0, equivalent_m=4.0, loss=0.5, rough_mm=0.1)  # fmt: skip

    at = {"milking": "open", "wash": "closed"}
    every = [stretch(("open",), False), stretch((), True), stretch((), False)]
    like: Any = SimpleNamespace(segments=every, plant=SimpleNamespace(
        position=lambda mode, _: at[mode]))  # fmt: skip
    for one, first in ((MILKING, airnet.PIPE), (WASH, airnet.SHUT),
                       (replace(MILKING, mode=None), airnet.PIPE)):  # fmt: skip
        ends, pipe = situations._edges(like, one)
        assert ends[:, 2].tolist() == [first, airnet.CHECK, airnet.PIPE]
        assert pipe[0] == pytest.approx([0.05, 4.0, 0.5, 0.002])


def test_rows_in_an_order_that_keeps_the_matrix_narrow() -> None:
    """Would fail if a row began before its first neighbour or behind it, or a place were given
    twice: a chain of five and a loose one."""
    ends = np.array([(0, 3), (3, 1), (1, 4), (4, 2)])
    place, first = matrix_order(6, ends)
    assert sorted(place.tolist()) == list(range(6))
    for a, b in ends.tolist():
        low, high = sorted((int(place[a]), int(place[b])))
        assert high - low == 1 and first[high] == low
    assert sum(int(first[k]) == k for k in range(6)) == 2  # the loose one, and the first of five
