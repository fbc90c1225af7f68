"""A draft closes over every study, or names what would have to give."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import byrewright.drafting.close as closing
import byrewright.drafting.gives as giving
from byrewright.drafting.close import SEEDS, Check, Closing, checks, close, fails, wanted
from byrewright.drafting.draft import Draft, intent_of
from byrewright.drafting.gives import Give, closed_draft, gives
from byrewright.drafting.sheet import Chosen
from byrewright.plant.brief import Brief, read_brief_text
from byrewright.plant.plant import Plant
from byrewright.plant.read import read_plant_text
from byrewright.results import Finding, Remedy, Result
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.day import run_day
from byrewright.studies.failures.cuts import Cancelled

RULES = default_rulebook()
SMALL = """\
farm: (invented) a small one
cows: 240
yield_l_day: 26
layout: rows
rows: 2
milkings: ["05:00", "17:00"]
target_h: 3.0
operators: 2
redundancy: none
standby_power: none
"""
MENDED = SMALL.replace("cows: 240", "cows: 422").replace("target_h: 3.0", "target_h: 4.0")


@pytest.fixture(scope="module")
def closed() -> Draft:
    """A brief whose quick draft fails its own day, closed."""
    return closed_draft(read_brief_text(MENDED), RULES)


def test_a_draft_is_asked_everything_and_holds(closed: Draft) -> None:
    """Would fail if a check were left out, or one that fails were counted as held."""
    assert closed.open == (), [f.sentence for f in closed.open]
    assert set(closed.held_by) == {"sizing", *(c.name for c in checks())}
    assert sum(c.name.startswith("day") for c in checks()) == 3 * len(SEEDS)


def test_what_nobody_could_judge_is_told(closed: Draft) -> None:
    """Would fail if a draft were called sound although a question of any study stayed open."""
    assert all(f.verdict == "unknown" for f in closed.unjudged)
    keys = [f.key for f in closed.unjudged]
    assert "wash.missed" not in keys and "vacuum.milkline.table" in keys


def test_the_file_is_the_plant_that_was_held(closed: Draft) -> None:
    """Would fail if what is written were not what the studies were asked of."""
    plant = read_plant_text(closed.text).plant
    assert plant == closed.plant
    assert fails(run_day(plant, RULES, seed=2)) == ()


def test_what_other_studies_asked_for_stands_in_the_file_with_its_reason(closed: Draft) -> None:
    """Would fail if a mended figure came without a why, or were lost again in sizing."""
    pump = next(line for line in closed.text.splitlines() if "gain_per_kpa" in line)
    assert closed.changes and "settings tried" in pump
    assert getattr(closed.plant.equipment["VP1"], "gain_per_kpa") is not None  # noqa: B009


def test_wishes_that_fight_are_named_with_the_least_change_that_is_proven(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would fail if a draft that cannot close blamed nothing, or a change that does not mend it."""
    monkeypatch.setattr(closing, "checks", lambda: ())  # sizing alone: the search is asked here
    brief = read_brief_text(SMALL + "supply: {phases: 3, limit_kva: 20}\n").brief
    now = close(brief, RULES)
    assert any(f.key == "power.demand" for f in now.open)
    found: dict[str, Give] = {g.wish: g for g in gives(brief, RULES, now)}
    supply = found["supply"].change["supply"]
    assert found["supply"].words == f"supply {supply.limit_kva:g} kVA instead of 20"
    assert close(brief.model_copy(update={"supply": supply}), RULES).closes
    less = supply.model_copy(update={"limit_kva": supply.limit_kva - 5})
    assert not close(brief.model_copy(update={"supply": less}), RULES).closes


def test_wishes_that_mend_a_part_each_are_told_together_and_the_least_is_found_below_a_new_fault(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would fail if a step beyond which something else fails hid the least one that mends, if a
    wish that mends a part were left out, or if what closes only together were not proven."""
    asked: list[Brief] = []

    def answer(brief: Brief, *_: object, **__: object) -> Closing:
        asked.append(brief)
        told = {
            "throughput.finished": brief.operators < 4 and brief.target_h < 3.4,
            "day.wash_fits": brief.target_h > 4.0,
            "power.standby": brief.standby_power == "none",
        }
        found = [Finding(k, "", k, None, "", k, "fails") for k, bad in told.items() if bad]
        now.asked = {"sizing": Result("sizing", "", tuple(found))}
        return replace(now, open=tuple(found))

    brief = read_brief_text(SMALL).brief
    now = Closing(closing.settle(intent_of(brief, RULES), RULES))
    monkeypatch.setattr(giving, "close", answer)
    found = {g.wish: g for g in gives(brief, RULES, answer(brief))}
    assert found["operators"].change == {"operators": 4}
    assert found["target_h"].change == {"target_h": 3.4}
    assert found["standby_power"].mends == {"power.standby"}
    both = found["operators+standby_power"]
    assert both.mends == {"throughput.finished", "power.standby"}
    assert asked[-1].operators == 4 and asked[-1].standby_power == "tractor"


def test_a_figure_with_which_no_machine_is_made_is_taken_back(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would fail if one remedy gone too far refused the whole brief, or were tried for ever."""
    asks = Remedy("WH1", "volume_l", 1e6, "it ran dry")
    one = Finding("asks", "WH1", "", None, "L", "WH1 ran dry.", "fails", remedies=(asks,))
    check = Check("asks", False, lambda plant, rules: Result("asks", "", (one,)))
    monkeypatch.setattr(closing, "checks", lambda: (check,))
    now = close(read_brief_text(SMALL).brief, RULES)
    assert one in now.open and now.refused == {("WH1", "volume_l")}
    assert not now.held and not now.changes


def test_a_figure_that_grows_in_vain_is_drafted_as_it_was(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a remedy that does not help were repeated until the machine is a monster, which
    then fails its boards and supply."""

    def ask(plant: Plant, rules: Rulebook) -> Result:
        now = plant.equipment["WH1"].heater_kw  # type: ignore[attr-defined]
        more = Remedy("WH1", "heater_kw", 3.0 * now, "still too cold")
        return Result("asks", "", (Finding("asks", "WH1", "", 30.0, "degC", "", "fails",
                                           margin=-0.25, remedies=(more,)),))  # fmt: skip

    monkeypatch.setattr(closing, "checks", lambda: (Check("asks", False, ask),))
    brief = read_brief_text(SMALL).brief
    now = close(brief, RULES)
    was = closing.settle(intent_of(brief, RULES), RULES).plant.equipment["WH1"]
    assert now.settled.plant.equipment["WH1"] == was
    assert [f.key for f in now.open] == ["asks"] and not now.changes


def test_a_start_that_dips_a_weak_supply_is_made_by_a_drive_and_a_weaker_one_has_to_give(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would fail if the mains' dip were told and nothing came of it, or a supply too weak for any
    start were not named with the short-circuit power that does."""
    monkeypatch.setattr(closing, "checks", lambda: ())
    monkeypatch.setattr(giving, "LEVERS", [a for a in giving.LEVERS if a.wish == "fault_kva"])
    weak = "supply: {phases: 3, limit_kva: 80, fault_kva: 300}\n"
    now = close(read_brief_text(SMALL + weak).brief, RULES)
    dip = next(f for f in now.settled.sizing.findings if f.key == "power.mains_dip")
    assert [(c.figure, c.to) for c in now.changes] == [("start", "drive")] and now.closes
    assert dip.value is not None and dip.value <= 6.0 and "(stated)" in dip.sentence
    brief = read_brief_text(SMALL + weak.replace("300", "200")).brief
    now = close(brief, RULES)
    assert [f.key for f in now.open] == ["power.mains_dip"]
    give = {g.wish: g for g in gives(brief, RULES, now)}["fault_kva"]
    assert give.words == "a supply of 300 kVA short-circuit power instead of 200"


def test_a_hotter_wash_more_of_it_and_a_last_rinse_are_drafted() -> None:
    """Would fail if what the day asks of the wash never reached the next draft."""
    want = intent_of(read_brief_text(SMALL + "cleaning: {steps: [rinse, hot, acid rinse]}").brief,
                     RULES)  # fmt: skip
    asks = {"hot_c": 87.0, "water_l_unit": 21.0, "last_step": "last rinse"}
    held = {("cleaning", figure): Chosen(to, "") for figure, to in asks.items()}
    for _ in range(2):  # asked again, it stays as it is
        want = wanted(want, held)
        assert (want.cleaning.hot_c, want.cleaning.water_l_unit) == (87.0, 21.0)
        assert want.cleaning.steps == ("rinse", "hot", "acid rinse", "last rinse")


def test_every_round_is_told_and_can_be_stopped(tmp_path: Path) -> None:
    """Would fail if a long draft ran in silence, or a stop were not heard."""
    told: list[str] = []

    def say(what: str, done: int, total: int) -> bool:
        assert 0 <= done <= total
        told.append(what)
        return len(told) == 3

    with pytest.raises(Cancelled):
        closed_draft(read_brief_text(SMALL), RULES, say=say)
    assert told[0] == "round 1: sizing" and "day, coldest month" in told[1]
