"""Rules and tables against each other: in proportion, in their source's units, in their range."""

from __future__ import annotations

from itertools import pairwise
from math import log

import pytest

from byrewright.standards import electrical, milkline_table, practice
from byrewright.standards.rulebook import default_rulebook

RULES = default_rulebook()
UPPER_PART = 0.78
"""Of a range, by its logarithm: what is above is its upper end."""
AT_ITS_END = {
    "vacuum.leak_times.system", "vacuum.leak_times.milk", "vacuum.leak_times.regulator",
    "milkline.peak_flow_per_cow_l_min", "delivery.velocity_collection_m_s", "milk.stored_c",
    "tank.stirred_from_share", "heater.standing_loss_per_h", "air.leak_target_share",
    "generator.derate_per_100_m", "cable.least_mm2", "pipe.velocity_water_m_s",
    "reliability.beta_common_cause", "life.ac_motor", "life.dc_motor", "place.walkway_m",
    "place.exit_width_m", "place.yard_width_m", "place.row_pitch_m", "place.row_depth_m",
    "place.tank_between_m", "place.pipe_gap_mm", "diagnosis.sound_share",
    "diagnosis.decided_share", "diagnosis.cleared_share",
}  # fmt: skip
"""Taken from the careful end of their range, or published so."""


def test_what_is_usual_is_not_the_most_that_is_usual() -> None:
    """Would fail if a typical figure slipped to where few plants are: twice what it was."""
    high = set()
    for key, one in RULES.items():
        if one.kind == "typical" and one.low and one.high and one.low < one.high:
            part = log(one.value / one.low) / log(one.high / one.low)
            high |= {key} if part > UPPER_PART else set()
    assert high == AT_ITS_END


@pytest.mark.parametrize("one", practice.MAGNITUDES.values(), ids=lambda m: m.key)
def test_a_larger_plant_has_both_ends_of_what_is_usual_in_proportion(
    one: practice.Magnitude,
) -> None:
    """Would fail if one number of a row were of another plant: from 50 to 80 stalls both ends grow
    alike, and by no more than twice."""
    low, high = (b / a for a, b in zip(one.small, one.large, strict=True))
    assert low / high == pytest.approx(1.0, abs=0.21)
    assert 0.6 < low <= 2.0 and 0.6 < high <= 2.0
    assert all(a < b <= 5 * a for a, b in (one.small, one.large))


def test_usual_magnitudes_agree_with_each_other() -> None:
    """Would fail if a turn, the seconds of a stall and cows an hour were of different decks."""
    for stalls in (practice.SMALL_STALLS, practice.LARGE_STALLS):
        turn = practice.MAGNITUDES["rotation_min"].range_for(stalls)
        each = practice.MAGNITUDES["seconds_a_stall"].range_for(stalls)
        gross = practice.MAGNITUDES["gross_cows_h"].range_for(stalls)
        net = practice.MAGNITUDES["net_cows_h"].range_for(stalls)
        for t, s, c in zip(turn, each, reversed(gross), strict=True):
            assert 60 * t / stalls == pytest.approx(s, rel=0.15)
            assert 3600 / s == pytest.approx(c, rel=0.15)
        assert all(0.75 < n / g < 1.0 for n, g in zip(net, gross, strict=True))


SIZES = ("40", "65", "100", "over")


@pytest.mark.parametrize("task", ["pipe_{}_h_m", "joint_{}_h"])
def test_a_wider_pipe_takes_longer_but_not_twice_as_long(task: str) -> None:
    """Would fail if hours of one width were quoted for another."""
    hours = [RULES.number(f"install.{task.format(size)}") for size in SIZES]
    assert all(a < b < 1.75 * a for a, b in pairwise(hours))


INCH_M, FOOT_M = 0.0254, 0.3048
IN_FEET = {
    "place.tank_wall_ccr_m": 2, "place.tank_wall_south_dakota_m": 3, "place.tank_wall_arizona_m": 5,
    "place.tank_vat_m": 5, "place.passage_m": 3, "place.lane_entrance_m": 50,
    "place.board_depth_m": 3.5, "place.board_width_m": 2.5, "place.board_height_m": 6.5,
    "place.board_above_m": 6, "place.plinth_margin_m": 0.25, "place.support_bend_m": 1,
    "place.support_steel_15_m": 7, "place.support_steel_25_m": 7, "place.support_steel_40_m": 9,
    "place.support_steel_50_m": 10, "place.support_steel_65_m": 11, "place.support_steel_80_m": 12,
    "place.support_steel_100_m": 14, "place.support_tube_small_m": 6, "place.support_tube_m": 10,
}  # fmt: skip
"""As their sources print them (read, or as the rule's own mark says)."""


@pytest.mark.parametrize("key", IN_FEET)
def test_a_length_is_what_its_source_gives_in_feet(key: str) -> None:
    """Would fail if a clearance or a support were built from another number than its source's."""
    assert RULES.number(key) == pytest.approx(IN_FEET[key] * FOOT_M, rel=0.02)


def test_drains_fall_by_parts_of_an_inch_in_a_foot() -> None:
    """A quarter, an eighth and a sixteenth of an inch: would fail if a drain were laid too flat."""
    for key, parts in (("_small", 4), ("", 8), ("_large", 16)):
        fall = 100 * INCH_M / parts / FOOT_M
        assert RULES.number(f"place.drain_slope{key}_pct") == pytest.approx(fall, abs=0.05)


def test_larger_motors_start_with_less_for_each_kilowatt() -> None:
    """IEC 60034-12 (from memory): one less for each class, and classes that grow by two to ten."""
    for small, large in pairwise(electrical.DESIGN_N):
        assert small.kva_per_kw - large.kva_per_kw == 1.0
        assert 2.4 < large.up_to_kw / small.up_to_kw <= 10.0


def test_rules_that_change_slope_do_not_jump() -> None:
    """ISO 5707 (from memory): at ten units both branches ask for the same reserve."""
    units = RULES.number("vacuum.reserve.iso.break_units")
    for kind in ("shutoff", "open", "bucket"):
        base, each, large, more = (
            RULES.number(f"vacuum.reserve.iso.{kind}.{x}")
            for x in ("small_base_l_min", "small_per_unit_l_min", "large_base_l_min",
                      "large_per_unit_l_min")
        )  # fmt: skip
        assert base + units * each == large and more < each


def test_running_costs_may_be_off_either_way() -> None:
    """Would fail if a range of a quotation lay to one side, or half of a sum were left open."""
    for key, one in RULES.items():
        if key.startswith("quote.") and key.endswith("_low"):
            high = RULES.number(f"{key.removesuffix('_low')}_high")
            assert 0.5 <= one.value < 1.0 < high <= 1.5


@pytest.mark.parametrize(
    ("number", "taken"), [(0.0, False), (0.1, True), (999.9, True), (1000.0, False), ("x", False)]
)
def test_a_table_of_the_standard_takes_numbers_that_a_line_may_have(
    number: object, taken: bool
) -> None:
    """Would fail if a slip of the decimal point in the user's own table passed."""
    if taken:
        assert milkline_table._number(number, "bore") == number
        return
    with pytest.raises(milkline_table.TableError):
        milkline_table._number(number, "bore")
