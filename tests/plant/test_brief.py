"""The brief: two lines are enough, and everything assumed is said."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from byrewright.plant.brief import Brief, read_brief_text
from byrewright.plant.climates import CLIMATES
from byrewright.plant.limits import read_limits_text, rules_beside
from byrewright.plant.plant import Plant
from byrewright.plant.plant_id import keeping
from byrewright.plant.problems import BriefError
from byrewright.plant.read import read_plant_text
from byrewright.plant.unsaid import TANKER_L
from byrewright.standards.rulebook import default_rulebook
from tests.plant.small import BRIEF, LIMITS, SMALL

TWO = "cows: 600\nyield_l_day: 33\n"


def problems(text: str) -> str:
    """What is wrong with a brief."""
    with pytest.raises(BriefError) as caught:
        read_brief_text(text)
    return str(caught.value)


def test_two_lines_make_a_whole_farm() -> None:
    """Would fail if a farm that says only cows and yield could not be drafted."""
    brief = read_brief_text(TWO).brief
    assert brief.milkings == ("05:00", "16:00")
    assert brief.herd_part().cows == 600
    assert brief.herd_part().withheld_cows == brief.withheld_cows == 9
    assert brief.site_part().ambient_c == CLIMATES["temperate"][0]
    assert len(brief.milkings_part()) == brief.cleaning_part().washes_a_day == 2
    assert brief.wishes_part().no_single_stop


def test_every_line_left_out_is_a_stated_assumption() -> None:
    """Would fail if something were assumed in silence: the engineer signs for it."""
    file = read_brief_text(TWO)
    said = {a.where for a in file.assumptions}
    for where in (
        "site.altitude_m",
        "site.ambient_c",
        "site.hottest_c",
        "site.water_temperature_c",
        "milkings",
        "milkings.morning.target_h",
        "collections",
        "herd.groups",
        "wishes.redundancy",
        "cleaning.washes_a_day",
        "brief.calf_milk_l_day",
        "brief.vacuum_kpa",
    ):
        assert where in said, where
    assert all(a.why and a.meaning for a in file.assumptions)


@pytest.mark.parametrize(
    ("cows", "hours", "people"),
    [(300, 4.0, 2), (1100, 4.0, 2), (2000, 4.0, 3), (2200, 4.4, 3), (4000, 8.0, 3)],
)
def test_milkers_and_hours_grow_with_the_herd(cows: int, hours: float, people: int) -> None:
    """Would fail if 4,000 cows were drafted for two people and 4 h, which no parlour can do: by
    hand 14 s a cow, 0.85 of the time less the last 0.2 h, 500 cows an hour where 4 h are short."""
    brief = read_brief_text(f"cows: {cows}\nyield_l_day: 30\n").brief
    assert (brief.target_h, brief.operators) == (hours, people)
    stated = read_brief_text(f"cows: {cows}\nyield_l_day: 30\noperators: 7\n")
    assert stated.brief.operators == 7
    assert not any("people milking" in a.meaning for a in stated.assumptions)


def test_a_full_brief_assumes_little() -> None:
    """Would fail if stated lines were still called assumed."""
    file = read_brief_text(BRIEF)
    said = {a.where for a in file.assumptions}
    assert not said & {
        "milkings",
        "collections",
        "site.altitude_m",
        "site.water_temperature_c",
        "site.name",
    }
    assert file.brief.collections[0].tanker_l == 20000
    assert file.brief.water_source.temperature_c[0] == pytest.approx((48 - 32) * 5 / 9)


def test_assumptions_go_to_places_of_the_plant_file() -> None:
    """Would fail if a reason were addressed to a section that the plant file has not."""
    for one in read_brief_text(TWO).assumptions:
        head = one.where.split(".")[0]
        assert head in Plant.model_fields or head == "brief"


def test_short_forms() -> None:
    """Would fail if a number of milkings or groups were not spread out."""
    brief = read_brief_text(
        TWO + "milkings: 3\ngroups: 7\nwater_source: {temperature_c: 9}\n"
    ).brief
    assert brief.milkings == ("05:00", "13:00", "21:00")
    assert [g.cows for g in brief.groups] == [86] * 5 + [85] * 2
    assert brief.water_source.temperature_c == (9.0,) * 12
    assert [m.name for m in brief.milkings_part()] == ["morning", "midday", "night"]


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.integers(4, 20000), st.floats(1, 100), st.integers(1, 6), st.integers(1, 4))
def test_any_herd_gives_a_consistent_farm(
    cows: int, litres: float, milkings: int, groups: int
) -> None:
    """Would fail if groups, tankers or times did not fit a herd of some size."""
    text = f"cows: {cows}\nyield_l_day: {litres!r}\nmilkings: {milkings}\ngroups: {groups}\n"
    brief = read_brief_text(text).brief
    assert sum(g.cows for g in brief.herd_part().groups) == cows
    assert len(set(brief.milkings)) == milkings
    assert len({m.name for m in brief.milkings_part()}) == milkings
    assert brief.target_h * milkings <= 24
    taken = sum(c.tanker_l / c.every_days for c in brief.collections)
    assert taken >= min(cows * litres, 12 * TANKER_L) * (1 - 1e-9)


@pytest.mark.parametrize(
    ("extra", "says"),
    [
        (
            "yeild_std_dev: 0.2\n",
            "brief.yaml:3: error F020: yeild_std_dev: the key is not known; did you mean yield",
        ),
        ("climate: tropical\n", '"tropical" is not one of cool, temperate, warm, hot'),
        ("milkings: 9\n", "9 is out of range: 1 to 6 a day"),
        ("milkings: []\n", "0 is out of range: 1 to 6 a day"),
        ("collections: []\n", "collections: 0 is out of range: one or more"),
        ("milkings: [5 am]\n", "expected a time of day"),
        ('milkings: ["05:00", "05:00"]\n', "two milkings start at 05:00"),
        ("groups: [{name: a, cows: 5}]\n", "the groups hold 5 cows, the herd 600"),
        ("withheld_cows: 601\n", "601 of 600 cows"),
        ("withheld_cows: 5\ngroups: [{name: a, cows: 600, withheld_cows: 7}]\n", "withhold 7 cows"),
        ("water_source: 9\n", "9 is not a group of keys"),
        ("water_source: {temperature_c: [1, 2]}\n", "2 values given, 12 needed"),
        ("operators: true\n", "true is not a whole number (1 to 20)"),
        ("brief: 3\n", "version 3 of the format is not known"),
        ("vacuum_kpa: 14 inHg\nrows: 9\n", "rows: 9 is out of range: 1 to 4"),
    ],
)
def test_mistakes_are_told_as_in_a_plant(extra: str, says: str) -> None:
    """Would fail if a slip in a brief were passed over, or told without its line."""
    assert says in problems(TWO + extra)


def test_cows_and_yield_are_needed() -> None:
    """Would fail if a herd were made up."""
    text = problems("altitude_m: 100\n")
    assert "cows: missing: cows in milk, 4 to 20000" in text
    assert "yield_l_day: missing: milk a cow a day, mean, 1 to 100 L/d" in text


def test_wishes_reach_the_plant() -> None:
    """Would fail if the farm's own words were lost between brief and plant."""
    brief: Brief = read_brief_text(BRIEF).brief
    assert brief.wishes_part().redundancy == "duty-and-standby"
    assert brief.site_part().supply.tariff[0].price_kwh == 0.24
    assert brief.cooling == "ice_bank"


def test_limits_replace_the_rules_and_say_so(tmp_path) -> None:  # type: ignore[no-untyped-def]
    """Would fail if a user's limit were not used, or not marked as stated by the user."""
    rules = read_limits_text(LIMITS)
    assert rules.number("vacuum.iso_drop_receiver_to_pump_kpa") == 2.5
    assert rules.number("vacuum.iso_drop_receiver_to_regulator_kpa") == pytest.approx(10.0)
    assert rules["vacuum.iso_drop_receiver_to_pump_kpa"].confidence == "stated"
    assert len(rules.overridden) == 2
    plant = tmp_path / "plant.yaml"
    assert rules_beside(plant) is default_rulebook()
    (tmp_path / "limits.yaml").write_text(LIMITS)
    assert rules_beside(plant).overridden == rules.overridden


def test_a_plant_keeps_its_id_when_the_farm_is_renamed() -> None:
    """Would fail if drafting again under another name cut a plant off from its site log."""
    one = read_brief_text("brief: 1\nfarm: North\ncows: 300\nyield_l_day: 28\n")
    kept = one.brief.site_part().id
    assert kept == read_brief_text(one.source.text).brief.site_part().id
    other = read_brief_text(one.source.text.replace("North", "South"))
    assert other.brief.site_part().id != kept
    old = read_plant_text(SMALL).plant
    old = old.model_copy(update={"site": old.site.model_copy(update={"id": kept})})
    assert keeping(other, old).brief.site_part().id == kept
    stated = read_brief_text(one.source.text + "id: my-own\n")
    assert keeping(stated, old).brief.site_part().id == "my-own"
