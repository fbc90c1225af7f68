"""Values that no other check holds, each read a second time.

A slip of the pen in the rulebook would pass through every formula unseen. The second reading
stands here with the source that the rulebook names; a value with no published source says so.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest

from byrewright.documents.us_words import bore_in, bore_said
from byrewright.standards import cables, compressed_air, deck, pipes
from byrewright.standards.rulebook import default_rulebook
from byrewright.standards.tables import TABLES

RULES = default_rulebook()
SECOND = {
    "vacuum.teat_leak_l_min": (4.0, "dutch_education"),  # leakage past teats and liners, a unit
    "labour.task_spread_s": (2.0, "armstrong"),  # spread of a task time, either way
    "milking.lag_on_s": (15.0, "practice"),  # common practice, no source
    "reliability.beta_common_cause": (0.10, "iec61508"),  # from memory: 1 to 10 %, the greater
    "vacuum.cups_fall_kpa": (30.0, "practice"),  # common practice, no source
    "vacuum.nmc_drop_receiver_to_regulator_kpa": (0.7, "nmc"),  # 0.7 kPa or less desirable
    "place.airline_slope_pct": (0.5, "iso5707"),  # from memory: at least 0.5 % to tank or trap
    "milk.wash_pct": (0.01, "practice"),  # common practice, no source
    "vacuum.attach_air_l_min": (150.0, "practice"),  # common practice, no source
    "fitting.tee_branch_diameters": (60.0, "fluid_handbooks"),  # from memory
    "install.vessel_h": (2.0, "practice"),  # common practice, no source
    "install.test_h": (0.4, "practice"),  # common practice, no source
    "quote.service_price_high": (1.1, "practice"),  # common practice, no source
    "vessel.level_share": (0.3, "practice"),  # common practice, no source
    "coolant.tank_drop_kpa": (40.0, "practice"),  # common practice, no source
}


@pytest.mark.parametrize("key", SECOND)
def test_a_value_is_what_its_source_gives(key: str) -> None:
    """Would fail if a figure were changed without its source being read again."""
    value = RULES[key]
    assert (float(value.value), value.source) == SECOND[key]


@pytest.mark.parametrize("size", cables.SIZES, ids=lambda s: f"{s.mm2:g} mm2")
def test_a_cable_carries_what_the_formula_of_its_standard_gives(size: cables.Size) -> None:
    """IEC 60364-5-52, annex on formulas (from memory), method C, three copper conductors in PVC:
    would fail if a cable were drawn that grows too hot."""
    fitted = 13.5 * size.mm2**0.625 if size.mm2 <= 16 else 12.4 * size.mm2**0.635
    assert size.carries_a == pytest.approx(fitted, rel=0.04)  # the table is not all on it


@pytest.mark.parametrize("tube", pipes.ASME_BPE, ids=lambda t: f"{t.od_mm:g} mm")
def test_tubes_in_inches_are_of_whole_gauges(tube: pipes.Tube) -> None:
    """ASME BPE (from memory): outsides of whole quarters of an inch, walls of 0.065 to 0.109 in."""
    wall_in = 0.065 if tube.od_mm < 90 else 0.083 if tube.od_mm < 150 else 0.109
    assert tube.od_mm / 6.35 == pytest.approx(round(tube.od_mm / 6.35))
    assert tube.od_mm < 153
    assert tube.wall_mm == pytest.approx(wall_in * 25.4, abs=0.005)


@pytest.mark.parametrize("tube", pipes.ISO_2037, ids=lambda t: f"{t.od_mm:g} mm")
def test_walls_of_steel_tubes_are_the_standards(tube: pipes.Tube) -> None:
    """ISO 2037 (from memory): would fail if a bore were reckoned from another wall."""
    walls = {51.0: 1.2, 76.1: 1.6, 139.7: 2.0, 219.1: 2.6}  # up to an outside of so much
    assert tube.wall_mm == next(wall for most, wall in walls.items() if tube.od_mm <= most)
    assert tube.od_mm != 38 or tube.bore_mm == pipes.least_milk_bore_mm(pipes.ISO_2037)


@pytest.mark.parametrize("size", pipes.TRADE_IN)
def test_a_trade_size_is_near_its_inches(size: tuple[str, str]) -> None:
    """Would fail if a pipe were ordered under the name of another."""
    inches = sum(Fraction(part) for part in size[0].split())
    for bore in pipes.TRADE_IN[size]:
        off = float(inches) * 25.4 - bore
        assert 2 * 1.2 - 0.6 < off < 2 * 2.8 if size[1] else abs(off) < 0.2 * bore  # two walls
    for tube in pipes.ASME_BPE:
        if abs(tube.od_mm - float(inches) * 25.4) < 0.01 and size[1]:
            assert tube.bore_mm in pipes.TRADE_IN[size]


def test_two_bores_never_read_alike() -> None:
    """Would fail if a tube of 48.6 mm and a pipe of 50 mm, bought under 2 in both, read alike: one
    was taken for the other."""
    bores = {b for some in pipes.TRADE_IN.values() for b in some}
    bores |= {t.bore_mm for t in (*pipes.ISO_2037, *pipes.ASME_BPE)}
    bores |= {*pipes.AIRLINE_BORES_MM, *pipes.MILKLINE_BORES_MM, 25.4, 50.8, 152.4}
    bores |= {round(x / 10, 1) for x in range(50, 2600)}
    assert len({bore_in(b) for b in bores}) == len({bore_said(b) for b in bores}) == len(bores)
    assert bore_said(47.5) == "2 in OD" and bore_said(50.0) == "2 in"


def test_air_is_as_dry_as_its_class_says() -> None:
    """ISO 8573-1:2010 (second hand): pressure dew points of classes 1 to 6."""
    dew_c = [c.dew_point_c for c in compressed_air.HUMIDITY_CLASSES]
    assert dew_c[:6] == [-70.0, -40.0, -20.0, 3.0, 7.0, 10.0]


def test_lever_arms_are_those_given_in_inches() -> None:
    """Drive-engineering reference page, trolley travel (second hand): 0.02, 0.08, 0.28, 0.2 in."""
    inches = (0.02, 0.08, 0.28, 0.2)
    for arm, f_in in zip(deck.LEVER_ARMS, inches, strict=False):
        assert arm.low_mm == arm.f_mm == arm.high_mm == pytest.approx(f_in * 25.4, rel=0.02)
    assert all(arm.low_mm <= arm.f_mm <= arm.high_mm < 2 * arm.low_mm for arm in deck.LEVER_ARMS)


LISTS = [t for t in TABLES if all(isinstance(x, int | float) for x in t.table)]  # type: ignore[attr-defined]


@pytest.mark.parametrize("held", LISTS, ids=lambda h: h.title)
def test_a_list_of_sizes_runs_in_order_without_a_gap(held: object) -> None:
    """A size out of order would make `next size` skip one, a gap would buy twice what is needed."""
    for size, following in pairwise(held.table):  # type: ignore[attr-defined]
        assert size < following <= 2 * size
