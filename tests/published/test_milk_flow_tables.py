"""Milk flow and unit-on time against figures from the literature, within their spread."""

from __future__ import annotations

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.engine.draws import Herd as Drawn
from byrewright.plant.plant import Plant
from byrewright.plant.programme import milk_out, programme_of, top
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.sizing import size
from tests import plants
from tests.drafting.drafts import begun
from tests.engine.test_engine_basics import compiled_day

KG_L = 1.03
POLISH_YOUNG = (27.3 / 2, 32.0 / 2)
"""Kuropatwinska and others 2020 (abstract read): 27.3-32.0 kg a day, two milkings taken."""
POLISH_TIME_S = (366.0, 379.0)
"""The same: mean milking times of 366-372 s (first calvers) and 369-379 s (older cows)."""
WITHIN = 0.25  # between herds and countries: the spread of the published times themselves is 34 %


def flows(litres_day: float, milkings: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Mean over unit-on time and peak flow, kg/min, and unit-on times, s, of a drawn herd."""
    plant = unstated(plants.rotary(60, 900, milkings=milkings, yield_l_day=litres_day))
    compiled, _ = compiled_day(plant)
    table = Drawn(plant, compiled, default_rulebook(), seed=5).milking(0, 0)
    area = 1 - table[:, sh.C_RISE] / 2 - default_rulebook().number("milking.fall_share") / 2
    kg, on_s = table[:, sh.C_KG], table[:, sh.C_ON_S]
    return 60 * kg / on_s, 60 * kg / (area * table[:, sh.C_FLOW_S]), on_s


def unstated(plant: Plant) -> Plant:
    """The plant without a stated unit-on time."""
    return plant.model_copy(
        update={"herd": plant.herd.model_copy(update={"milk_out_time_s": None})}
    )


def test_the_published_herds_come_back() -> None:
    """Edwards 2012 (abstract read): 11.9 kg in 383 s; Polish Holsteins near their times."""
    rules = default_rulebook()
    out = milk_out(11.9, 11.9, None, rules)
    assert (out.mean_s, out.std_dev_s) == pytest.approx((383.0, 129.0))
    for kg in POLISH_YOUNG:
        got = milk_out(kg, kg, None, rules).mean_s
        assert POLISH_TIME_S[0] * (1 - WITHIN) < got < POLISH_TIME_S[1] * (1 + WITHIN)


@pytest.mark.parametrize(("litres", "milkings"), [(28.0, 2), (36.0, 2), (50.0, 2), (45.0, 3)])
def test_flows_stay_in_the_usual_range(litres: float, milkings: int) -> None:
    """50 L a day gave means of 4.3 and peaks to 14.4 kg/min: usual range: to 3.0 and 5.0."""
    mean, peak, _ = flows(litres, milkings)
    rules = default_rulebook()
    assert 1.5 < mean.mean() < top(rules, "milking.mean_flow_holstein_kg_min")
    assert peak.max() < top(rules, "milking.peak_flow_kg_min") * 1.001


def test_a_larger_yield_takes_longer() -> None:
    """14 and 50 L a day drafted the same 26 stalls (a property, no source)."""
    slow, quick = flows(50.0, 2)[2].mean(), flows(14.0, 2)[2].mean()
    assert 1.5 < slow / quick < 3.0  # 3.6 times the milk, by the slope within a herd
    sized = [
        size(begun(f"cows: 300\nyield_l_day: {litres}\ntarget_h: 1.5\noperators: 3\n"))
        for litres in (14, 50)
    ]
    stalls = [max(f.advised or 0.0 for f in s.findings if f.target == ("PF1", "stalls"))
              for s in sized]  # fmt: skip
    assert stalls[1] > 1.4 * stalls[0] > 0, stalls
    told = [a for a in sized[0].assumptions if a.where.startswith("herd.milk_out_time_s")]
    assert len(told) == 2 and "published" in told[0].why


def test_groups_of_other_yields_have_other_times() -> None:
    """Property: high yielders take longer, low ones less, and the herd's stated mean is kept."""
    plant = plants.rotary(60, 900, groups=3)
    groups = tuple(
        g.model_copy(update={"yield_l_day": y, "cows": 300})
        for g, y in zip(plant.herd.groups, (20.0, 30.0, 40.0), strict=True)
    )
    herd = plant.herd.model_copy(update={"groups": groups})
    plan = programme_of(plant.model_copy(update={"herd": herd}), default_rulebook())
    means = [[p.milk_out.mean_s for p in m.parts] for m in plan.milkings]
    assert all(a < b < c for a, b, c in means)
    assert np.mean(means) == pytest.approx(330.0)
