"""What changed between two revisions of a plant; a new tag or another way is told as such."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

from byrewright.plant.machine import Machine
from byrewright.plant.plant import Pipe, Plant
from byrewright.plant.record import Record, in_words
from byrewright.plant.sited import sited
from byrewright.results import Finding, Result
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.count import count, name_in_words
from byrewright.studies.every import Say, ask

Topic = Literal[
    "farm", "machines", "pipes", "positions", "modes", "findings", "quantities", "price"
]
What = Literal["added", "removed", "renamed", "changed", "moved"]
TOPICS: tuple[Topic, ...] = (
    "farm", "machines", "pipes", "positions", "modes", "findings", "quantities", "price",
)  # fmt: skip
FARM = ("site", "herd", "milkings", "collections", "work", "cleaning", "wishes")
OWN_NAMES = ("id", "label", "fed_from", "controlled_by", "air_from", "led_by", "on")
"""Fields by which a machine is not known again: its tag, and tags of others."""
ALIKE_SHARE = 0.6
"""Neighbours that two machines must share before a new tag is taken for a new name."""
MOVED_M = 0.1
LEAST_SHARE = 1e-3
LEAST_LENGTH_M = 0.1
TOLD = (
    "day.milking_on_time", "day.cows_an_hour", "day.energy_1000_l", "day.energy_cost",
    "day.water_day", "day.milk_lost", "day.labour", "day.load_most",
    "failures.hours_year", "failures.litres_year",
)  # fmt: skip
"""What the studies say of two plants, beside every finding whose verdict changes."""


@dataclass(frozen=True, slots=True)
class Change:
    """One change: its topic, what happened, to which tag (as it is now), and in words.

    `old_tag` is what it was called, where it was called something else.
    """

    topic: Topic
    what: What
    tag: str
    sentence: str
    old_tag: str = ""
    key: str = ""
    """That of the finding it tells of."""


def changes(before: Plant, after: Plant) -> list[Change]:
    """What differs between two plants in farm, machines, pipes, positions, modes and quantities."""
    names = renamed(before, after)
    pipes = renamed_pipes(before, after, names)
    found = [
        *_farm(before, after), *_machines(before, after, names),
        *_pipes(before, after, names, pipes), *_positions(before, after, names),
        *_modes(before, after, names), *_quantities(before, after),
    ]  # fmt: skip
    return sorted(found, key=lambda c: TOPICS.index(c.topic))


# the same machine, by another tag --------------------------------------------------------------


def renamed(before: Plant, after: Plant) -> dict[str, str]:
    """Each machine of the first plant that the second has: its old tag to its tag now.

    A tag in both is the same machine if it is of the same kind. A machine whose tag is gone is
    known again by its kind and figures, and by what it is piped to; where several would do, none
    is.
    """
    names = {
        tag: tag for tag, one in before.equipment.items()
        if tag in after.equipment and after.equipment[tag].kind == one.kind
    }  # fmt: skip
    for _ in range(3):  # a neighbour may have a new tag, too
        gone = [t for t in before.equipment if t not in names]
        fresh = [t for t in after.equipment if t not in names.values()]
        for old in gone:
            scores = [(_alike(before, after, old, new, names), new) for new in fresh]
            scores = sorted((s for s in scores if s[0] >= ALIKE_SHARE), reverse=True)
            if scores and (len(scores) == 1 or scores[0][0] > scores[1][0]):
                names[old] = scores[0][1]
                fresh.remove(scores[0][1])
    return names


def _alike(before: Plant, after: Plant, old: str, new: str, names: Mapping[str, str]) -> float:
    """How alike two machines are: 0 for other kinds or figures, else the share of neighbours."""
    one, two = before.equipment[old], after.equipment[new]
    if one.kind != two.kind:
        return 0.0
    near_old = {names.get(t, t) for t in _near(before, old)}
    near_new = _near(after, new)
    every = near_old | near_new
    share = len(near_old & near_new) / len(every) if every else ALIKE_SHARE
    return share if _figures(one) == _figures(two) else 0.7 * share


def _near(plant: Plant, tag: str) -> set[str]:
    ends = {e.partition(".")[0] for p in plant.pipes_at(tag) for e in (p.start, p.end)}
    one = plant.equipment[tag]
    more = {*one.fed_from, *one.controlled_by, str(getattr(one, "on", "") or "")}
    return (ends | more) - {tag, ""}


def _figures(one: Machine) -> dict[str, Any]:
    return one.model_dump(exclude=set(OWN_NAMES))


def _end(end: str, names: Mapping[str, str]) -> str:
    tag, _, port = end.partition(".")
    return f"{names.get(tag, tag)}.{port}"


def renamed_pipes(before: Plant, after: Plant, names: Mapping[str, str]) -> dict[str, str]:
    """Each pipe of the first plant that the second has: its old tag to its tag now.

    Pipes that join the same two ports are the same pipe, whatever their tags; else the tag counts.
    """
    by_ends: dict[tuple[str, str], list[Pipe]] = defaultdict(list)
    for pipe in after.pipes:
        by_ends[(pipe.start, pipe.end)].append(pipe)
    now = {p.id for p in after.pipes}
    found: dict[str, str] = {}
    for pipe in before.pipes:
        same = by_ends[(_end(pipe.start, names), _end(pipe.end, names))]
        if pipe.id in {p.id for p in same}:
            found[pipe.id] = pipe.id
        elif len(same) == 1:
            found[pipe.id] = same[0].id
    taken = set(found.values())
    for pipe in before.pipes:
        if pipe.id not in found and pipe.id in now - taken:
            found[pipe.id] = pipe.id
    return found


# topic by topic --------------------------------------------------------------------------------


def _fields(one: Record, two: Record, but: tuple[str, ...] = ()) -> Iterator[str]:
    """Each field that differs, in words with its unit."""
    for name in type(one).model_fields:
        a, b = getattr(one, name), getattr(two, name)
        if name in but or a == b:
            continue
        unit = type(one).unit_of(name)
        if isinstance(a, Record) and isinstance(b, Record) and type(a) is type(b):
            yield from (f"{name} {part}" for part in _fields(a, b))
            continue
        was, now = _said(a), _said(b)
        if b is None:
            was, unit = f"{was} {unit}".rstrip(), ""
        yield f"{name_in_words(name)} {was} becomes {now} {unit}".rstrip()


def _said(value: object) -> str:
    if isinstance(value, Record) or (isinstance(value, tuple) and any(
        isinstance(v, Record) for v in value
    )):  # fmt: skip
        return f"{len(value)} entries" if isinstance(value, tuple) else "another"
    if isinstance(value, dict):
        return ", ".join(f"{n} x {key.replace('_', ' ')}" for key, n in value.items()) or "none"
    words = in_words(value)
    return f"{words:g}" if isinstance(words, int | float) else words


def _farm(before: Plant, after: Plant) -> Iterator[Change]:
    for section in FARM:
        one, two = getattr(before, section), getattr(after, section)
        if one == two:
            continue
        if isinstance(one, Record):
            for words in _fields(one, two, ("id",)):
                yield Change("farm", "changed", section, f"{section}: {words}.")
        else:
            many = (
                f"{len(one)} becomes {len(two)}"
                if len(one) != len(two)
                else "times or sizes differ"
            )
            yield Change("farm", "changed", section, f"{section}: {many}.")


def _machines(before: Plant, after: Plant, names: Mapping[str, str]) -> Iterator[Change]:
    kept = set(names.values())
    for tag, one in before.equipment.items():
        if tag not in names:
            yield Change("machines", "removed", tag, f"{tag} ({one.title}) is gone.", tag)
            continue
        new = names[tag]
        two = after.equipment[new]
        if new != tag:
            yield Change("machines", "renamed", new,
                         f"{tag} ({one.title}) is now called {new}.", tag)  # fmt: skip
        plain = one.model_copy(
            update={
                name: _under(value, names)
                for name in OWN_NAMES
                if name != "id" and (value := getattr(one, name, None)) is not None
            }
        )
        parts = list(_fields(plain, two, ("id",)))
        if parts:
            yield Change("machines", "changed", new, f"{new} ({two.title}): {'; '.join(parts)}.",
                         tag)  # fmt: skip
    for tag, two in after.equipment.items():
        if tag not in kept:
            yield Change("machines", "added", tag, f"{tag} ({two.title}) is new.")


def _under(value: Any, names: Mapping[str, str]) -> Any:
    """Tags in a field as they are called now."""
    if isinstance(value, tuple):
        return tuple(names.get(v, v) if isinstance(v, str) else v for v in value)
    return names.get(value, value) if isinstance(value, str) else value


def _pipes(
    before: Plant, after: Plant, names: Mapping[str, str], pipes: Mapping[str, str]
) -> Iterator[Change]:
    now = {p.id: p for p in after.pipes}
    for pipe in before.pipes:
        if pipe.id not in pipes:
            words = f"{pipe.id}, from {pipe.start} to {pipe.end}, is gone."
            yield Change("pipes", "removed", pipe.id, words, pipe.id)
            continue
        new = now[pipes[pipe.id]]
        if new.id != pipe.id:
            yield Change("pipes", "renamed", new.id, f"{pipe.id} is now called {new.id}.", pipe.id)
        ends = (_end(pipe.start, names), _end(pipe.end, names))
        if ends != (new.start, new.end):
            yield Change("pipes", "moved", new.id, f"{new.id} now goes from {new.start} to "
                         f"{new.end}; it went from {ends[0]} to {ends[1]}.", pipe.id)  # fmt: skip
        stated = pipe.model_fields_set | new.model_fields_set
        laid = [name for name in ("rise_m", "fittings") if name not in stated]
        parts = list(_fields(pipe, new, ("id", "start", "end", "length_m", *laid)))
        more = new.length_m - pipe.length_m
        if abs(more) > LEAST_LENGTH_M:
            longer = f"{abs(more):.2f} m {'longer' if more > 0 else 'shorter'}"
            words = f"{longer} ({pipe.length_m:.2f} m becomes {new.length_m:.2f} m)"
            if new.length_from == pipe.length_from == "from the plan":
                yield Change("pipes", "moved", new.id, f"{new.id} is laid another way: {words}.",
                             pipe.id)  # fmt: skip
            else:
                parts.append(words)
        if parts:
            yield Change("pipes", "changed", new.id, f"{new.id}: {'; '.join(parts)}.", pipe.id)
    kept = set(pipes.values())
    for tag, pipe in now.items():
        if tag not in kept:
            yield Change("pipes", "added", tag, f"{tag}, from {pipe.start} to {pipe.end}, is new.")


def _positions(before: Plant, after: Plant, names: Mapping[str, str]) -> Iterator[Change]:
    one, two = sited(before), sited(after)
    if one is None or two is None:
        if (one is None) != (two is None):
            words = "a plan" if two is not None else "no plan any more"
            yield Change("positions", "changed", "place", f"The plant now has {words}.")
        return
    for old, new in names.items():
        a, b = one.plan.bodies.get(old), two.plan.bodies.get(new)
        if a is None or b is None:
            continue
        east, north, up = b.x - a.x, b.y - a.y, b.z - a.z
        if math.hypot(east, north, up) <= MOVED_M and a.room == b.room:
            continue
        ways = [f"{abs(d):.2f} m {way[d < 0]}" for d, way in
                ((east, ("east", "west")), (north, ("north", "south")), (up, ("up", "down")))
                if abs(d) > MOVED_M / 2]  # fmt: skip
        room = "" if a.room == b.room else f" from {a.room} to {b.room}"
        yield Change("positions", "moved", new, f"{new} stands {' and '.join(ways)}{room}.", old)


def _modes(before: Plant, after: Plant, names: Mapping[str, str]) -> Iterator[Change]:
    for name in before.modes:
        if name not in after.modes:
            yield Change("modes", "removed", name, f"The mode {name} is gone.", name)
    for name, mode in after.modes.items():
        if name not in before.modes:
            yield Change("modes", "added", name, f"The mode {name} is new.")
            continue
        if mode.does != before.modes[name].does:
            yield Change("modes", "changed", name, f"{name}: does {', '.join(mode.does)}; it did "
                         f"{', '.join(before.modes[name].does)}.")  # fmt: skip
        for old, new in names.items():
            was, now = before.position(name, old), after.position(name, new)
            if was != now:
                yield Change("modes", "changed", new,
                             f"In {name} {new} is {now or 'not set'}; it was {was or 'not set'}.",
                             old)  # fmt: skip


def _quantities(before: Plant, after: Plant) -> Iterator[Change]:
    def amounts(plant: Plant) -> dict[tuple[str, str, str], float]:
        found: dict[tuple[str, str, str], float] = defaultdict(float)
        for one in count(plant):
            found[(one.title, one.plate, one.unit)] += one.amount
        return found

    old, new = amounts(before), amounts(after)
    for title, plate, unit in dict.fromkeys([*old, *new]):
        a, b = old.get((title, plate, unit), 0.0), new.get((title, plate, unit), 0.0)
        if abs(a - b) <= LEAST_SHARE * max(a, b):
            continue
        what: What = "added" if not a else "removed" if not b else "changed"
        of = "" if unit == "each" else f" {unit}"
        yield Change("quantities", what, title, f"{title} {plate}: {a:.6g} becomes {b:.6g}{of}.")


def finding_changes(
    before: Result, after: Result, names: Mapping[str, str] | None = None
) -> list[tuple[str, str]]:
    """What changes between two answers: figures of the day, and verdicts; key and words of each.

    A finding that only one of the two has is told when it does not hold. `names` gives the tag now
    of each old tag.
    """
    names = names or {}
    old = {(f.key, names.get(f.subject, f.subject)): f for f in before.findings}
    new = {(f.key, f.subject): f for f in after.findings}
    told = []
    for name, one in new.items():
        was = old.get(name)
        if was is None:
            if one.verdict != "holds":
                told.append((one.key, f"new: {one.label} {one.verdict}: {one.sentence}"))
        elif was.verdict != one.verdict:
            told.append(
                (one.key, f"{one.label}: {was.verdict} becomes {one.verdict}: {one.sentence}")
            )
        elif one.key in TOLD and _moved(was, one):
            told.append((one.key, f"{one.label}: {_further(was, one)}"))
    told += [
        (was.key, f"gone: {was.label}, which {_was(was)}")
        for name, was in old.items()
        if name not in new and was.verdict != "holds"
    ]
    return told


def unchanged(before: Result, after: Result) -> list[str]:
    """Figures of the day and of failures that are the same in two answers, in words."""
    old = {(f.key, f.subject): f for f in before.findings}
    return [
        f"{one.label} {one.value:.4g} {one.unit}".rstrip()
        for one in after.findings
        if one.key in TOLD and one.value is not None
        and (was := old.get((one.key, one.subject))) is not None and not _moved(was, one)
    ]  # fmt: skip


def _further(was: Finding, one: Finding) -> str:
    """Two figures and their difference."""
    assert was.value is not None and one.value is not None
    more = one.value - was.value
    unit = "K" if one.unit == "degC" else one.unit
    words = f"{abs(more):.3g} {unit}".rstrip() + (" more" if more > 0 else " less")
    return f"{was.value:.4g} becomes {one.value:.4g} {one.unit}".rstrip() + f", {words}"


def _was(one: Finding) -> str:
    return {"fails": "failed", "tight": "was tight", "unknown": "was unknown"}.get(
        one.verdict, one.verdict
    )


def _moved(was: Finding, one: Finding) -> bool:
    if was.value is None or one.value is None:
        return False
    return abs(one.value - was.value) > LEAST_SHARE * max(abs(was.value), 1e-9)


def study_changes(
    before: Plant, after: Plant, rules: tuple[Rulebook, Rulebook], studies: Sequence[str],
    say: Say = lambda *_: None,
) -> list[Change]:  # fmt: skip
    """What the studies say of two plants, each by its own rules, as changes.

    Where only one of the two has a plan, the plan's findings are left out: they would all be new.
    """
    both = before.place is not None and after.place is not None
    names = [s for s in studies if s != "place" or both]

    def told(which: str) -> Say:
        return lambda name, number, total: say(f"{which}: {name}", number, total)

    old = ask(before, rules[0], names, told("before"))
    new = ask(after, rules[1], names, told("now"))
    words = finding_changes(old, new, renamed(before, after))
    return [Change("findings", "changed", "", f"{s.rstrip('.')}.", key=key) for key, s in words]


def as_data(found: list[Change]) -> list[dict[str, Any]]:
    """Changes as plain data for JSON."""
    return [asdict(one) for one in found]
