"""A draft that closes: sized, then held to every other study, and mended until all of them hold.

Findings carry remedies (which figure of which machine, to what, why). Each round applies those of
the findings that fail and settles the sizes again. The studies that cost most are asked only when
the cheap ones hold. What no remedy mends is left open, and `gives` looks for the wish that would
have to give.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TYPE_CHECKING, Any

from byrewright.drafting.checks import Check, answer, ask_routes, checks, fails, topology
from byrewright.drafting.cores import Say, Workers, side_by_side, tell
from byrewright.drafting.draft import Settled, intent_of, renumbered, settle
from byrewright.drafting.intent import Intent
from byrewright.drafting.sheet import Choices, Chosen, DraftError
from byrewright.results import Finding, Remedy, Result

if TYPE_CHECKING:
    from byrewright.plant.brief import Brief
    from byrewright.plant.plant import Plant
    from byrewright.standards.rulebook import Rulebook
    from byrewright.studies.routes.study import Routes

MOST_ROUNDS = 8
"""Rounds after which a draft is left as it is: the last asks every study and changes nothing."""
IN_VAIN_TIMES, HELPS_SHARE = 4.0, 0.1
"""A figure that was made this many times what it was and mended less than this share of what was
short is of no use: it is drafted as it was."""
STEPS = 100
"""Steps that a draft is told in."""


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
    cut_short: bool = False
    """Whether no more was asked, as one of the findings that must hold does not."""

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


def close(
    brief: Brief, rules: Rulebook, *, say: Say | None = None, start: Closing | None = None,
    only: Iterable[str] | None = None, told: str = "", needs: frozenset[str] = frozenset(),
    at_work: Workers | None = None,
) -> Closing:  # fmt: skip
    """Draft and mend until every check holds, or nothing more can be mended.

    Args:
        start: a draft of a like brief, whose sizes and mended figures are taken to begin with.
        only: names of the checks to ask, in their order and all at once; when None all, of which
            those that cost most are asked when the others hold.
        told: words put before what is told.
        needs: names of findings of which each must hold: where a study says that one does not, and
            nothing mends it, no other is asked.
        at_work: processes that studies are asked in, side by side.

    Raises:
        Cancelled: `say` answered True.
        ByrewrightError: the brief asks for something that cannot be drafted.
    """
    every = list(checks())
    parts = [[c for c in every if c.dear is dear] for dear in (False, True)]
    if only is not None:
        by_name = {c.name: c for c in every}
        every = [by_name[name] for name in only if name in by_name]
        parts = [every]
    held = dict(start.held) if start else {}
    settled = start.settled if start else None
    changes: list[Change] = []
    known = (start.routes, start.routed) if start else ({}, {})
    refused = stated(brief)
    first: dict[tuple[str, str], First] = {}
    before: dict[tuple[str, str], Chosen] = held
    for turn in range(1, MOST_ROUNDS + 1):
        tell(say, f"{told}round {turn}: sizing", _step(turn, 0.0), STEPS)
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
        asking = _Asking(
            start.asked if start and start.settled.plant == settled.plant else {}, rules, needs,
            [c.name for c in every], turn, told, say, at_work,
        )  # fmt: skip
        now.cut_short = asking.in_vain(now)
        for some in parts:
            if not now.cut_short:
                asking.ask(now, some)
            fresh = {} if turn == MOST_ROUNDS or now.cut_short else _mend(now, turn)
            if fresh:
                break  # what is cheap to see is mended first
        if now.cut_short:
            break
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


def _step(turn: int, share: float) -> int:
    return round(STEPS * (turn - 1 + share) / MOST_ROUNDS)


HOURS = ("throughput.finished", "day.milking_on_time")
"""What its own remedies alone mend: more stalls. All else may be mended by another's."""


@dataclass(frozen=True, slots=True)
class _Asking:
    """How studies are asked in one round."""

    known: Mapping[str, Result]
    """What was said of the same plant before."""
    rules: Rulebook
    needs: frozenset[str]
    every: Sequence[str]
    turn: int
    told: str
    say: Say | None
    at_work: Workers | None

    def ask(self, now: Closing, some: Sequence[Check]) -> None:
        """Ask some studies, until one says that what is needed does not hold."""
        plant = now.settled.plant
        names = [c.name for c in some if c.name not in self.known]
        routes = {c.name: partial(_routed, c, now, self.rules) for c in some if c.ask is ask_routes}
        heard = side_by_side(
            _heard, (plant, self.rules), names, self._words, at_work=self.at_work, say=self.say,
            here={n: job for n, job in routes.items() if n in names},
        )  # fmt: skip
        with closing(heard):
            for check in some:
                now.asked[check.name] = self.known.get(check.name) or next(heard)
                now.open = _worst(now.open, fails(now.asked[check.name]))
                if self.in_vain(now):
                    now.cut_short = True
                    return

    def in_vain(self, now: Closing) -> bool:
        """Whether something that must hold does not, and nothing mends it."""
        short = [f for f in now.open if f.name in self.needs]
        hours = [f for f in short if f.name.startswith(HOURS)]
        sets = [now.open] if short else []
        return not all(
            _mend(replace(now, open=some, changes=[], first={}), self.turn)
            for some in (*sets, *((one,) for one in hours))
        )

    def _words(self, name: str) -> tuple[str, int, int]:
        share = self.every.index(name) / len(self.every)
        return f"{self.told}round {self.turn}: {name}", _step(self.turn, share), STEPS


def _heard(about: tuple[Plant, Rulebook], name: str) -> Result:
    """What a study says of a plant."""
    return answer(next(c for c in checks() if c.name == name), *about)


def _routed(check: Check, now: Closing, rules: Rulebook) -> Result:
    """What the routes study says: it is asked once for each topology."""
    plant = now.settled.plant
    key = topology(plant)
    if key not in now.routes:
        one = replace(check, ask=partial(ask_routes, known=now.routed))
        now.routes[key] = answer(one, plant, rules)
    return now.routes[key]


def _worst(known: tuple[Finding, ...], more: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """Failing findings by name, each where it fails most."""
    found = {f.name: f for f in known}
    for one in more:
        old = found.get(one.name)
        if old is None or (one.margin or 0.0) < (old.margin or 0.0):
            found[one.name] = one
    return tuple(found.values())


PLACES = "place."
"""Parts of the plan: a draft lays it out whole, around the machines that it has, so what fails
there is a fault of the layout. Moves are for people who put something somewhere."""
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
