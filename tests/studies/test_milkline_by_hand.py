"""Milk of a slope cow by cow, and the share of milking with slugs, each by a plain count."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.engine.draws import Cows
from byrewright.plant.plant import Plant
from byrewright.plant.roles import CollectsMilk, GivesMilk
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.sizing.duty import Duty, duty_of
from byrewright.studies.slopes import SEED, STEP_S, SlopeMilk, slope_milk, slopes_of
from byrewright.studies.vacuum import milkline
from byrewright.studies.vacuum.milkline import Load, load_of
from tests.plants import rotary, rows
from tests.studies.benches import bench_of

RULES = default_rulebook()


def duty(plant: Plant) -> Duty:
    """The duties of a plant."""
    return duty_of(bench_of(plant))


PLANTS: list[Callable[[], Plant]] = [lambda: rotary(40, 300), lambda: rotary(60, 500), rows]


@pytest.mark.parametrize("make", PLANTS)
def test_all_milk_runs_down_some_slope_and_each_takes_its_share(make: Callable[[], Plant]) -> None:
    """Would fail if milk were lost between units and slopes, a unit hung on two, or one slope took
    the milk of all."""
    plant, of = make(), duty(make())
    found = slope_milk(plant, RULES, of)
    lines = plant.machines(CollectsMilk)
    assert found.slopes == sum(slopes_of(plant, line) for line in lines) > 1
    assert found.units * found.slopes == pytest.approx(of.units)
    herd = Cows(plant, RULES, SEED)
    largest = max(herd.programme.milkings, key=lambda m: m.milk_l)
    cows = herd.drawn(0, largest.place)
    litres = cows[:, sh.C_KG].sum() / (RULES.number("milk.density_kg_m3") / 1000)
    ran = found.flow_l_min.sum() * STEP_S / 60
    last_cows = of.units / len(cows)  # what still runs as the last unit is put on is left out
    assert (1 - 1.5 * last_cows) * litres < ran <= litres * 1.0001
    assert found.attached.sum() == len(cows)
    share = found.flow_l_min.sum(axis=1) / found.flow_l_min.sum()
    assert share == pytest.approx(1 / found.slopes, rel=0.25)
    pairs = (found.flow_l_min[:, 1:] + found.flow_l_min[:, :-1]) / 2
    assert found.worst_l_min == pytest.approx(pairs.max())
    runs = [v for v in found.flow_l_min.ravel().tolist() if v > 0]
    assert found.mean_l_min == pytest.approx(sum(runs) / len(runs))
    put_on_s = np.nonzero(found.attached.sum(axis=0))[0] * STEP_S
    pace_s = put_on_s[-1] / (len(cows) - 1)
    assert pace_s == pytest.approx(of.turn_s / of.stalls, rel=0.05)


@pytest.mark.parametrize("make", PLANTS)
def test_a_slope_takes_the_air_of_its_units(make: Callable[[], Plant]) -> None:
    """Would fail if air of all units, or of a loop that divides both ways, were taken whole."""
    plant, of = make(), duty(make())
    line = plant.machines(CollectsMilk)[0]
    one = load_of(plant, RULES, line, of)
    each = RULES.number("vacuum.line_air_per_unit_l_min")
    passing = RULES.number("milkline.transient_air_typical_l_min") * (0.5 if line.looped else 1)
    assert one.steady_air_l_min == pytest.approx(each * of.units / one.slopes)
    assert one.peak_air_l_min == pytest.approx(one.steady_air_l_min + passing)
    falls = max(u.fall_off_air_l_min_free for u in plant.machines(GivesMilk))
    part = 0.5 if line.looped else 1.0
    assert milkline._airs(one) == pytest.approx(
        [one.steady_air_l_min + k * passing for k in range(5)]
        + [one.steady_air_l_min + part * falls]
    )
    assert (one.passes_s, one.falls_a_cow) == (
        RULES.number("vacuum.attach_air_s"), RULES.number("milking.kick_off_share"))  # fmt: skip


def load(milk: SlopeMilk) -> Load:
    """A slope with this milk, of which one cow in ten kicks her unit off."""
    plant = rotary(40, 300)
    base = load_of(plant, RULES, plant.machines(CollectsMilk)[0], duty(plant))
    return replace(base, passes_s=3.0, falls_a_cow=0.1, milk=milk)


@pytest.mark.parametrize("seed", range(4))
def test_the_share_of_milking_with_slugs_counts_every_moment(seed: int) -> None:
    """Attachments within a moment are counted as rare things are (Poisson), four and more alike:
    would fail if a moment weighed more than another, or air that passes longer than it does."""
    draw = np.random.default_rng(seed)
    flow = draw.uniform(0.0, 100.0, (2, 30))
    attached = draw.choice([0.0, 0.0, 1.0, 3.0], (2, 30))
    limits = [90.0, 75.0, 60.0, 45.0, 30.0, 10.0]
    total = 0.0
    fallen = min(1.0, 0.1 * float(attached.mean()) * 3.0 / STEP_S)
    for slope in range(2):
        for at in range(30):
            mean = min(attached[slope, at] * 3.0 / STEP_S, 4.0)
            chance = [math.exp(-mean) * mean**k / math.factorial(k) for k in range(4)]
            chance.append(1 - sum(chance))
            above = [flow[slope, at] > limit for limit in limits]
            quiet = sum(p for p, a in zip(chance, above[:5], strict=True) if a)
            total += (1 - fallen) * quiet + fallen * above[5]
    found = milkline._share(load(SlopeMilk(2, 20.0, flow, attached)), limits)
    assert found == pytest.approx(total / 60)


def test_a_wider_line_is_the_least_that_has_slugs_seldom_enough() -> None:
    """Would fail if the widest bore were advised, or one that still has slugs."""
    plant = rotary(60, 500)
    line = plant.machines(CollectsMilk)[0].model_copy(update={"bore_mm": 48.5, "slope_pct": 0.6})
    one = load_of(plant, RULES, line, duty(plant))
    answer = milkline.study_line(plant, RULES, line, one, 42.0, 100.0)
    better = answer.better_bore_mm
    assert answer.slug_share > 0.05 and better is not None and better > 48.5

    def share(bore_mm: float) -> float:
        limits = [milkline._limit(RULES, line, bore_mm, a, 42.0, 100.0) for a in
                  milkline._airs(one)]  # fmt: skip
        return milkline._share(one, limits)

    bores = [48.5, 60.0, 73.0, 98.0]
    assert share(better) <= 0.05 < share(max(b for b in bores if b < better))
    assert answer.units_by_slug_limit == int(answer.slug_limit_l_min / one.cow_peak_l_min)
    flat = line.model_copy(update={"slope_pct": 0.05})
    assert milkline._limit(RULES, flat, 73.0, 100.0, 42.0, 100.0) == 0.0
    table = milkline.slope_table(RULES, answer, 42.0, 100.0)
    assert f"beside {one.peak_air_l_min:.0f} L/min" in table.title and len(table.rows) >= 9
    for bore, slope, limit, cows, half, old in table.rows:
        d = float(bore) / 1000
        q = math.pi / 8 * d**2 / RULES.number("milkline.manning_n") * (d / 4) ** (2 / 3)
        assert half == pytest.approx(60_000 * q * math.sqrt(float(slope) / 100), abs=0.51)
        assert float(limit) <= float(half) and old == int((float(bore) / 25.4) ** 2)
        assert cows == pytest.approx(float(limit) / one.cow_peak_l_min, abs=1.0)
