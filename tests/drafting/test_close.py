"""A draft closes over every study, or names what would have to give.

Most tests settle nothing in turns: they look at the rounds, not at the sizes. What real studies ask
of real drafts is asked of the examples (test_draft) and of random briefs (benchmarks).
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from functools import cache
from typing import Any, cast

import pytest

import byrewright.drafting.close as closing
import byrewright.drafting.draft as drafting
import byrewright.drafting.gives as giving
from byrewright.drafting.checks import SEEDS, Check, checks, fails
from byrewright.drafting.close import Closing, First, _mend, close, wanted
from byrewright.drafting.cores import Workers
from byrewright.drafting.draft import Draft, Settled, _advice, _kept, _same, intent_of, settle
from byrewright.drafting.gives import closed_draft, gives
from byrewright.drafting.intent import Intent
from byrewright.drafting.levers import LEVERS, Step, joined
from byrewright.drafting.sheet import Choices, Chosen
from byrewright.drafting.topology import lay_out
from byrewright.plant.brief import Brief, read_brief_text
from byrewright.plant.plant import Plant
from byrewright.plant.read import read_plant_text
from byrewright.plant.sited import laid_out
from byrewright.results import Finding, Remedy, Result
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.day import run_day
from byrewright.studies.failures.cuts import Cancelled
from byrewright.studies.sizing import pace, size

RULES = default_rulebook()
NOTHING = Result("sizing", "", ())
FEW = "cows: 9\nyield_l_day: 20\nlayout: rows\n"
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


@cache
def small() -> Settled:
    """The small farm's plant, settled."""
    return settle(intent_of(read_brief_text(SMALL).brief, RULES), RULES)


def begun(
    want: Intent, rules: Rulebook, start: Settled | None = None, held: Choices | None = None
) -> Settled:
    """Settling of the small plant, which is spared where nothing is asked of it."""
    return settle(want, rules, start, held) if held else small()


def sized_once(
    want: Intent, rules: Rulebook, start: Settled | None = None, held: Choices | None = None
) -> Settled:
    """The small plant at the site that is wanted, with the figures that are held, and with what
    sizing advises taken over once: not in turns, and no pipe is laid again."""
    sizes = {**(start.sizes if start else {}),
             ("EM1", "supply_kva"): Chosen(want.site.supply.limit_kva or 150.0, "")}  # fmt: skip
    plant = small().plant.model_copy(update={"site": want.site})
    for _ in range(2):
        equipment = dict(small().plant.equipment)
        for (tag, figure), choice in _kept(want, sizes, held or {}).items():
            if hasattr(equipment.get(tag), figure):
                whole = type(getattr(equipment[tag], figure)) is int
                value = round(choice.value) if whole else choice.value
                equipment[tag] = equipment[tag].model_copy(update={figure: value})
        plant = plant.model_copy(update={"equipment": equipment})
        sizing = size(plant, rules)
        known, sizes = sizes, _advice(sizing, sizes, {}, {})
        if _same(known, sizes):
            break
    return replace(small(), want=want, plant=plant, sizing=sizing, sizes=sizes)


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rounds without sizes that take turns, and without studies beside sizing."""
    monkeypatch.setattr(closing, "settle", sized_once)
    monkeypatch.setattr(closing, "checks", lambda: ())


def asking(monkeypatch: pytest.MonkeyPatch, *, of: str, figure: str, times: float) -> None:
    """The only study: never content, it asks for a figure many times what it is."""

    def ask(plant: Plant, rules: Rulebook) -> Result:
        more = Remedy(of, figure, times * getattr(plant.equipment[of], figure), "too small")
        found = Finding("asks", of, "", 30.0, "degC", "", "fails", margin=-0.25, remedies=(more,))
        return Result("asks", "", (found,))

    monkeypatch.setattr(closing, "checks", lambda: (Check("asks", False, ask),))


@pytest.fixture(scope="module")
def closed() -> Draft:
    """The small plant, of whose vacuum pump each study under each condition asks another gain."""

    def ask(plant: Plant, rules: Rulebook) -> Result:
        asks = Remedy("VP1", "gain_per_kpa", 0.7, "best of those tried")
        low = getattr(plant.equipment["VP1"], "gain_per_kpa") != 0.7  # noqa: B009
        found = (
            Finding("asks", "VP1", "gain", None, "", "", "fails" if low else "holds",
                    remedies=(asks,)),
            Finding("open", "", "nobody knows", None, "", "", "unknown"),
        )  # fmt: skip
        return Result("asks", "", found)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(closing, "settle", begun)
        every = tuple(replace(c, ask=ask) for c in checks())
        patch.setattr(closing, "checks", lambda: every)
        return closed_draft(read_brief_text(SMALL), RULES)


def test_a_draft_is_asked_everything_and_holds(closed: Draft) -> None:
    """Would fail if a check were left out, or one that fails were counted as held."""
    assert closed.open == (), [f.sentence for f in closed.open]
    assert set(closed.held_by) == {"sizing", *(c.name for c in checks())}
    assert sum(c.name.startswith("day") for c in checks()) == 3 * len(SEEDS)


def test_a_deck_with_no_room_under_it_is_drafted_larger(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a draft were not held to its plan: machines through walls, pipes in others."""
    brief = read_brief_text(SMALL.replace("rows\nrows: 2", "rotary")).brief

    def laid(
        want: Intent, rules: Rulebook, start: Settled | None = None, held: Choices | None = None
    ) -> Settled:
        stalls = (held or {}).get(("PF1", "stalls"), Chosen(22.0, ""))
        plant, sheet = lay_out(replace(want, stalls=round(float(stalls.value))), {})
        return replace(small(), want=want, plant=laid_out(plant), sheet=sheet, sizing=NOTHING)

    monkeypatch.setattr(closing, "settle", laid)
    now = close(brief, RULES, only=("the plan",))
    assert [(c.of, c.figure, c.to, c.asked_by) for c in now.changes] == [
        ("PF1", "stalls", 24.0, "place.under_deck@AI1")
    ]
    assert now.open == ()


def test_what_nobody_could_judge_is_told(closed: Draft) -> None:
    """Would fail if a draft were called sound although a question of any study stayed open."""
    assert all(f.verdict == "unknown" for f in closed.unjudged)
    assert [f.key for f in closed.unjudged].count("open") == 1


def test_the_file_is_the_plant_that_was_held(closed: Draft) -> None:
    """Would fail if what is written were not what the studies were asked of."""
    plant = read_plant_text(closed.text).plant
    assert plant == closed.plant
    assert fails(run_day(plant, RULES, seed=2)) == ()


def test_what_other_studies_asked_for_stands_in_the_file_with_its_reason(closed: Draft) -> None:
    """Would fail if a mended figure came without a why, or were lost again in sizing."""
    pump = next(line for line in closed.text.splitlines() if "gain_per_kpa" in line)
    assert closed.changes and "best of those tried" in pump
    assert getattr(closed.plant.equipment["VP1"], "gain_per_kpa") == 0.7  # noqa: B009


def test_where_the_farm_states_one_figure_the_other_is_drafted() -> None:
    """Would fail if a wash as hot as the brief states came back too cold for ever, though more of
    it would do; or if both were changed where one does."""
    hotter = Remedy("cleaning", "hot_c", 83.0, "came back too cold")
    more = Remedy("cleaning", "water_l_unit", 14.0, "came back too cold", otherwise=True)
    cold = Finding("day.wash_return", "", "", 52.0, "degC", "", "fails", remedies=(hotter, more))
    hot, water = ("cleaning", "hot_c"), ("cleaning", "water_l_unit")
    free = Closing(small(), open=(cold,))
    assert set(_mend(free, 1)) == {hot}
    assert set(_mend(Closing(small(), open=(cold,), refused={hot}), 1)) == {water}
    mended = replace(free, held={hot: Chosen(83.0, "")}, changes=[])
    assert _mend(mended, 2) == {}


def test_a_level_follows_the_vessel_that_it_is_in() -> None:
    """Would fail if a smaller receiver kept the level of a larger one: no room for a slug."""
    volume, level = ("RC1", "volume_l"), ("RC1", "led_at_l")
    now = {volume: Chosen(60.0, ""), level: Chosen(30.0, "of 100 L")}
    met: dict[tuple[str, str], set[Any]] = {volume: {60.0}, level: {18.0, 30.0}}
    asked = tuple(
        Finding("receiving", "RC1", "", 1.0, "L", "", "holds", advised=to, target=target)
        for target, to in ((volume, 60.0), (level, 18.0))
    )
    assert _advice(Result("size", "", asked), now, met, {})[level].value == 18.0


def test_a_settled_draft_that_is_settled_again_is_sized_once() -> None:
    """Would fail if every round began from guesses, or took sizes that took turns up again: a
    draft would take minutes, and a figure might change for no reason."""
    again = settle(intent_of(read_brief_text(SMALL).brief, RULES), RULES, small())
    assert again.rounds == 1 and again.plant == small().plant


def test_a_size_that_took_turns_stays_when_it_is_settled_again() -> None:
    """Would fail if a draft settled again began with the smaller of two sizes that take turns."""
    area = ("PC1", "area_m2")
    smaller = Finding("cooler", "PC1", "", 1.0, "m2", "", "holds", advised=14.0, target=area)
    turns: dict[tuple[str, str], set[Any]] = {}
    now, asks = {area: Chosen(15.0, "")}, Result("size", "", (smaller,))
    assert _advice(asks, now, {area: {14.0}}, turns)[area].value == 15.0
    assert turns == {area: {14.0}}
    assert _advice(asks, now, {}, {})[area].value == 14.0


def test_what_heats_waits_where_the_supply_is_short_in_milking() -> None:
    """Would fail if a farm were asked for a stronger supply that heaters do without which wait
    until the cows are milked, or if they waited for ever."""
    plant = small().plant
    supply = plant.site.supply.model_copy(update={"limit_kva": 20.0})
    site = plant.site.model_copy(update={"supply": supply})
    sizing = size(plant.model_copy(update={"site": site}), RULES)
    (short,) = [f for f in sizing.findings if f.name == "power.demand@milking"]
    assert {(r.figure, r.to) for r in short.remedies} == {("in_milking", "stopped")}
    held = {(r.of, r.figure): Chosen(r.to, r.why) for r in short.remedies}
    want = wanted(small().want, held)
    laid, _ = lay_out(want, small().sizes)
    assert {"WH1", "CW1", "CD1"} == set(want.wait_in_milking)
    assert all(laid.locked_out(tag, ("milking",)) for tag in want.wait_in_milking)
    assert not any(laid.locked_out(tag, ("wash",)) for tag in want.wait_in_milking)
    assert not want.vacuum_together


@pytest.mark.usefixtures("quick")
def test_a_change_that_is_named_mends_and_a_smaller_one_does_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would fail if a draft that cannot close blamed nothing, or a change that does not mend it."""
    monkeypatch.setattr(giving, "LEVERS", [a for a in LEVERS if a.wish == "supply"])
    brief = read_brief_text(SMALL + "supply: {phases: 3, limit_kva: 20}\n").brief
    now = close(brief, RULES)
    assert any(f.key == "power.demand" for f in now.open)
    (give,) = gives(brief, RULES, now)
    then = give.change(brief)
    assert then.supply is not None and then.supply.limit_kva is not None
    assert give.words == f"supply {then.supply.limit_kva:g} kVA instead of 20"
    assert close(then, RULES).closes
    less = then.supply.model_copy(update={"limit_kva": then.supply.limit_kva - 5})
    assert not close(brief.model_copy(update={"supply": less}), RULES).closes


def told_by(
    monkeypatch: pytest.MonkeyPatch, brief: Brief, bad: Callable[[Brief], dict[str, bool]]
) -> tuple[Closing, list[Brief]]:
    """A draft of which a function of the brief says what fails; and the briefs it is asked of."""
    asked: list[Brief] = []
    now = Closing(small())

    def answer(brief: Brief, *_: object, **__: object) -> Closing:
        asked.append(brief)
        found = [Finding(k, "", k, None, "", k, "fails") for k, is_bad in bad(brief).items()
                 if is_bad]  # fmt: skip
        asked_of = {"sizing": Result("sizing", "", tuple(found))}
        return replace(now, open=tuple(found), asked=asked_of)

    monkeypatch.setattr(giving, "close", answer)
    return answer(brief), asked


def test_wishes_that_mend_a_part_each_are_told_together_and_the_least_is_found_below_a_new_fault(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would fail if a step beyond which something else fails hid the least one that mends, if a
    wish that mends a part were left out, or if what closes only together were not proven."""
    brief = read_brief_text(SMALL).brief
    now, asked = told_by(monkeypatch, brief, lambda b: {
        "throughput.finished": b.operators < 4 and b.target_h < 3.4,
        "day.wash_fits": b.target_h > 4.0,
        "power.standby": b.standby_power == "none",
    })  # fmt: skip
    found = {g.wish: g for g in gives(brief, RULES, now)}
    assert found["operators"].change(brief).operators == 4
    assert found["target_h"].change(brief).target_h == 3.4
    assert found["standby_power"].mends == {"power.standby"}
    both = found["operators+standby_power"]
    assert both.mends == {"throughput.finished", "power.standby"}
    assert asked[-1].operators == 4 and asked[-1].standby_power == "tractor"


class Threads:
    """Workers that are threads: they see what a test puts in a module's place."""

    def __init__(self) -> None:
        self.pool, self.asked = ThreadPoolExecutor(2), 0

    def ask(self, work: Callable[..., Any], *given: Any) -> Future[Any]:
        self.asked += 1
        return self.pool.submit(work, *given)

    idle = 1


def test_wishes_that_are_tried_side_by_side_give_what_they_give_one_after_another(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would fail if a second core changed what would have to give, or its order."""
    brief = read_brief_text(SMALL).brief
    now, _ = told_by(monkeypatch, brief, lambda b: {
        "throughput.finished": b.operators < 4 and b.target_h < 3.4,
        "power.standby": b.standby_power == "none",
    })  # fmt: skip
    told, beside = [], Threads()
    for at_work in (None, cast(Workers, beside)):
        found = gives(brief, RULES, now, at_work=at_work)
        told.append([(g.words, g.mends, [s.words for s in g.further]) for g in found])
    assert told[0] == told[1] and len(told[0]) > 2 and beside.asked


def test_hours_alone_tell_the_first_step_that_may_do(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a wish that cannot end a milking in time were drafted to its farthest step, or
    hours that are too short by sizing; or if the least hours that do were passed over."""
    brief = read_brief_text(SMALL.replace("cows: 240", "cows: 400").replace("3.0", "2.0")).brief
    names = ("throughput.finished@morning", "day.milking_on_time@morning")
    now, asked = told_by(monkeypatch, brief, lambda b: dict.fromkeys(names, b.target_h < 3.55))
    wishes = ("operators", "target_h", "redundancy")
    monkeypatch.setattr(giving, "LEVERS", [a for a in LEVERS if a.wish in wishes])
    monkeypatch.setattr(giving, "late", lambda search, one: frozenset(
        names if one[0] == "operators" or one[1] < 13 else ()
    ))  # fmt: skip
    (give,) = gives(brief, RULES, now)
    assert give.words == "milking 3.6 h instead of 2"
    assert {b.operators for b in asked} == {brief.operators}
    assert [b.target_h for b in asked[1:]] == [3.4, 3.5, 3.6, 3.6]


def test_stalls_and_turn_are_settled_before_all_else(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a wish changed step by step kept the turn, or the stalls, of the step before:
    hours that do were passed over."""
    brief = read_brief_text(SMALL.replace("rows\nrows: 2", "rotary").replace("3.0", "1.5")).brief
    want = intent_of(brief, RULES)
    monkeypatch.setattr(drafting, "laid_out", lambda plant: plant)
    monkeypatch.setattr("byrewright.studies.sizing.size", lambda *_: NOTHING)
    fresh = settle(want, RULES)
    other = {("PF1", "stalls"): Chosen(90.0, ""), ("PF1", "turn_s"): Chosen(900.0, "")}
    again = settle(want, RULES, replace(fresh, sizes=other))
    decks = [s.plant.equipment["PF1"] for s in (fresh, again)]
    assert decks[0] == decks[1] and again.want.stalls == fresh.want.stalls
    assert getattr(decks[0], "stalls") == fresh.want.stalls < 90  # noqa: B009
    assert not any(n.startswith(giving.LATE) for n in {f.name for f in fails(pace(again.plant))})


def test_late_is_what_sizing_says_of_the_hours(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if the quick look at hours refused a step that the draft's own sizing passes."""
    monkeypatch.setattr(drafting, "laid_out", lambda plant: plant)
    monkeypatch.setattr(drafting, "MOST_LAYOUTS", 1)
    monkeypatch.setattr(drafting, "GUESSED_ROUNDS", 1)
    for hours in (0.4, 3.0):
        brief = read_brief_text(SMALL.replace("target_h: 3.0", f"target_h: {hours}")).brief
        whole = settle(intent_of(brief, RULES), RULES)
        search = giving._Search(brief, RULES, Closing(whole), giving.Telling(None), None)
        seen = giving.late(search, ("target_h", -1))
        told = {f.name for f in fails(whole.sizing) if f.name.startswith(giving.LATE)}
        assert {n for n in seen if n.startswith(giving.LATE)} == told, hours
        assert bool(seen) is (hours == 0.4)


def test_a_step_that_sizing_refutes_is_asked_of_no_other_study(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would fail if the search followed through the day what sizing shows to be too little; or told
    a finding that nobody was asked for as mended."""
    short = Finding("throughput.finished", "", "", 2.0, "h", "", "fails", margin=-0.5)
    asked: list[str] = []

    def ask(plant: Plant, rules: Rulebook) -> Result:
        asked.append("day")
        return Result("day", "", ())

    sizing = Result("sizing", "", (short,))
    monkeypatch.setattr(closing, "settle", lambda *_: replace(small(), sizing=sizing))
    monkeypatch.setattr(closing, "checks", lambda: (Check("day", False, ask),))
    brief = read_brief_text(SMALL).brief
    needs = frozenset({"throughput.finished"})
    then = close(brief, RULES, needs=needs)
    assert not asked and [f.key for f in then.open] == ["throughput.finished"]
    late = replace(short, key="day.milking_on_time")
    now = replace(close(brief, RULES), open=(short, late))
    step = Step("more", lambda b: b)
    search = giving._Search(brief, RULES, now, giving.Telling(None), None)
    found = search.outcome(step, None, needs=needs)
    assert found.cut_short and not found.mended
    assert close(brief, RULES).asked.keys() == {"sizing", "day"}


def test_two_wishes_about_one_part_of_the_brief_are_both_in_what_is_proven(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would fail if the words named two changes of the supply and only one of them were drafted."""
    supply = "supply: {phases: 3, limit_kva: 40, fault_kva: 300}\n"
    brief = read_brief_text(SMALL + supply).brief
    now, asked = told_by(monkeypatch, brief, lambda b: {
        "power.demand": b.supply is not None and (b.supply.limit_kva or 0) < 60,
        "power.mains_dip": b.supply is not None and (b.supply.fault_kva or 0) < 400,
    })  # fmt: skip
    found = {g.wish: g for g in gives(brief, RULES, now)}
    both = found["supply+fault_kva"]
    assert both.mends == {"power.demand", "power.mains_dip"}
    for then in (asked[-1].supply, both.change(brief).supply):
        assert then is not None and (then.limit_kva, then.fault_kva) == (60.0, 400.0)


def test_of_wishes_that_give_together_one_goes_further_where_another_asks_more_of_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would fail if a farm were told only parts of what closes its draft, as a tank that is emptied
    daily draws more than the supply that is enough for one emptied every other day."""
    more = (
        SMALL
        + """\
supply: {phases: 3, limit_kva: 40}
collections: [{at: "09:00", tanker_l: 9000, every_days: 2}]
"""
    )
    brief = read_brief_text(more).brief

    def bad(b: Brief) -> dict[str, bool]:
        daily = b.collections[0].every_days == 1
        asks = 75 if daily else 60
        return {"power.demand": b.supply is not None and (b.supply.limit_kva or 0) < asks,
                "storage.sold": not daily}  # fmt: skip

    monkeypatch.setattr(
        giving, "LEVERS", [a for a in LEVERS if a.wish in ("supply", "collections")]
    )
    now, _ = told_by(monkeypatch, brief, bad)
    found = {g.wish: g for g in gives(brief, RULES, now)}
    then = found["supply+collections"].change(brief)
    assert then.supply is not None and then.supply.limit_kva == 75
    assert not any(bad(then).values())
    assert found["supply"].words == "supply 60 kVA instead of 40"


def test_fewer_cows_or_milkings_are_named_only_where_no_other_wish_mends(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would fail if a herd beyond what one parlour milks were told of nothing that may give, or a
    farm were told to sell cows where one more person milks them."""
    brief = read_brief_text(
        SMALL.replace('["05:00", "17:00"]', "3").replace("cows: 240", "cows: 243\ngroups: 2")
    ).brief
    monkeypatch.setattr(
        giving, "LEVERS", [a for a in LEVERS if a.wish in ("operators", "milkings", "cows")]
    )
    for helped in (False, True):
        now, _ = told_by(monkeypatch, brief, lambda b, helped=helped: {  # type: ignore[misc]
            "throughput.finished": b.cows > 200 and len(b.milkings) > 2
            and not (helped and b.operators > 2),
        })  # fmt: skip
        found = {g.wish: g for g in gives(brief, RULES, now)}
        assert set(found) == ({"operators"} if helped else {"milkings"}), found
    now, _ = told_by(monkeypatch, brief, lambda b: {"throughput.finished": b.cows > 200})
    found = {g.wish: g for g in gives(brief, RULES, now)}
    assert found["cows"].words == "200 cows in this parlour instead of 243"
    fewer = found["cows"].change(brief)
    assert [g.cows for g in fewer.groups] == [100, 100] and fewer.withheld_cows <= 4
    Brief.model_validate(fewer.model_dump(by_alias=True))
    (lever,) = [a for a in LEVERS if a.wish == "milkings"]
    once = [s.words for s in lever.steps(brief, now)]
    assert once[0] == "2 milkings a day of 4.5 h instead of 3 of 3 h"


def test_hours_that_more_stalls_do_not_mend_end_the_search_of_a_step(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would fail if a step whose milking ends too late were followed through more rounds because
    something else can be mended; or if one that stalls mend were given up."""
    stalls = Remedy("PF1", "stalls", 60.0, "ends in time")
    wash = Remedy("cleaning", "hot_c", 83.0, "came back cold")
    late = Finding("day.milking_on_time", "m", "", 2.0, "h", "", "fails", margin=-0.5)
    cold = Finding("day.wash_return", "", "", 52.0, "degC", "", "fails", remedies=(wash,))
    monkeypatch.setattr(closing, "settle", lambda *_: replace(small(), sizing=NOTHING))
    brief = read_brief_text(SMALL).brief
    for mends, rounds in (((), 0), ((stalls,), 1)):
        result = Result("day", "", (replace(late, remedies=mends), cold))
        monkeypatch.setattr(
            closing, "checks", lambda result=result: (Check("day", False, lambda *_: result),)
        )
        then = close(brief, RULES, needs=frozenset({late.name}))
        assert then.cut_short and max((c.round for c in then.changes), default=0) == rounds


def test_what_was_asked_of_the_same_plant_is_not_asked_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would fail if a proof asked once more what the search had asked of that very plant; or if
    what another plant was asked were taken for it."""
    asked: list[str] = []

    def check(name: str) -> Check:
        return Check(name, False, lambda *_: asked.append(name) or Result(name, "", ()))

    monkeypatch.setattr(closing, "checks", lambda: (check("day"), check("vacuum")))
    plants = [small().plant, small().plant, small().plant.model_copy(update={"pipes": ()})]
    monkeypatch.setattr(
        closing, "settle", lambda *_: replace(small(), plant=plants.pop(0), sizing=NOTHING)
    )
    brief = read_brief_text(SMALL).brief
    first = close(brief, RULES, only=("vacuum",))
    second = close(brief, RULES, start=first)
    assert asked == ["vacuum", "day"] and set(second.asked) == {"sizing", "day", "vacuum"}
    close(brief, RULES, start=second, only=("vacuum", "day"))
    assert asked == ["vacuum", "day", "vacuum", "day"]


def test_a_large_motor_on_one_phase_asks_for_three() -> None:
    """Would fail if a farm with one phase were told that no wish may give, or a stronger supply of
    one phase were tried for it."""
    brief = read_brief_text(SMALL + "supply: {phases: 1, voltage_v: 230, limit_kva: 40}\n").brief
    (lever,) = [a for a in LEVERS if "power.single_phase".startswith(a.mends)]
    (step,) = lever.steps(brief, Closing(small()))
    then = step.change(brief).supply
    assert then is not None and (then.phases, then.voltage_v, then.limit_kva) == (3, 400.0, 40.0)
    assert step.words == "three phases of 400 V instead of one of 230 V"
    split = read_brief_text(SMALL + "region: US\nsupply: {phases: 1, limit_kva: 40}\n").brief
    (step,) = lever.steps(split, Closing(small()))
    assert step.words == "three phases of 480 V instead of one of 240 V"
    assert lever.steps(step.change(brief), Closing(small())) == []


def test_a_wish_that_mends_a_part_is_not_tried_at_every_step(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would fail if the search went on after the farthest step had shown what a wish can mend; or
    if the proof drafted again from the start what the search had drafted."""
    brief = read_brief_text(SMALL + "supply: {phases: 3, limit_kva: 40}\n").brief
    monkeypatch.setattr(giving, "LEVERS", [a for a in LEVERS if a.wish == "supply"])
    now, asked = told_by(monkeypatch, brief, lambda b: {
        "power.demand": b.supply is not None and (b.supply.limit_kva or 0) < 60,
        "power.board": True,
    })  # fmt: skip
    before, starts = giving.close, []

    def seen(brief: Brief, *rest: object, **more: object) -> Closing:
        starts.append(more["start"])
        return before(brief, *rest, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(giving, "close", seen)
    (give,) = gives(brief, RULES, now)
    assert give.words == "supply 60 kVA instead of 40"
    limits = [b.supply.limit_kva for b in asked[1:] if b.supply is not None]
    assert limits == [120, 80, 60, 50, 55, 60]
    assert starts[0] is now and starts[-1] is not now


def test_more_visits_and_larger_tankers_are_joined_in_either_order() -> None:
    """Would fail if the later of two changes of the collections took the earlier one back."""
    brief = read_brief_text(SMALL).brief
    visits, tankers = (
        next(a for a in LEVERS if a.wish == wish).steps(brief, Closing(small()))[-1]
        for wish in ("collections", "tanker_l")
    )
    largest = max(c.tanker_l for c in tankers.change(brief).collections)
    assert largest > max(c.tanker_l for c in brief.collections)
    for steps in ([visits, tankers], [tankers, visits]):
        then = joined(steps).change(brief).collections
        assert len(then) == len(brief.collections) + 2
        assert {c.tanker_l for c in then} == {largest}


def test_a_wish_that_mends_nothing_that_is_left_is_not_joined(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would fail if a farm were told to change two wishes where the second adds nothing."""
    brief = read_brief_text(SMALL).brief
    now, asked = told_by(monkeypatch, brief, lambda b: {
        "throughput.finished": b.operators < 4 and b.target_h < 3.4,
        "routes.never": not (b.operators > 2 and b.target_h > 3.0),
    })  # fmt: skip
    assert {g.wish for g in gives(brief, RULES, now)} == {"operators", "target_h"}
    assert not any(b.operators > 2 and b.target_h > 3.0 for b in asked)


def test_what_no_size_mends_has_a_wish_that_gives() -> None:
    """Would fail if a drop that no bore mends, or water that stays in a long line to the tanker
    bay, were left without a wish to ask the farm for."""
    brief = read_brief_text(SMALL + "direct_loading: true\n").brief
    now = Closing(small())
    for name in ("vacuum.drop.pump", "vacuum.test.drop_pump_1", "milkline.capacity"):
        assert any(name.startswith(a.mends) and a.steps(brief, now) for a in LEVERS), name
    (tank,) = [a for a in LEVERS if a.wish == "direct_loading"]
    (step,) = tank.steps(brief, now)
    assert "wash.standing".startswith(tank.mends) and not step.change(brief).direct_loading
    assert tank.steps(step.change(brief), now) == []


EDGE = """\
supply: {phases: 3, limit_kva: 4000, fault_kva: 800000}
cleaning: {end_c: 34}
collections: [{at: "09:00", tanker_l: 50000, every_days: 2}]
water_source: {flow_l_min: 8000}
milk_out_c: 33
go_round_share: 0.075
"""


def test_no_step_goes_beyond_what_a_brief_can_state() -> None:
    """Would fail if a wish near the end of its range ended the search in a traceback, or if a
    supply were proposed that the brief's own reader refuses."""
    brief = read_brief_text(SMALL + EDGE).brief
    words = {}
    for lever in LEVERS:
        steps = lever.steps(brief, Closing(small()))
        words[lever.wish] = [s.words for s in steps]
        for step in steps:
            then = step.change(brief)
            Brief.model_validate(then.model_dump(by_alias=True))
    assert [w.partition(" degC")[0].rpartition(" ")[2] for w in words["end_c"]] == [
        "33", "32", "31", "30",
    ]  # fmt: skip
    assert words["supply"] and words["fault_kva"] and words["tanker_l"] and words["water_source"]
    assert [len(words[wish]) for wish in ("milk_out_c", "collections")] == [3, 3]
    assert words["vacuum_kpa"][0] == "a vacuum of 41 kPa instead of 42"
    assert words["vacuum_kpa"][-1] == "a vacuum of 30 kPa instead of 42"
    rows = read_brief_text(EDGE + "cows: 300\nyield_l_day: 26\n").brief
    (rounds,) = [a for a in LEVERS if a.wish == "go_round_share"]
    assert rounds.steps(rows, Closing(small()))[0].words == (
        "8 % of the cows going round twice instead of 7.5 %"
    )


def test_a_figure_with_which_no_machine_is_made_is_taken_back(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would fail if one remedy gone too far refused the whole brief, or were tried for ever."""
    asks = Remedy("WH1", "volume_l", 1e6, "it ran dry")
    one = Finding("asks", "WH1", "", None, "L", "WH1 ran dry.", "fails", remedies=(asks,))
    monkeypatch.setattr(closing, "settle", begun)
    check = Check("asks", False, lambda plant, rules: Result("asks", "", (one,)))
    monkeypatch.setattr(closing, "checks", lambda: (check,))
    now = close(read_brief_text(SMALL).brief, RULES)
    assert one in now.open and now.refused == {("WH1", "volume_l")}
    assert not now.held and not now.changes


@pytest.mark.usefixtures("quick")
def test_a_figure_that_grows_in_vain_is_drafted_as_it_was(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a remedy that does not help were repeated until the machine is a monster, which
    then fails its boards and supply."""
    asking(monkeypatch, of="WH1", figure="heater_kw", times=3.0)
    now = close(read_brief_text(SMALL).brief, RULES)
    assert now.settled.plant.equipment["WH1"] == small().plant.equipment["WH1"]
    assert [f.key for f in now.open if f.key == "asks"] and not now.changes


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize("times", [1.5, 5.0])
def test_what_is_told_of_the_last_round_is_what_the_plant_has(
    monkeypatch: pytest.MonkeyPatch, times: float
) -> None:
    """Would fail if the last round told a change that was never settled, or took back a figure, as
    of no use, that the plant it returns still has."""
    asking(monkeypatch, of="WH1", figure="heater_kw", times=times)
    monkeypatch.setattr(closing, "MOST_ROUNDS", 2)
    now = close(read_brief_text(SMALL).brief, RULES)
    has = getattr(now.settled.plant.equipment["WH1"], "heater_kw")  # noqa: B009
    assert has == times * getattr(small().plant.equipment["WH1"], "heater_kw")  # noqa: B009
    assert [(c.round, c.to) for c in now.changes if c.of == "WH1"] == [(1, has)]
    assert now.held["WH1", "heater_kw"].value == has and now.first


def test_a_figure_that_began_at_nothing_is_not_many_times_what_it_was() -> None:
    """Would fail if the first remedy of a figure that was 0 were given up before it is tried."""
    target = ("VP1", "gain_per_kpa")
    asks = Finding("asks", "VP1", "", 30.0, "", "", "fails", margin=-0.25)
    now = Closing(small(), {target: Chosen(0.6, "")}, open=(asks,))
    for before, given_up in ((0.0, set()), (0.1, {target})):
        now.first = {target: First(before, asks.name, 0.25)}
        assert closing._of_no_use(now) == given_up


WEAK = "supply: {phases: 3, limit_kva: 80, fault_kva: 300}\n"


@pytest.mark.usefixtures("quick")
def test_a_start_that_dips_a_weak_supply_is_made_by_a_drive() -> None:
    """Would fail if the mains' dip were told and nothing came of it."""
    now = close(read_brief_text(SMALL + WEAK).brief, RULES)
    dip = next(f for f in now.settled.sizing.findings if f.key == "power.mains_dip")
    assert [(c.figure, c.to) for c in now.changes] == [("start", "drive")] and now.closes
    assert dip.value is not None and dip.value <= 6.0 and "(stated)" in dip.sentence


@pytest.mark.usefixtures("quick")
def test_a_supply_too_weak_for_any_start_has_to_give(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if such a supply were not named with the short-circuit power that does."""
    monkeypatch.setattr(giving, "LEVERS", [a for a in LEVERS if a.wish == "fault_kva"])
    brief = read_brief_text(SMALL + WEAK.replace("300", "200")).brief
    now = close(brief, RULES)
    assert [f.key for f in now.open] == ["power.mains_dip"]
    (give,) = gives(brief, RULES, now)
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


STATED = "cleaning: {hot_c: 62, steps: [rinse, hot, acid rinse]}\n"


@pytest.mark.usefixtures("quick")
def test_a_wash_that_the_brief_states_is_kept_and_told_as_what_would_have_to_give(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would fail if a stated temperature or list of steps were drafted otherwise, if what the brief
    leaves open were not mended, or if nobody said which stated figure does not do."""

    def ask(plant: Plant, rules: Rulebook) -> Result:
        wash = plant.cleaning
        asks = {
            "wash.end_temperature": (wash.hot_c < 70, Remedy("cleaning", "hot_c", 71.0, "")),
            "day.milk_wash": (
                wash.steps[-1] != "last rinse", Remedy("cleaning", "last_step", "last rinse", "")
            ),
            "day.wash_dry": (
                wash.water_l_unit < 14, Remedy("cleaning", "water_l_unit", 14.0, "")
            ),
        }  # fmt: skip
        found = [Finding(key, "", key, None, "", key, "fails", remedies=(remedy,))
                 for key, (bad, remedy) in asks.items() if bad]  # fmt: skip
        return Result("asks", "", tuple(found))

    def washed(want: Intent, *given: object) -> Settled:
        plant = small().plant.model_copy(update={"cleaning": want.cleaning})
        return replace(small(), want=want, plant=plant, sizing=Result("sizing", "", ()))

    monkeypatch.setattr(closing, "settle", washed)
    monkeypatch.setattr(closing, "checks", lambda: (Check("asks", False, ask),))
    brief = read_brief_text(SMALL + STATED).brief
    now = close(brief, RULES)
    wash = now.settled.plant.cleaning
    assert (wash.hot_c, wash.steps, wash.water_l_unit) == (62, ("rinse", "hot", "acid rinse"), 14)
    assert {f.key for f in now.open} == {"wash.end_temperature", "day.milk_wash"}
    found = {g.wish: g.words for g in gives(brief, RULES, now)}
    assert found == {
        "hot_c": "a hot wash of 70 degC instead of 62",
        "steps": "a last rinse after 'acid rinse'",
        "hot_c+steps": "a hot wash of 70 degC instead of 62 together with "
        "a last rinse after 'acid rinse'",
    }
    assert close(read_brief_text(SMALL).brief, RULES).settled.plant.cleaning.hot_c == 80


def test_what_small_plants_are_asked_for_stands_in_their_modes() -> None:
    """Would fail if a draft told that it turned a divert, or rinses with fresh water, and its modes
    did neither."""
    held = {
        ("V40", "in_drain_down"): Chosen("to_b", ""),
        ("LP3", "in_rinse"): Chosen("stopped", ""),
    }
    want = intent_of(read_brief_text(SMALL).brief, RULES)
    before, after = (lay_out(w, {})[0] for w in (want, wanted(want, held)))
    at = {n: (p.position("drain_down", "V40"), p.position("rinse", "LP3"),
              p.position("rinse", "V61"), p.position("wash", "V61"))
          for n, p in (("before", before), ("after", after))}  # fmt: skip
    assert at == {"before": ("to_c", "runs", "closed", "closed"),
                  "after": ("to_b", "stopped", "open", "closed")}  # fmt: skip
    assert after.position("last_rinse", "V61") == "open"


def test_rows_have_no_fewer_stalls_than_are_usual() -> None:
    """Would fail if few cows and many hours made a parlour of four stalls whose pipes are sized for
    more: its wash comes back cold."""
    few = settle(intent_of(read_brief_text(FEW).brief, RULES), RULES)
    assert few.want.stalls == 8
    assert [getattr(few.plant.equipment["PF1"], "stalls"),  # noqa: B009
            getattr(few.plant.equipment["MU1"], "count")] == [8, 8]  # noqa: B009  # fmt: skip
    asked = few.sizing.finding("wash.standing")
    assert ("V40", "in_drain_down") in {(r.of, r.figure) for r in asked.remedies}
    short = few.sizing.finding("water.recovered")
    assert [(r.of, r.figure, r.to) for r in short.remedies] == [("LP3", "in_rinse", "stopped")]
    fresh = settle(wanted(few.want, {("LP3", "in_rinse"): Chosen("stopped", "")}), RULES, few)
    assert fresh.sizing.finding("water.recovered").verdict != "fails"


def test_every_round_is_told_and_can_be_stopped(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a long draft ran in silence, or a stop were not heard."""
    told: list[str] = []

    def say(what: str, done: int, total: int) -> bool:
        assert 0 <= done <= total
        told.append(what)
        return len(told) == 3

    monkeypatch.setattr(closing, "settle", sized_once)
    with pytest.raises(Cancelled):
        closed_draft(read_brief_text(SMALL), RULES, say=say)
    assert told[0] == "round 1: sizing" and "day, coldest month" in told[1]


def test_what_was_changed_alike_is_told_in_one_line() -> None:
    """Thirty valves that get a sensor would fill the screen, in the words of the file."""
    made = [
        closing.Change(2, "V11", "sensed", True, "seen", "a"),
        closing.Change(2, "V19", "sensed", True, "seen", "a"),
        closing.Change(2, "L109", "bore_mm", 85.0, "less drop", "b"),
        closing.Change(2, "L109", "bore_mm", 98.0, "less drop", "b"),
        closing.Change(3, "VP2", "in_milking", "runs", "keeps the cups on", "c"),
    ]
    assert closing.told_of(made) == [
        "round 2, V11, V19: position sensor (seen)",
        "round 2, L109: bore_mm 98 (less drop)",
        "round 3, VP2: runs in milking (keeps the cups on)",
    ]


def test_a_draft_lays_out_its_plan_itself() -> None:
    """Drafting would hold a figure of the plan that no machine has, and tell of a change that it
    did not make."""
    told = (Remedy("place.rooms.milk", "height_m", 3.0, "room"), Remedy("L1", "by", (), "no way"),
            Remedy("place.machines.TK1", "at", (1.0, 2.0), "free"))  # fmt: skip
    one = Finding("place.height", "", "", 0.0, "m", "", "fails", margin=-1.0, remedies=told)
    now = closing.Closing(small(), open=(one,))
    assert closing._mend(now, 1) == {}
    assert now.changes == []
