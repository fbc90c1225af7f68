"""The plant: farm, machines, pipes and modes in one immutable model."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property
from itertools import pairwise
from typing import Annotated, Any, Literal, Self, TypeVar, cast

from pydantic import BeforeValidator, PrivateAttr, SerializeAsAny

from byrewright.plant.farm import Cleaning, Collection, Colours, Herd, Milking, Site, Wishes, Work
from byrewright.plant.machine import Machine, Service
from byrewright.plant.place import Pair, Place
from byrewright.plant.record import Parameter, Record, par
from byrewright.standards.rulebook import Rulebook, default_rulebook

FORMAT = 1
"""Version of the plant file's format."""

M = TypeVar("M", bound=Machine)
GRAPH = "_graph"
LIQUIDS = "_liquids"
"""Where a plant keeps its graph, and ways through it, once they are made."""

Does = Literal[
    "milking",
    "drain_down",
    "rinse",
    "wash",
    "direct_load",
    "calf_draw",
    "withheld_draw",
    "tank_wash",
    "collection",
    "idle",
]


def _listed(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


Names = Annotated[tuple[str, ...], BeforeValidator(_listed)]
LengthFrom = Literal["measured", "from the plan", "guessed"]


PROFILE_M = 0.01
"""A plan's course of a pipe holds as long as its rise is that of the plan, to this much."""


class Pipe(Record):
    """Joins two ports of the same service. `from` and `to` are written `machine.port`."""

    id: str = par("", "the engineer's own tag")
    start: str = par("", "machine.port it leaves", alias="from")
    end: str = par("", "machine.port it enters", alias="to")
    service: Service | None = par("", "service, where the ports leave a choice", None)
    bore_mm: float = par("mm", "bore", ge=4, le=500)
    length_m: float = par(
        "m", "length; from the plan if not stated, or guessed where there is none", 3.0,
        ge=0.05, le=5000,
    )  # fmt: skip
    rise_m: float = par(
        "m", "height of the end above the start; from the plan if not stated", 0.0, ge=-60, le=60
    )
    slope_pct: float | None = par(
        "%", "fall towards the end, where it drains", None, ge=-20, le=100
    )
    fittings: dict[str, int] = par("", "fittings by name: bend, elbow, tee_through, tee_branch", {})
    along: Names = par("", "racks it must follow, by name", ())
    by: tuple[Pair, ...] = par("", "points on its way: east, north", ())
    _planned: bool = PrivateAttr(default=False)
    _profile: tuple[tuple[float, float], ...] = PrivateAttr(default=())

    @property
    def profile(self) -> tuple[tuple[float, float], ...]:
        """Way along it and height over its start, m: as the plan lays it, stretched to a length
        that is stated; straight without a plan, with another rise, or too short for its crests."""
        end = self._profile[-1] if self._profile else (0.0, 0.0)
        steep = sum(abs(b[1] - a[1]) for a, b in pairwise(self._profile))
        if end[0] <= 0.0 or abs(end[1] - self.rise_m) >= PROFILE_M or steep > self.length_m:
            return ((0.0, 0.0), (self.length_m, self.climb_m))
        if abs(end[0] - self.length_m) < PROFILE_M:
            return self._profile
        share = self.length_m / end[0]
        return tuple((x * share, z) for x, z in self._profile)

    @property
    def climb_m(self) -> float:
        """Height of its end over its start: as stated, else by the fall that is stated."""
        return self.rise_m or -(self.slope_pct or 0.0) / 100 * self.length_m

    @property
    def length_from(self) -> LengthFrom:
        """Where its length comes from: stated, so measured; the plan; or a guess."""
        if "length_m" in self.model_fields_set:
            return "measured"
        return "from the plan" if self._planned else "guessed"

    def laid(self, length_m: float, rise_m: float, bends: int,
             profile: tuple[tuple[float, float], ...] = ()) -> Pipe:  # fmt: skip
        """The same pipe as the plan lays it. What the file states stays, and only that counts as
        stated: a computed length is never written into the file as if it were measured."""
        found: dict[str, Any] = {"length_m": length_m, "rise_m": rise_m}
        found["fittings"] = {"bend": bends} if bends else {}
        taken = {k: v for k, v in found.items() if k not in self.model_fields_set}
        pipe = self.model_copy(update=taken)
        pipe.__pydantic_fields_set__.difference_update(taken)
        pipe._planned = True
        pipe._profile = profile
        return pipe


def lengths_from(pipes: Iterable[Pipe]) -> str:
    """Where the lengths of some pipes come from, in words.

    >>> lengths_from([])
    'no pipe'
    """
    count = Counter(pipe.length_from for pipe in pipes)
    if len(count) == 1:
        return f"lengths {next(iter(count))}"
    return ", ".join(f"{n} {n_from}" for n_from, n in sorted(count.items())) or "no pipe"


class Mode(Record):
    """What the plant is doing, and the position each valve and state each machine then has."""

    name: str = par("", "name")
    does: Annotated[tuple[Does, ...], BeforeValidator(_listed)] = par(
        "", "what the plant does in it"
    )
    like: str | None = par("", "mode it takes its other positions from", None)
    positions: dict[str, str] = par("", "machine id to position or state", {})


class Plant(Record):
    """A whole plant, as its file says."""

    byrewright: Literal[1] = par("", "version of this format")
    site: Site = par("", "where it stands")
    herd: Herd = par("", "the cows")
    milkings: tuple[Milking, ...] = par("", "milkings of a day")
    collections: tuple[Collection, ...] = par("", "tanker visits", ())
    work: Work = par("", "milking routine", Work(), why="not stated")
    cleaning: Cleaning = par("", "washing", Cleaning(), why="not stated")
    wishes: Wishes = par("", "what the farm asked for", Wishes(), why="not stated")
    colours: Colours = par("", "colours of services on drawings", Colours())
    place: Place | None = par("", "where things stand", None)
    equipment: dict[str, SerializeAsAny[Machine]] = par("", "machines by tag")
    pipes: tuple[Pipe, ...] = par("", "pipes", ())
    modes: dict[str, Mode] = par("", "modes by name", {})
    _place_rules: tuple[tuple[str, float], ...] = PrivateAttr(default=())

    def held_to(self, rules: Rulebook | None) -> Self:
        """The same plant, laid out by a user's own dimensions where the rulebook has some."""
        own = () if rules is None else tuple(
            (key, rules.number(key)) for key in rules.overridden if key.startswith("place.")
        )  # fmt: skip
        if own == self._place_rules:
            return self
        plant = self.model_copy()
        plant._place_rules = own
        return plant

    def place_rules(self) -> Rulebook:
        """The dimensions that it is laid out by."""
        return Rulebook(dict(self._place_rules)) if self._place_rules else default_rulebook()

    def machines(self, kind: type[M]) -> tuple[M, ...]:
        """The machines of one kind, in file order."""
        known = self._of_kind
        if kind not in known:
            known[kind] = tuple(m for m in self.equipment.values() if isinstance(m, kind))
        return cast("tuple[M, ...]", known[kind])

    def able(self, what: str) -> tuple[Machine, ...]:
        """The machines with a capability, such as "makes vacuum"."""
        known = self._able
        if what not in known:
            known[what] = tuple(m for m in self.equipment.values() if m.can(what))
        return known[what]

    def first(self, kind: type[M]) -> M | None:
        """The first machine of a kind, or None."""
        return next(iter(self.machines(kind)), None)

    def count(self, kind: type[Machine]) -> int:
        """How many of a kind, counts included."""
        return sum(m.count for m in self.machines(kind))

    def mode_for(self, does: str) -> str | None:
        """The mode that stands for something going on: one that does only that, before one that
        does several; None where no mode does it."""
        found = [n for n, m in self.modes.items() if does in m.does]
        return min(found, key=lambda n: (len(self.modes[n].does), n), default=None)

    def pipes_at(self, machine_id: str) -> tuple[Pipe, ...]:
        """The pipes that meet a machine."""
        return self._pipes_at.get(machine_id, ())

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """A copy with fields changed; what was worked out from the old ones is dropped, but for
        what follows from how machines are joined up where that is as it was."""
        copy = super().model_copy(update=update, deep=deep)
        dropped = ["_of_kind", "_able", LIQUIDS]
        if not self._joined_as(copy):
            dropped += ["_pipes_at", "_open_to", GRAPH]
        for worked_out in dropped:
            copy.__dict__.pop(worked_out, None)
        return copy

    def _joined_as(self, other: Plant) -> bool:
        """Whether another plant has these very pipes, and machines with the same ports and ways."""
        mine, others = self.equipment, other.equipment
        return self.pipes is other.pipes and (mine is others or (
            list(mine) == list(others)
            and all(a is b or (a.ports() == b.ports() and a.inside() == b.inside())
                    for a, b in zip(mine.values(), others.values(), strict=True))
        ))  # fmt: skip

    @cached_property
    def _of_kind(self) -> dict[type[Machine], tuple[Machine, ...]]:
        return {}  # filled as it is asked

    @cached_property
    def _able(self) -> dict[str, tuple[Machine, ...]]:
        return {}  # by what they can do, filled as it is asked

    @cached_property
    def _open_to(self) -> dict[tuple[str, str], frozenset[Service]]:
        return {}  # by the two ends of a pipe, filled as it is asked

    @cached_property
    def _pipes_at(self) -> dict[str, tuple[Pipe, ...]]:
        at: dict[str, list[Pipe]] = {}
        for pipe in self.pipes:
            for end in dict.fromkeys((pipe.start.partition(".")[0], pipe.end.partition(".")[0])):
                at.setdefault(end, []).append(pipe)
        return {k: tuple(v) for k, v in at.items()}

    def position(self, mode: str, machine_id: str) -> str | None:
        """The position or state a mode gives a machine, following `like`, then its usual one."""
        seen: set[str] = set()
        name: str | None = mode
        while name is not None and name not in seen:
            seen.add(name)
            one = self.modes[name]
            if machine_id in one.positions:
                return one.positions[machine_id]
            name = one.like if one.like in self.modes else None
        return self.equipment[machine_id].usual()

    def states(self, mode: str, machine_id: str) -> bool:
        """Whether a mode, or one it is like, gives a machine a position."""
        seen: set[str] = set()
        name: str | None = mode
        while name is not None and name in self.modes and name not in seen:
            seen.add(name)
            if machine_id in self.modes[name].positions:
                return True
            name = self.modes[name].like
        return False

    def locked_out(self, machine_id: str, does: tuple[str, ...]) -> bool:
        """Whether every mode that does one of these things states that a machine is stopped."""
        modes = [n for n, m in self.modes.items() if any(d in does for d in m.does)]
        return bool(modes) and all(
            self.states(n, machine_id) and self.position(n, machine_id) == "stopped" for n in modes
        )

    def service_of(self, pipe: Pipe) -> Service | None:
        """The service a pipe carries: as written, or the only one both its ports allow."""
        if pipe.service is not None:
            return pipe.service
        options = self.services_open_to(pipe)
        return next(iter(options)) if len(options) == 1 else None

    def services_open_to(self, pipe: Pipe) -> frozenset[Service]:
        """The services that both ends of a pipe allow (empty when an end is missing)."""
        ends, known = (pipe.start, pipe.end), self._open_to
        if ends not in known:
            known[ends] = self._allowed(ends)
        return known[ends]

    def _allowed(self, ends: tuple[str, str]) -> frozenset[Service]:
        found: list[frozenset[Service]] = []
        for end in ends:
            machine_id, _, name = end.partition(".")
            machine = self.equipment.get(machine_id)
            port = machine.port(name) if machine else None
            if port is None:
                return frozenset()
            found.append(port.services)
        return found[0] & found[1]

    def defaults_taken(self) -> Iterator[tuple[str, Parameter]]:
        """Every (where, parameter) that the file left to its stated default."""
        parts: list[tuple[str, Record]] = [
            ("site", self.site),
            ("site.supply", self.site.supply),
            ("herd", self.herd),
            ("work", self.work),
            ("cleaning", self.cleaning),
            ("wishes", self.wishes),
        ]
        parts += [(f"milkings.{m.name}", m) for m in self.milkings]
        parts += [(f"collections.{c.at}", c) for c in self.collections]
        parts += list(self.equipment.items())
        for where, record in parts:
            for parameter in record.defaulted():
                if not isinstance(parameter.default, Record):
                    yield where, parameter
        yield from self._lengths_taken()

    def _lengths_taken(self) -> Iterator[tuple[str, Parameter]]:
        """How many pipes take their length from the plan, and each that has a guessed one."""
        planned = sum(p.length_from == "from the plan" for p in self.pipes)
        if planned:
            many = f"{planned} pipe" if planned == 1 else f"{planned} pipes"
            why = "worked out from where machines stand; measure before pipe is cut"
            yield "place", Parameter("lengths", f"length, rise and bends of {many}", "",
                                     "from the plan", False, why, "derived")  # fmt: skip
        for pipe in self.pipes:
            if pipe.length_from == "guessed":
                yield f"pipes.{pipe.id}", Parameter(
                    "length_m", "length", "m", pipe.length_m, False,
                    "guessed: neither stated nor to be had from a plan", "common_practice",
                )  # fmt: skip
