"""Draft a plant: lay it out, size it, take the sizes over, until nothing changes any more.

That is the quick draft. `close` goes on from it until every other study holds, too.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from byrewright.drafting.intent import CLOCK_ROUND_H, Cold, Intent
from byrewright.drafting.sheet import Choices, Chosen, Sheet
from byrewright.drafting.topology import lay_out
from byrewright.plant.farm import MOST_USUAL_STALLS, Cleaning, hardness_mmol_l
from byrewright.plant.plant import Pipe, Plant
from byrewright.plant.problems import BriefError, problem
from byrewright.plant.sited import laid_out
from byrewright.plant.write import plant_to_text
from byrewright.results import Assumption, Finding, Result
from byrewright.standards.rulebook import default_rulebook
from byrewright.standards.water import CACO3_MG_MMOL

if TYPE_CHECKING:
    from byrewright.drafting.close import Change
    from byrewright.plant.brief import Brief, BriefFile
    from byrewright.standards.rulebook import Rulebook

MOST_ROUNDS, MOST_LAYOUTS, GUESSED_ROUNDS = 12, 6, 4
"""Most rounds of sizing between two layouts, most layouts, and rounds on guessed lengths."""
FOLLOWS_VOLUME = frozenset({"led_at_l", "start_at_l", "stop_at_l", "agitator_kw"})
"""What goes with a vessel's volume: the largest that it was may be of a vessel that was larger."""
COWS_A_STALL_HOUR = 6.0
ROWS_COWS_A_STALL_HOUR = 4.0
"""Cows a stall and hour for the first guess of stalls; the sizing study then chooses."""
STALLS = ("PF1", "stalls")
FEWEST_STALLS = {"rotary": 24, "rows": 8}
"""Fewest stalls that are proposed: under a smaller deck receiver, pumps and header have no room; of
fewer units than two rows of four the lines take more heat from the wash than it brings."""
ICE_BANK_FROM_L_DAY = 6000.0
"""Milk a day from which an ice bank is proposed where nothing is said (common practice)."""
LARGEST_TANK_L = 40000.0
MOST_TANKS = 4
"""Largest usual tank or silo on a farm, and most that the drafter lays out."""
HOTTEST_WASH_C = 85.0
HOT_WHY = {"cleaning.hot_c": "80 degC would come back too cold; 80-85 degC is usual"}
"""Hottest wash that is drafted (upper end of the usual range), and the reason written behind it."""
COLD: Mapping[str, Cold] = {
    "ice_bank": "ice_bank",
    "direct_expansion": "direct_expansion",
    "chilled_water": "chilled_water",
    "glycol": "chilled_water",
    "inline_and_silo": "inline",
}
"""The brief's words for cooling, as structure."""
CHILLED_C, GLYCOL_C = 1.0, -2.0
"""What chillers send out: the usual, and where a brief wishes glycol (common practice)."""


Turns = dict[tuple[str, str], set[Any]]
"""Values that a figure has had, by the tag and the field it belongs to."""


@dataclass(frozen=True, slots=True)
class Draft:
    """A drafted plant: the model, its file text with reasons, its sizing, and what was assumed."""

    plant: Plant
    text: str
    sizing: Result
    assumptions: tuple[Assumption, ...]
    rounds: int
    held_by: tuple[str, ...] = ()
    """The checks that were asked beside sizing; none in a quick draft."""
    changes: tuple[Change, ...] = ()
    """Figures changed because another study asked for it, round by round."""
    open: tuple[Finding, ...] = ()
    """What still fails."""
    unjudged: tuple[Finding, ...] = ()
    """What no study could judge, each once: an input or a rule is missing."""
    gives: tuple[str, ...] = ()
    """Wishes of which one would have to give, each with the least change that was proven."""


@dataclass(frozen=True, slots=True)
class Settled:
    """A plant whose sizes no longer change: what was wanted, the sizes, and the sizing study."""

    want: Intent
    plant: Plant
    sheet: Sheet
    sizing: Result
    sizes: Choices
    rounds: int
    why: Mapping[str, str]
    """Reasons of figures that belong to no machine."""
    settles: bool = True
    """Whether sizes and lengths of pipes agree; False where layouts ran out before they did."""
    turns: Turns = field(default_factory=dict)
    """Sizes that took turns with the one that was kept: nothing new when they are advised again."""

    def loose(self) -> tuple[Assumption, ...]:
        """What the draft rests on where sizes and lengths still take turns."""
        if self.settles:
            return ()
        return (Assumption(
            "pipes", "layouts after which sizes and lengths of pipes still took turns; the "
            "findings are of the last one", MOST_LAYOUTS, "", "another layout may give other bores",
        ),)  # fmt: skip


def draft_plant(brief_file: BriefFile, rules: Rulebook | None = None) -> Draft:
    """The plant of a brief, every size from the sizing study alone.

    Raises:
        ByrewrightError: the brief asks for something that cannot be drafted.
    """
    region_held(brief_file, rules or default_rulebook())
    found = settle(intent_of(brief_file.brief, rules), rules)
    return Draft(
        found.plant, text_of(found, brief_file), found.sizing,
        (*brief_file.assumptions, *found.loose()), found.rounds,
    )  # fmt: skip


def text_of(found: Settled, brief_file: BriefFile) -> str:
    """The plant file of a settled draft, with the reason behind every number."""
    reasons = dict(found.sheet.comments) | dict(found.why) | _brief_comments(brief_file)
    return plant_to_text(found.plant, reasons)


def settle(
    want: Intent, rules: Rulebook | None = None, start: Settled | None = None,
    held: Choices | None = None,
) -> Settled:  # fmt: skip
    """Size in turns until no size changes, lay the pipes, and again until no length does either.

    Args:
        start: a like plant whose sizes and lengths are taken to begin with; guesses when None.
        held: figures that other studies ask for: at least that, or at most where `Chosen.most`.
    """
    from byrewright.studies.sizing import size

    held = dict(held or {})
    sizes = dict(start.sizes) if start else {}
    known = start.plant if start else None
    want = _at_stalls(want, _kept(want, sizes, held))
    lengths = {p.id: p for p in start.plant.pipes} if start else {}
    warm: Mapping[str, str] = {}
    if start and start.why and "hot_c" not in want.cleaning.model_fields_set:
        want, warm = _with_hottest_wash(want), start.why
    turns: Turns = {t: set(had) for t, had in start.turns.items()} if start else {}
    met: Turns = {t: set(had) for t, had in turns.items()}
    want, sizes, _ = paced(want, rules, sizes, held, lengths)
    turn, settles = 0, True
    for _layout in range(MOST_LAYOUTS):
        for _round in range(MOST_ROUNDS if lengths else GUESSED_ROUNDS):
            turn += 1
            plant, sheet = lay_out(want, _kept(want, sizes, held), lengths)
            if others := renumbered(known, plant):
                sizes, held = _without(others, sizes), _without(others, held)
                met.clear()
                turns.clear()
                plant, sheet = lay_out(want, _kept(want, sizes, held), lengths)
            known = plant
            result = size(plant, rules)
            fresh = _advice(result, sizes, met, turns)
            if _same(fresh, sizes):
                hotter = _hotter(want, result)
                if hotter is None:
                    break
                want, warm = hotter, HOT_WHY
            sizes = fresh
            want = _at_stalls(want, _kept(want, sizes, held))
        plant = laid_out(plant)
        if all(_laid_alike(p, lengths.get(p.id)) for p in plant.pipes):
            break
        lengths = {p.id: p for p in plant.pipes}
    else:
        result, settles = size(plant, rules), False
    return Settled(want, plant, sheet, result, sizes, turn, warm, settles, turns)


def paced(
    want: Intent, rules: Rulebook | None, sizes: dict[tuple[str, str], Chosen], held: Choices,
    lengths: Mapping[str, Pipe] | None = None,
) -> tuple[Intent, dict[tuple[str, str], Chosen], Result]:  # fmt: skip
    """The intent and sizes with the stalls and the turn that the cows ask for, and what is said of
    them. All else follows these and they follow nothing else, so they are settled first, by that
    topic of sizing alone."""
    from byrewright.studies.sizing import pace

    for _round in range(MOST_ROUNDS):
        plant, _ = lay_out(want, _kept(want, sizes, held), lengths)
        result = pace(plant, rules)
        fresh = _advice(result, sizes, {}, {})
        if _same(fresh, sizes):
            break
        sizes = fresh
        want = _at_stalls(want, _kept(want, sizes, held))
    return want, sizes, result


def _at_stalls(want: Intent, kept: Choices) -> Intent:
    """The intent with the stalls that the sizes ask for, where the brief leaves them open."""
    stalls = kept.get(STALLS)
    if stalls is None or want.stalls_given:
        return want
    return replace(want, stalls=max(FEWEST_STALLS[want.layout], round(float(stalls.value))))


def renumbered(old: Plant | None, new: Plant) -> set[str]:
    """Tags by which a plant of another structure means other pipes: their sizes are not theirs."""
    before = {p.id: (p.start, p.end) for p in old.pipes} if old else {}
    return {p.id for p in new.pipes if before.get(p.id, (p.start, p.end)) != (p.start, p.end)}


def _without(tags: set[str], chosen: Choices) -> dict[tuple[str, str], Chosen]:
    return {target: choice for target, choice in chosen.items() if target[0] not in tags}


def _laid_alike(pipe: Pipe, old: Pipe | None) -> bool:
    fields = ("start", "end", "length_m", "rise_m", "fittings", "profile")
    return old is not None and all(getattr(pipe, f) == getattr(old, f) for f in fields)


def region_held(brief_file: BriefFile, rules: Rulebook) -> None:
    """Refuse a region whose milk-temperature rule nobody has."""
    region, held = brief_file.brief.region, rules.regions_held
    if region.casefold() not in {r.casefold() for r in held}:
        line, column = brief_file.source.lines().get("region", (0, 0))
        raise BriefError([problem(
            "F033", file=brief_file.name, line=line, column=column, key="region", found=region,
            allowed=", ".join(held),
        )])  # fmt: skip


def _hotter(want: Intent, result: Result) -> Intent | None:
    """The same with the hottest usual wash, where long lines bring it back too cold and the brief
    leaves the temperature open; None where nothing is to be changed."""
    cold = any(f.key == "wash.end_temperature" and f.verdict == "fails" for f in result.findings)
    if not cold or "hot_c" in want.cleaning.model_fields_set:
        return None
    return _with_hottest_wash(want)


def _with_hottest_wash(want: Intent) -> Intent:
    return replace(want, cleaning=want.cleaning.model_copy(update={"hot_c": HOTTEST_WASH_C}))


def _kept(want: Intent, sizes: Choices, held: Choices) -> dict[tuple[str, str], Chosen]:
    """The sizes, with those that other studies ask for in place of what falls short of them; rows
    have no fewer stalls than are usual, though few cows and many hours would do with less."""
    kept = dict(sizes)
    stalls = kept.get(STALLS)
    if stalls and not want.rotary and stalls.value < FEWEST_STALLS["rows"]:
        kept[STALLS] = Chosen(float(FEWEST_STALLS["rows"]), "fewest that are drafted in rows")
    for target, choice in held.items():
        now = kept.get(target)
        if now is None or not isinstance(choice.value, float) or (
            now.value > choice.value if choice.most else now.value < choice.value
        ):  # fmt: skip
            kept[target] = choice
    return kept


def _advice(
    result: Result, before: Choices, met: Turns, turns: Turns
) -> dict[tuple[str, str], Chosen]:
    """The sizes the findings advise; where several speak of one field, the largest, and where
    sizes take turns, the largest of these (of a way round a cooler, the narrowest): `met` are those
    that each field has had, and into `turns` goes what was advised in vain."""
    advised: dict[tuple[str, str], Chosen] = {}
    for one in result.findings:
        if one.target is None or one.advised is None:
            continue
        choice = Chosen(one.advised, one.advised_why or one.title)
        held = advised.get(one.target)
        if held is None or choice.value > held.value:
            advised[one.target] = choice
    narrow = {f.target for f in result.findings if f.key == "wash.cooler_flow"}
    merged = dict(before) | advised
    for target, choice in before.items():
        if target[1] in FOLLOWS_VOLUME:
            continue
        had = met.setdefault(target, set())
        small = target in narrow
        fresh = merged[target].value
        if fresh in had and (fresh > choice.value if small else fresh < choice.value):
            turns.setdefault(target, set()).add(fresh)
            merged[target] = choice
        had.add(choice.value)
    return merged


def _same(a: Choices, b: Choices) -> bool:
    return a.keys() == b.keys() and all(a[k].value == b[k].value for k in a)


def _brief_comments(brief_file: BriefFile) -> dict[str, str]:
    """A reason behind each farm value that the brief left out."""
    return {a.where: f"assumed: {a.why}" for a in brief_file.assumptions}


def intent_of(brief: Brief, rules: Rulebook | None = None) -> Intent:
    """The structure a brief asks for: layout, stalls, cold, tanks."""
    milkings = brief.milkings_part()
    milk_l_day = brief.cows * brief.yield_l_day
    hours = sum(m.target_h for m in milkings)
    round_the_clock = hours >= CLOCK_ROUND_H
    cooling = brief.cooling or _cooling(milk_l_day, round_the_clock)
    return Intent(
        site=brief.site_part(),
        herd=brief.herd_part(),
        milkings=milkings,
        collections=brief.collections,
        work=brief.work_part(),
        cleaning=_cleaning(brief, rules or default_rulebook()),
        wishes=brief.wishes_part(),
        layout=brief.layout,
        rows=brief.rows,
        stalls=brief.stalls or _first_stalls(brief, hours),
        stalls_given=brief.stalls is not None,
        cold=COLD[cooling],
        recovery=brief.heat_recovery,
        coolant_c=GLYCOL_C if cooling == "glycol" else CHILLED_C,
        direct=brief.direct_loading,
        tanks=_tanks(brief, milk_l_day, round_the_clock),
        calf_l_day=brief.calf_milk_l_day,
        withheld=brief.withheld_cows > 0,
        vacuum_kpa=brief.vacuum_kpa,
        origin=brief.water_source.origin,
        source_l_min=brief.water_source.flow_l_min,
        stall_mass_kg=(rules or default_rulebook()).number("deck.concrete_per_stall_kg")
        if brief.deck == "concrete" and brief.layout == "rotary" else None,
        decided=brief.decided,
        rules=rules,
    )  # fmt: skip


def _cleaning(brief: Brief, rules: Rulebook) -> Cleaning:
    """How the plant is washed: with acid as often as hard water asks, where nothing is said."""
    stated, hard = brief.cleaning_part(), hardness_mmol_l(brief.site_part(), brief.cleaning_part())
    most = rules.number("wash.acid_hard_every_days")
    soft = hard is None or hard * CACO3_MG_MMOL <= rules.number("wash.hard_water_ppm")
    if soft or "acid_every_days" in stated.model_fields_set or stated.acid_every_days <= most:
        return stated
    return stated.model_copy(update={"acid_every_days": most})


def _cooling(milk_l_day: float, round_the_clock: bool) -> str:
    """What cools the milk where the brief does not say."""
    if round_the_clock:
        return "inline_and_silo"
    return "ice_bank" if milk_l_day > ICE_BANK_FROM_L_DAY else "direct_expansion"


def _tanks(brief: Brief, milk_l_day: float, round_the_clock: bool) -> int:
    """One buffer silo where milk goes straight to tankers; two tanks where one must be washed or
    collected while milk comes, or where no single tank may stop milking; otherwise as few as the
    largest usual tank allows."""
    if brief.direct_loading:
        return 1
    days = max(c.every_days for c in brief.collections)
    fewest = math.ceil(milk_l_day * days / LARGEST_TANK_L)
    wanted = 2 if round_the_clock or (brief.no_single_stop and brief.redundancy != "none") else 1
    return min(MOST_TANKS, max(fewest, wanted))


def _first_stalls(brief: Brief, hours: float) -> int:
    """A first guess of stalls; the sizing study then chooses."""
    cows_h = brief.cows * len(brief.milkings) / hours
    guess = cows_h / (COWS_A_STALL_HOUR if brief.layout == "rotary" else ROWS_COWS_A_STALL_HOUR)
    step = 2 * brief.rows
    return int(
        min(MOST_USUAL_STALLS, max(FEWEST_STALLS[brief.layout], step * math.ceil(guess / step)))
    )
