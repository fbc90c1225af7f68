"""A draft that closes: sized, then held to every other study, and mended until all of them hold.

Findings carry remedies (which figure of which machine, to what, why). Each round applies those of
the findings that fail and settles the sizes again. The studies that cost most are asked only when
the cheap ones hold. What no remedy mends is left open, and `gives` looks for the wish that would
have to give.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TYPE_CHECKING, Any

from byrewright.drafting.cores import Say, side_by_side, tell
from byrewright.drafting.draft import Settled, intent_of, renumbered, settle
from byrewright.drafting.intent import Intent
from byrewright.drafting.sheet import Choices, Chosen, DraftError
from byrewright.errors import ByrewrightError
from byrewright.plant.roles import Senses
from byrewright.results import Finding, Remedy, Result

if TYPE_CHECKING:
    from byrewright.plant.brief import Brief
    from byrewright.plant.plant import Plant
    from byrewright.standards.rulebook import Rulebook
    from byrewright.studies.routes.study import Routes

MOST_ROUNDS = 8
"""Rounds after which a draft is left as it is: the last asks every study and changes nothing."""
SEEDS = (1, 2, 3)
"""Days that a draft must stand, each with its own cows."""
IN_VAIN_TIMES, HELPS_SHARE = 4.0, 0.1
"""A figure that was made this many times what it was and mended less than this share of what was
short is of no use: it is drafted as it was."""
STEPS = 100
"""Steps that a draft is told in."""


@dataclass(frozen=True, slots=True)
class Check:
    """A study under one condition."""

    name: str
    dear: bool
    ask: Callable[[Plant, Rulebook], Result]


@dataclass(frozen=True, slots=True)
class Change:
    """A figure changed in a round, and the finding that asked for it."""

    round: int
    of: str
    figure: str
    to: float | str | bool
    why: str
    asked_by: str


def told_of(changes: Iterable[Change], beside: Callable[[Change], str] = lambda _: "") -> list[str]:
    """What was changed, a line for all that changed alike in one round for one reason. `beside`
    gives what is told beside a figure of the plant file, such as the same in other units."""
    alike: dict[tuple[int, str, str], list[str]] = {}
    for one in {(one.round, one.of, one.figure): one for one in changes}.values():
        to = f"{one.to:g}" if isinstance(one.to, float) else str(one.to)
        words = {
            "sensed": "position sensor", "sensor": f"{to} sensor", "in_milking": f"{to} in milking",
            "in_drain_down": f"{to} while draining down",
            "in_rinse": f"{to} in the first rinse", "lifts": "lifted while draining down",
        }.get(one.figure, f"{one.figure} {to}{beside(one)}")  # fmt: skip
        alike.setdefault((one.round, words, one.why), []).append(one.of)
    return [
        f"round {turn}, {', '.join(tags)}: {words} ({why})"
        for (turn, words, why), tags in alike.items()
    ]


@dataclass(frozen=True, slots=True)
class First:
    """A figure before it was mended, and by what share of its limit the finding fell short."""

    value: float
    finding: str
    short: float


@dataclass(slots=True)
class Closing:
    """A draft on its way: what is wanted, what other studies asked for, and what still fails."""

    settled: Settled
    held: dict[tuple[str, str], Chosen] = field(default_factory=dict)
    changes: list[Change] = field(default_factory=list)
    refused: set[tuple[str, str]] = field(default_factory=set)
    """Figures that are not to be asked for: the brief states them, or they led to a machine that
    is not made."""
    open: tuple[Finding, ...] = ()
    asked: dict[str, Result] = field(default_factory=dict)
    first: dict[tuple[str, str], First] = field(default_factory=dict)
    """Each figure that was asked for, as it was before."""
    routes: dict[str, Result] = field(default_factory=dict)
    """What the routes study said of each topology: sizes do not change it."""
    routed: dict[str, Routes] = field(default_factory=dict)
    """The study itself by topology without sensors, which do not change what positions do."""

    @property
    def closes(self) -> bool:
        """Whether nothing that was asked fails."""
        return not self.open

    @property
    def unjudged(self) -> tuple[Finding, ...]:
        """What no study could judge, each once."""
        told = (self.settled.sizing, *self.asked.values())
        found = {f.name: f for r in told for f in r.findings if f.verdict == "unknown"}
        return tuple(found.values())


def checks() -> tuple[Check, ...]:
    """Every study under every condition that a draft is held to, cheap ones first."""
    found = []
    for seed in SEEDS:
        for word in ("coldest month", "hardest month", "hot afternoon"):
            found.append(
                Check(f"day, {word}, cows of seed {seed}", seed > SEEDS[0], _day(word, seed))
            )
    found.append(Check("vacuum and its events", False, _vacuum))
    found.append(Check("the plan", False, _place))
    found.append(Check("routes", True, _routes))
    found.append(Check("single failures", True, _failures))
    return tuple(sorted(found, key=lambda c: c.dear))


def _day(word: str, seed: int) -> Callable[[Plant, Rulebook], Result]:
    def ask(plant: Plant, rules: Rulebook) -> Result:
        from byrewright.studies.day import run_day

        air, hardest = plant.site.ambient_c, plant.site.study_month
        month = air.index(min(air)) + 1 if word == "coldest month" else hardest
        return run_day(plant, rules, month=month, seed=seed, hot=word == "hot afternoon")

    return ask


def _vacuum(plant: Plant, rules: Rulebook) -> Result:
    from byrewright.studies.vacuum import study_vacuum

    return study_vacuum(plant, rules)


def _place(plant: Plant, rules: Rulebook) -> Result:
    from byrewright.studies.place import study_place

    return study_place(plant, rules, mend=False)


def _routes(plant: Plant, rules: Rulebook, known: dict[str, Routes] | None = None) -> Result:
    from byrewright.studies.routes.study import Routes, judged

    known = {} if known is None else known
    bare = topology(plant, sensors=False)
    study = Routes(plant, rules, like=known.get(bare))
    found = Result("routes", plant.site.name, tuple(judged(study)))
    known.setdefault(bare, study)
    return found


def _failures(plant: Plant, rules: Rulebook) -> Result:
    from byrewright.studies.failures.study import study_failures

    return study_failures(plant, rules, waits=True, service=False)


def fails(result: Result) -> tuple[Finding, ...]:
    """The findings of a result that do not hold."""
    return tuple(f for f in result.findings if f.verdict == "fails")


def close(
    brief: Brief, rules: Rulebook, *, say: Say | None = None, start: Closing | None = None,
    only: Iterable[str] | None = None, told: str = "", needs: frozenset[str] = frozenset(),
) -> Closing:  # fmt: skip
    """Draft and mend until every check holds, or nothing more can be mended.

    Args:
        start: a draft of a like brief, whose sizes and mended figures are taken to begin with.
        only: names of the checks to ask; all when None.
        told: words put before what is told.
        needs: names of findings of which each must hold: where sizing says that one does not, and
            nothing mends it, no other study is asked.

    Raises:
        Cancelled: `say` answered True.
        ByrewrightError: the brief asks for something that cannot be drafted.
    """
    every = [c for c in checks() if only is None or c.name in only]
    held = dict(start.held) if start else {}
    settled = start.settled if start else None
    changes: list[Change] = []
    known = (start.routes, start.routed) if start else ({}, {})
    refused = stated(brief)
    first: dict[tuple[str, str], First] = {}
    before: dict[tuple[str, str], Chosen] = held
    for turn in range(1, MOST_ROUNDS + 1):
        _tell(say, f"{told}round {turn}: sizing", turn, 0.0)
        while True:
            try:
                was = settled
                settled = settle(wanted(intent_of(brief, rules), held), rules, settled, held)
                others = renumbered(was.plant if was else None, settled.plant)
                for target in [t for t in held if t[0] in others]:
                    del held[target]
                    first.pop(target, None)
                break
            except DraftError as error:
                taken = _taken_back(held, before, changes, turn - 1, error.machine_id)
                if not taken:
                    raise
                refused |= taken
        now = Closing(
            settled, held, changes, refused, fails(settled.sizing), {"sizing": settled.sizing},
            first, *known,
        )  # fmt: skip
        fresh: dict[tuple[str, str], Chosen] = {}
        short = needs & {f.name for f in now.open}
        if short and not _mend(replace(now, changes=[], first={}), turn):
            break
        for dear in (False, True):
            asked = {n: c for n, c in enumerate(every) if c.dear is dear}
            jobs = [
                partial(_ask, check, now, rules, f"{told}round {turn}: ", turn, n / len(every))
                for n, check in asked.items()
            ]
            ours = [at for at, c in enumerate(asked.values()) if c.ask is _routes]
            for check, found in zip(asked.values(), side_by_side(jobs, say, ours), strict=True):
                now.asked[check.name] = found
                now.open = _worst(now.open, fails(found))
            fresh = {} if turn == MOST_ROUNDS else _mend(now, turn)
            if fresh:
                break  # what is cheap to see is mended first
        useless = set() if turn == MOST_ROUNDS else _of_no_use(now)
        if not fresh and not useless:
            break
        before = dict(held)
        held.update(fresh)
        if useless:
            _forget(now, useless)
            settled = start.settled if start else None
    return now


def _taken_back(
    held: dict[tuple[str, str], Chosen], before: Choices, changes: list[Change], turn: int,
    machine_id: str,
) -> set[tuple[str, str]]:  # fmt: skip
    """Take back what a round asked for, as it led to a machine that is not made: the figures of
    that machine, or all of the round where it was none of its own. Those are not tried again."""
    mine = {(c.of, c.figure) for c in changes if c.round == turn}
    mine = {t for t in mine if t[0] == machine_id} or mine
    for target in mine:
        held.pop(target, None)
        if target in before:
            held[target] = before[target]
    changes[:] = [c for c in changes if c.round != turn or (c.of, c.figure) not in mine]
    return mine


def _of_no_use(now: Closing) -> set[tuple[str, str]]:
    """Figures made many times what they were, though the finding that asked for them fails by
    nearly as much as before."""
    short = {f.name: -(f.margin or 0.0) for f in now.open}
    found = set()
    for target, first in now.first.items():
        held = now.held.get(target)
        if (
            held is not None
            and first.value > 0
            and held.value >= IN_VAIN_TIMES * first.value
            and short.get(first.finding, 0.0) > (1 - HELPS_SHARE) * first.short
        ):
            found.add(target)
    return found


def _forget(now: Closing, targets: set[tuple[str, str]]) -> None:
    """Take figures back and ask for them no more."""
    for target in targets:
        now.held.pop(target, None)
        now.first.pop(target, None)
    now.refused |= targets
    now.changes[:] = [c for c in now.changes if (c.of, c.figure) not in targets]


def _tell(say: Say | None, what: str, turn: int, share: float) -> None:
    tell(say, what, round(STEPS * (turn - 1 + share) / MOST_ROUNDS), STEPS)


def _ask(
    check: Check, now: Closing, rules: Rulebook, told: str, turn: int, share: float, say: Say
) -> Result:
    """What a study says; the routes study is asked once for each topology."""
    _tell(say, f"{told}{check.name}", turn, share)
    plant = now.settled.plant
    if check.ask is not _routes:
        return _answer(check, plant, rules)
    key = topology(plant)
    if key not in now.routes:
        one = replace(check, ask=partial(_routes, known=now.routed))
        now.routes[key] = _answer(one, plant, rules)
    return now.routes[key]


def topology(plant: Plant, *, sensors: bool = True) -> str:
    """Everything of a plant that wrong positions depend on: all but sizes; what is sensed, too,
    unless `sensors` is False."""
    told = {s.id for s in plant.machines(Senses)} if not sensors else frozenset[str]()
    machines = [
        (tag, m.kind, [(n, v) for n, v in m if isinstance(v, str | bool | tuple)
                       and (sensors or n != "sensed")])
        for tag, m in plant.equipment.items() if tag not in told
    ]  # fmt: skip
    pipes = [(p.start, p.end, p.service) for p in plant.pipes]
    modes = [(n, m.does, m.like, sorted(m.positions.items())) for n, m in plant.modes.items()]
    return repr((machines, pipes, modes))


def _answer(check: Check, plant: Plant, rules: Rulebook) -> Result:
    """What a study says; one that cannot answer fails with its own sentence."""
    try:
        return check.ask(plant, rules)
    except (ByrewrightError, ValueError, ArithmeticError) as error:
        one = Finding(
            f"draft.no_answer.{check.name.partition(',')[0].replace(' ', '_')}", "", check.name,
            None, "", f"{check.name}: no answer. {error}", "fails",
        )  # fmt: skip
        return Result(check.name, plant.site.name, (one,))


def _worst(known: tuple[Finding, ...], more: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """Failing findings by name, each where it fails most."""
    found = {f.name: f for f in known}
    for one in more:
        old = found.get(one.name)
        if old is None or (one.margin or 0.0) < (old.margin or 0.0):
            found[one.name] = one
    return tuple(found.values())


PLACES = "place."
"""Parts of the plan: a draft lays it out whole; moves are for people who put something there."""
WISHES = frozenset({"wishes", "herd", "milkings", "collections", "site"})
"""Parts of the plant file that are the farm's to change, not the drafter's."""


def _mend(now: Closing, turn: int) -> dict[tuple[str, str], Chosen]:
    """The figures that the failing findings ask for and that are not so yet."""
    fresh: dict[tuple[str, str], Chosen] = {}
    hopeless = any(
        f.key == "throughput.stalls" and f.verdict == "unknown" for f in now.settled.sizing.findings
    )  # no number of stalls makes up for too few people
    for finding in now.open:
        may_have = False
        for remedy in finding.remedies:
            target = (remedy.of, remedy.figure)
            if remedy.of in WISHES or isinstance(remedy.to, tuple):
                continue
            if remedy.of.startswith(PLACES):
                continue
            if target in now.settled.sheet.locked | now.refused:
                continue
            if remedy.figure == "stalls" and hopeless:
                continue
            if remedy.otherwise and may_have:
                continue
            may_have = True
            choice = _choice(now, remedy)
            if choice is None or not _further(choice, fresh.get(target), now.held.get(target)):
                continue
            fresh[target] = choice
            has = _has(now.settled.plant, remedy)
            if isinstance(has, int | float) and not isinstance(choice.value, str | bool):
                short = -(finding.margin or 0.0)
                now.first.setdefault(target, First(float(has), finding.name, short))
            now.changes.append(
                Change(turn, remedy.of, remedy.figure, remedy.to, remedy.why, finding.name)
            )
    return fresh


def _choice(now: Closing, remedy: Remedy) -> Chosen | None:
    """A remedy as a figure to hold; None where the plant has it already."""
    has = _has(now.settled.plant, remedy)
    if has is not None and has == remedy.to:
        return None
    number = isinstance(remedy.to, float) and isinstance(has, int | float)
    most = number and remedy.to < has  # type: ignore[operator]
    return Chosen(remedy.to, remedy.why, remedy.most or most)


def _has(plant: Plant, remedy: Remedy) -> float | str | bool | None:
    part: object = plant.equipment.get(remedy.of)
    part = part or next((p for p in plant.pipes if p.id == remedy.of), None)
    part = part or getattr(plant, remedy.of, None)
    value = getattr(part, remedy.figure, None)
    return value if isinstance(value, int | float | str) else None


def _further(choice: Chosen, *known: Chosen | None) -> bool:
    """Whether a choice asks for more than those known."""
    for one in known:
        if one is None:
            continue
        if not isinstance(choice.value, float) or not isinstance(one.value, float):
            if choice.value == one.value:
                return False
        elif choice.value >= one.value if choice.most else choice.value <= one.value:
            return False
    return True


def stated(brief: Brief) -> set[tuple[str, str]]:
    """Figures of the wash that the brief states: they stay, and what fails by them is told."""
    names = brief.cleaning.model_fields_set if brief.cleaning else set()
    return {("cleaning", "last_step" if name == "steps" else name) for name in names}


def wanted(want: Intent, held: Choices) -> Intent:
    """The intent with what other studies ask of it: filters, tanks, vacuum pumps that run together,
    heaters that wait while cows are milked, diverts that turn while the lines are drained, a first
    rinse of fresh water, a hotter wash, a last rinse."""
    if any(figure == "while_running" for _, figure in held):
        want = replace(want, change_running=True)
    in_milking = {tag: c.value for (tag, figure), c in held.items() if figure == "in_milking"}
    if "runs" in in_milking.values():
        want = replace(want, vacuum_together=True)
    wait = sorted(tag for tag, does in in_milking.items() if does == "stopped")
    if wait:
        want = replace(want, wait_in_milking=tuple(wait))
    if any(figure == "in_rinse" for _, figure in held):
        want = replace(want, rinse_fresh=True)
    turned = {tag: c.value for (tag, figure), c in held.items() if figure == "in_drain_down"}
    if turned:
        want = replace(want, in_drain_down=tuple(sorted(turned.items())))
    tanks = [c.value for (_, figure), c in held.items() if figure == "count"]
    if tanks:
        want = replace(want, tanks=max(want.tanks, round(max(tanks))))
    cleaning: dict[str, Any] = {}
    hot, last = held.get(("cleaning", "hot_c")), held.get(("cleaning", "last_step"))
    if hot is not None and hot.value > want.cleaning.hot_c:
        cleaning["hot_c"] = hot.value
    water = held.get(("cleaning", "water_l_unit"))
    if water is not None and water.value > want.cleaning.water_l_unit:
        cleaning["water_l_unit"] = water.value
    if last is not None and want.cleaning.steps[-1] != last.value:
        cleaning["steps"] = (*want.cleaning.steps, last.value)
    if cleaning:
        stated = want.cleaning.model_dump(exclude_unset=True) | cleaning
        want = replace(want, cleaning=type(want.cleaning)(**stated))
    return want
