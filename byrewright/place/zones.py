"""Which room a machine belongs in, and what stands beside what: from what it is joined to."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace

from byrewright.place.model import Line, Scene

TURNS, SWAPPING = 16, 6
"""Turns in which machines follow those they are joined to, and those in which all move at once."""
SETTLING_TURNS = 40
"""Turns of moving each machine between its neighbours; the order settles in a few."""


def chains(scene: Scene) -> list[list[Line]]:
    """Pipes joined through two-way machines in their run, as one route each, in order."""
    if "chains" not in scene.memo:
        scene.memo["chains"] = _chains(scene)
    found: list[list[Line]] = scene.memo["chains"]
    return found


def _chains(scene: Scene) -> list[list[Line]]:
    at: dict[str, list[Line]] = {}
    for line in scene.lines:
        for end in (line.start, line.end):
            at.setdefault(end.partition(".")[0], []).append(line)
    used: set[str] = set()
    found: list[list[Line]] = []
    for line in scene.lines:
        if line.tag in used:
            continue
        run = [line]
        used.add(line.tag)
        for ahead in (True, False):
            while True:
                end = (run[-1].end if ahead else run[0].start).partition(".")[0]
                thing = scene.things.get(end)
                if thing is None or not thing.in_line:
                    break
                more = [p for p in at[end] if p.tag not in used]
                if not more:
                    break
                step = more[0]
                if (step.start if ahead else step.end).partition(".")[0] != end:
                    step = turned(step)
                used.add(step.tag)
                run = [*run, step] if ahead else [step, *run]
        found.append(run)
    return found


def turned(line: Line) -> Line:
    """The same pipe, told from its other end."""
    return replace(line, start=line.end, end=line.start, by=line.by[::-1], along=line.along[::-1])


def ends(run: list[Line]) -> tuple[str, str]:
    """The two machine.port ends of a chain."""
    return run[0].start, run[-1].end


def neighbours(scene: Scene) -> dict[str, list[tuple[str, str]]]:
    """Machine to (machine at the other end of a chain, service), drains left out."""
    found: dict[str, list[tuple[str, str]]] = {tag: [] for tag in scene.things}
    for run in chains(scene):
        a, b = (e.partition(".")[0] for e in ends(run))
        service = run[0].service
        if any(".fixed_" in e for e in ends(run)):
            continue  # the still side of a gland does not draw a machine under the deck
        if a in found and b in found and a != b and service != "drain":
            found[a].append((b, service))
            found[b].append((a, service))
    return found


def zones(scene: Scene) -> dict[str, str]:
    """The zone of every machine that stands or hangs."""
    near = neighbours(scene)
    zone: dict[str, str] = {}
    open_tags: list[str] = []
    for tag, thing in scene.things.items():
        if thing.form.sort in ("none", "spread", "outside") or thing.in_line:
            continue
        if thing.form.follows:
            open_tags.append(tag)
        else:
            zone[tag] = thing.form.zone
    for tag in open_tags:
        if any(service == "coolant" for _, service in near[tag]):
            zone[tag] = "cold"
    open_tags = [t for t in open_tags if t not in zone]
    ring = {t for t, g in scene.things.items() if g.form.sort == "spread"}
    for turn in range(TURNS):
        at_once = turn < SWAPPING  # later one by one: two that follow each other change places
        before, fresh = dict(zone), dict[str, str]()
        for tag in open_tags:
            thing = scene.things[tag]
            known = [
                "deck" if other in ring else zone[other]
                for other, _ in near[tag]
                if other in zone or other in ring
            ]
            feeds = _feeder(scene, tag) if thing.can("moves liquid") else None
            if feeds in zone:
                known = [zone[feeds]]
            if known:
                count = Counter(known)
                if not tag_draws_from_tank(scene, tag, fresh | zone):
                    count = Counter("milk" if z == "tank" else z for z in known)
                best = max(count.values())
                order = ("deck", "plant", "cold", "tank", "milk", "wash", "laundry", "switch")
                fresh[tag] = next(z for z in order if count.get(z) == best)
                zone |= fresh if not at_once else {}
        settled = all(before.get(t) == z for t, z in fresh.items())
        zone |= fresh
        if settled and len(fresh) == len(open_tags):
            break
    for tag in open_tags:
        zone.setdefault(tag, scene.things[tag].form.zone)
    return zone


def tag_draws_from_tank(scene: Scene, tag: str, zone: Mapping[str, str]) -> bool:
    """Whether milk comes to it out of a tank, so that it stands by the tanks' outlets."""
    for run in chains(scene):
        a, b = ends(run)
        if b.partition(".")[0] != tag or run[0].service != "milk":
            continue
        first = scene.things[a.partition(".")[0]]
        if first.can("stores milk") and a.endswith(".outlet"):
            return True
        if first.can("is a valve", "joins pipes") and zone.get(first.tag) == "tank":
            return True
    return False


def _feeder(scene: Scene, pump: str) -> str | None:
    """The machine that a pump draws from."""
    for run in chains(scene):
        a, b = ends(run)
        if b == f"{pump}.inlet":
            return a.partition(".")[0]
        if a == f"{pump}.inlet":
            return b.partition(".")[0]
    return None


def steps_to_drain(scene: Scene) -> dict[str, int]:
    """How many machines lie between each one in a milk or wash line and the next drain cock below
    it, along the flow. Levels that fall by a step each let the line run empty."""
    onward: dict[str, set[str]] = {}
    steps: dict[str, int] = {}
    for run in chains(scene):
        a, b = (e.partition(".")[0] for e in ends(run))
        if run[-1].service == "drain":
            steps[a] = 0
        elif run[0].service in ("milk", "wash"):
            onward.setdefault(a, set()).add(b)
    while True:
        fresh = {
            a: 1 + min(steps[b] for b in after if b in steps)
            for a, after in onward.items()
            if a not in steps and any(b in steps for b in after)
        }
        if not fresh:
            return steps
        steps |= fresh


def along_flow(scene: Scene, tags: list[str]) -> list[str]:
    """The machines in the order in which milk comes to them; the file's own order where it leaves
    a choice, or where milk runs in a ring."""
    inside = set(tags)
    after: dict[str, set[str]] = {t: set() for t in tags}
    for run in chains(scene):
        a, b = (e.partition(".")[0] for e in ends(run))
        if a in inside and b in inside and run[0].service in ("milk", "wash"):
            after[a].add(b)
    rank = dict.fromkeys(tags, 0)
    for _ in range(len(tags)):
        wanted = {b: rank[a] + 1 for a in tags for b in after[a] if rank[b] < rank[a] + 1}
        if not wanted or max(wanted.values()) > len(tags):
            break
        rank |= wanted
    return sorted(tags, key=lambda t: (rank[t], tags.index(t)))


def in_line_of(scene: Scene, tags: list[str]) -> list[str]:
    """The machines in an order that keeps joined ones together.

    Each is moved to the mean of its neighbours and itself until the order settles: a plain
    barycentre ordering that starts from the file's own order, so that it is the same every time.
    """
    near: Mapping[str, list[tuple[str, str]]] = neighbours(scene)
    inside = set(tags)
    place = {tag: float(i) for i, tag in enumerate(tags)}
    for _ in range(SETTLING_TURNS):
        wanted = {}
        for tag in tags:
            others = [place[o] for o, _ in near[tag] if o in inside]
            mean = sum(others) / len(others) if others else place[tag]
            wanted[tag] = 0.5 * place[tag] + 0.5 * mean
        order = sorted(tags, key=lambda t: (wanted[t], tags.index(t)))
        fresh = {tag: float(i) for i, tag in enumerate(order)}
        if fresh == place:
            break
        place = fresh
    return sorted(tags, key=lambda t: place[t])
