"""Seasons, regions, decks and cows of other places."""

from __future__ import annotations

from pathlib import Path

import pytest

from byrewright.drafting.draft import draft_plant, region_held
from byrewright.errors import ByrewrightError
from byrewright.plant.brief import read_brief_text
from byrewright.plant.limits import read_limits_text
from byrewright.plant.problems import LimitsError
from byrewright.plant.read import read_plant
from byrewright.studies.sizing import size
from tests.drafting.drafts import begun

PLAIN = "cows: 200\nyield_l_day: 24\nlayout: rotary\nstalls: 30\nclimate: warm\n"
FREELAND = """
regions:
  Freeland:
    source: dairy decree 4
    steps: [{limit_c: 6, clock: end_of_milking, within_h: 2}]
"""


SOUTHERN = ("hemisphere: south", "latitude_deg: -38.5", "latitude_deg: '-38.5'",
            "region: new zealand", "region: Australia")  # fmt: skip


@pytest.mark.parametrize("line", SOUTHERN)
def test_southern_seasons_lie_half_a_year_apart(line: str) -> None:
    """A southern farm would be studied with its summer in July."""
    north, south = (read_brief_text(PLAIN + x).brief.site_part() for x in ("", line))
    assert south.ambient_c == (*north.ambient_c[6:], *north.ambient_c[:6])
    assert abs(north.study_month - south.study_month) == 6
    stated = PLAIN + line + "\nambient_c: [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12]"
    assert read_brief_text(stated).brief.ambient_c[0] == 1  # what is stated is not turned


@pytest.mark.parametrize("line", ["hemisphere: north", "latitude_deg: 41"])
def test_what_a_farm_says_of_its_place_goes_before_its_region(line: str) -> None:
    """A northern farm that sells under southern rules would be given winter in July."""
    told = read_brief_text(f"{PLAIN}region: Australia\n{line}\n")
    assert told.brief.site_part().study_month == 7
    assert "hemisphere" not in " ".join(a.meaning for a in told.assumptions)


def test_a_season_taken_from_the_region_is_an_assumption() -> None:
    """The farm would not learn from what its summer was placed in January."""
    said = {a.value: a.why for a in read_brief_text(PLAIN + "region: New Zealand").assumptions
            if "hemisphere" in a.meaning}  # fmt: skip
    assert said == {"south": "New Zealand lies south of the equator"}


def test_money_that_is_not_stated_is_that_of_the_region() -> None:
    """A farm in the United States was quoted in euros unless its brief said otherwise."""
    for lines, code, noted in (
        ("region: US-California", "USD", "usual in the region"),
        ("region: australia", "AUD", "usual in the region"),
        ("region: New Zealand", "NZD", "usual in the region"),
        ("region: US\ncurrency: EUR", "EUR", ""),
        ("region: EU", "EUR", "not stated"),
        ("region: Usedom", "EUR", "not stated"),
    ):
        told = read_brief_text(PLAIN + lines)
        assert told.brief.site_part().currency == code, lines
        why = [a.why for a in told.assumptions if a.meaning == "currency of prices"]
        assert why == ([noted] if noted else []), lines


def test_a_supply_that_is_not_stated_is_that_of_the_region() -> None:
    """A farm in the United States was drafted on 400 V and 50 Hz, which it cannot have."""
    for lines, has in (
        ("region: US", (480.0, 60)),
        ("region: US-California\nsupply: {limit_kva: 80}", (480.0, 60)),
        ("region: US\nsupply: {phases: 1}", (240.0, 60)), ("region: EU", (400.0, 50)),
        ("region: US\nsupply: {voltage_v: 208, frequency_hz: 60}", (208.0, 60)),
    ):  # fmt: skip
        told = read_brief_text(PLAIN + lines)
        supply = told.brief.site_part().supply
        assert (supply.voltage_v, supply.frequency_hz) == has, lines
        assert any(a.where == "site.supply" for a in told.assumptions) is (has[0] in (480, 240))


def test_the_study_month_is_the_worst_of_water_and_air() -> None:
    """The day would be that of June, whatever the site's water and air do."""
    site = read_brief_text(PLAIN).brief.site_part()
    late = (10, 10, 10, 10, 10, 12, 14, 17, 20, 15, 12, 10)
    surface = site.model_copy(update={"water_temperature_c": late})
    assert site.study_month == 7
    assert surface.study_month == 9
    assert surface.month_words(9).startswith("September, the worst")
    assert surface.month_words(2) == "February, as asked"


def test_an_unknown_region_is_refused_with_what_is_known() -> None:
    """A plant would be drafted to no milk-temperature rule at all, with a shrug in the check."""
    brief = read_brief_text(PLAIN + "region: Freeland")
    line = 1 + (PLAIN + "region: Freeland").splitlines().index("region: Freeland")
    told = (
        rf"brief.yaml:{line}: error F033: region: .*Freeland.*there are rules for EU.*limits.yaml"
    )
    with pytest.raises(ByrewrightError, match=told):
        draft_plant(brief)
    rules = read_limits_text(FREELAND)
    region_held(brief, rules)
    plant = begun(PLAIN + "region: Freeland", rules)
    assert "6 degC" in size(plant, rules).finding("cooling.rule").sentence


def test_an_own_region_is_held_by_the_check_too(tmp_path: Path) -> None:
    """A plant drafted to the farm's own rule would be told that nobody holds it."""
    path = tmp_path / "plant.yaml"
    text = Path("examples/rows_two_by_twenty/plant.yaml").read_text(encoding="utf-8")
    path.write_text(text.replace("region: ", "region: Freeland  # ", 1), encoding="utf-8")
    assert "C014" in {p.code for p in read_plant(path).check()}
    (tmp_path / "limits.yaml").write_text(FREELAND, encoding="utf-8")
    assert "C014" not in {p.code for p in read_plant(path).check()}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("regions: [Freeland]", "write regions as"),
        ("regions: {Freeland: {steps: []}}", "a region is written as"),
        ("regions: {Freeland: {steps: [{limit_c: cold, clock: at_once}]}}", "are numbers"),
        ("regions: {Freeland: {steps: [{limit_c: 6, clock: noon, within_h: 2}]}}", "noon"),
        ("regions: {Freeland: {steps: [{limit_c: 6, clock: end_of_milking}]}}", "within how many"),
        ("regions: {Freeland: {steps: [{limit_c: 6, within_h: 2}]}}", "from when"),
        ("regions: {Freeland: {steps: [{limit_c: 90, clock: at_once}]}}", "0 to 40"),
    ],
)
def test_a_wrong_region_gets_one_clear_sentence(text: str, says: str) -> None:
    """A slip in the region's rule would end in a traceback, or be dropped in silence."""
    with pytest.raises(LimitsError, match=says):
        read_limits_text(text)


def test_deck_and_cows_reach_rollers_and_drives() -> None:
    """A concrete deck or light cows would be sized as steel and Holsteins."""
    keys = ("deck.mass", "deck.roller_load@RL1", "deck.drive_motor@DU1")
    found: dict[str, dict[str, float]] = {}
    asked = {"steel": "", "concrete": "deck: concrete", "light": "cow_mass_kg: 450"}
    for name, lines in asked.items():
        result = size(begun(f"{PLAIN}{lines}\n"))
        found[name] = {k: result.finding(k).limit or result.finding(k).value or 0.0 for k in keys}
    for key, steel in found["steel"].items():
        assert found["concrete"][key] > 1.1 * steel, key
    assert found["light"]["deck.mass"] < found["steel"]["deck.mass"]
    assert found["light"]["deck.drive_motor@DU1"] < found["steel"]["deck.drive_motor@DU1"]


def test_rollers_of_heavy_cows_are_held_to_those_cows() -> None:
    """The formula said 800 kg where the herd's 950 kg were taken, or the herd was left out."""
    heavy, usual = (
        size(begun(f"{PLAIN}cow_mass_kg: {kg}\n")).finding("deck.roller_load@RL1")
        for kg in (950, 500)
    )
    cow = {f: next(i.value for i in f.inputs if i.symbol == "m_c") for f in (heavy, usual)}
    assert (cow[heavy], cow[usual]) == (950, 800)
    assert "950 kg cows" in heavy.sentence and (heavy.limit or 0) > 1.1 * (usual.limit or 0)
