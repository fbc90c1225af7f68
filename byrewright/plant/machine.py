"""What every machine is: ports, ways inside, ways to fail, upkeep, and one registry of kinds.

A kind is one class. It declares everything the rest of the product asks about it, so adding a
machine kind is adding one class; nothing else holds a list of kinds.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BeforeValidator

from byrewright.plant.effects import OFF, Effect
from byrewright.plant.primitives import Primitive
from byrewright.plant.record import Record, par
from byrewright.standards.footprints import PLAIN, Footprint

Service = Literal[
    "vacuum", "milk", "wash", "water", "air", "coolant", "refrigerant", "drain", "power", "signal"
]
SERVICES: tuple[Service, ...] = (
    "vacuum", "milk", "wash", "water", "air", "coolant", "refrigerant", "drain", "power", "signal",
)  # fmt: skip
LIQUIDS: frozenset[Service] = frozenset({"milk", "wash", "water", "drain"})
PIPED: frozenset[Service] = frozenset(SERVICES) - {"power", "signal"}

Direction = Literal["in", "out", "both"]
How = Literal["pass", "driven", "gate", "check", "trap"]


DIGITS = frozenset("0123456789")


@dataclass(frozen=True, slots=True)
class Port:
    """A named connection. `name` may end in `#` for a family (`line_1`, `line_2`, ...)."""

    name: str
    services: frozenset[Service]
    direction: Direction = "both"
    needed: bool = True
    many: bool = False
    meaning: str = ""

    def answers_to(self, name: str) -> bool:
        """Whether a name written in the file means this port."""
        family, numbered, _ = self.name.partition("#")
        if not numbered:
            return name == self.name
        return name.startswith(family) and name[len(family) : len(family) + 1] in DIGITS


@dataclass(frozen=True, slots=True)
class InternalPath:
    """A way through a machine from port `a` to port `b`.

    `how`: pass (always open), driven (pushed from a to b while it runs; `free` tells whether it
    can be pushed through while stopped), gate (open in the positions listed), check (a to b
    only), trap (gas passes, liquid shuts it). A port `*` is the vessel's own body.
    """

    a: str
    b: str
    how: How = "pass"
    positions: tuple[str, ...] = ()
    free: bool = False


@dataclass(frozen=True, slots=True)
class Failure:
    """One way a kind can fail. `life` is a key of the reliability data; `also` names further parts
    whose end has the same effect, so that their rates add.

    `effect` is what it does to the plant; `each` tells that it takes one of a machine's `count`;
    `safety` marks a stop that must never be bridged; the rest is for people.
    """

    way: str
    life: str
    repair_h: float
    seen: str
    do: str
    part: str = ""
    effect: Effect = OFF
    each: bool = True
    safety: bool = False
    also: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not isinstance(self.effect, Effect):
            raise TypeError(f"'{self.way}': an effect is one of byrewright.plant.effects")


@dataclass(frozen=True, slots=True)
class Part:
    """A part that a service takes for each of a machine's `count`, and how many."""

    name: str
    each: int = 1


Wear = Literal["starts", "pulses", "turns", "km", "litres", "cows"]
"""What machines wear by beside hours: `cows` are cow-milkings of one of many alike."""


@dataclass(frozen=True, slots=True)
class Upkeep:
    """Service that a kind needs: what, and after how many running hours or days, or of what else it
    wears by (`counts`: the rule or the field of the machine that holds the number); the first one
    counts. `was` are names that it had: logs still hold them.

    `prevents` are the lives (keys of the reliability data) that it keeps from running out; `fixed`
    is an interval of law or safety, which no experience stretches.
    """

    what: str
    every_h: float | None = None
    every_days: float | None = None
    parts: tuple[Part, ...] = ()
    prevents: tuple[str, ...] = ()
    fixed: bool = False
    counts: tuple[tuple[Wear, str], ...] = ()
    was: tuple[str, ...] = ()


def ports(*many: Port) -> tuple[Port, ...]:
    """A kind's ports, in drawing order."""
    return many


@cache
def port(
    name: str,
    *services: Service,
    direction: Direction = "both",
    needed: bool = True,
    many: bool = False,
    meaning: str = "",
) -> Port:
    """Declare a port that carries any of `services`."""
    return Port(name, frozenset(services), direction, needed, many, meaning)


def _listed(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


Ids = Annotated[tuple[str, ...], BeforeValidator(_listed)]


class Machine(Record):
    """A piece of equipment. `count` stands for that many alike, side by side."""

    KIND: ClassVar[str] = ""
    TITLE: ClassVar[str] = ""
    LETTERS: ClassVar[str] = ""
    SYMBOL: ClassVar[str] = "box"
    BUILDING_CLASS: ClassVar[str] = "IfcBuildingElementProxy"
    """Its class in a building model (IFC 4), with its type where the standard names one."""
    ROOM: ClassVar[str] = "plant"
    FORM: ClassVar[Footprint] = PLAIN
    """What it takes of a room, and how it stands there."""
    PORTS: ClassVar[tuple[Port, ...]] = ()
    INSIDE: ClassVar[tuple[InternalPath, ...]] = ()
    CAN: ClassVar[frozenset[str]] = frozenset()
    STATES: ClassVar[tuple[str, ...]] = ()
    FAILURES: ClassVar[tuple[Failure, ...]] = ()
    UPKEEP: ClassVar[tuple[Upkeep, ...]] = ()
    TESTS: ClassVar[tuple[str, ...]] = ()
    CAUTIONS: ClassVar[tuple[str, ...]] = ()
    NEEDS_POWER: ClassVar[bool] = False
    WITHOUT_CONTROL: ClassVar[Literal["by hand", "goes on", "stands"]] = "by hand"

    id: str = par("", "the engineer's own tag")
    label: str = par("", "what it is, in the engineer's words", "")
    count: int = par("", "how many alike", 1, ge=1, le=2000)
    fed_from: Ids = par("", "switchboard or supply that feeds it", (), refers="gives power")
    controlled_by: Ids = par("", "controller that commands it", (), refers="controls")
    air_from: Ids = par("", "compressed-air receiver that moves it", (), refers="stores air")
    normally: str | None = par("", "state or position where a mode says nothing else", None)

    @property
    def kind(self) -> str:
        """The kind's name as written in the file."""
        return type(self).KIND

    @property
    def title(self) -> str:
        """The label, or the kind's title when the file gives none."""
        return self.label or type(self).TITLE

    def ports(self) -> tuple[Port, ...]:
        """The ports of this machine as it is set up."""
        return type(self).PORTS

    def inside(self) -> tuple[InternalPath, ...]:
        """The ways through this machine as it is set up."""
        return type(self).INSIDE

    def states(self) -> tuple[str, ...]:
        """The states or positions a mode may give it; the first is the usual one."""
        return type(self).STATES

    def usual(self) -> str | None:
        """The state it has where a mode says nothing."""
        every = self.states()
        return self.normally or (every[0] if every else None)

    def port(self, name: str) -> Port | None:
        """The port that `name` means, or None."""
        return next((p for p in self.ports() if p.answers_to(name)), None)

    def port_for(self, service: Service, direction: Direction | None = None) -> str:
        """The name of its first port for a service, in a direction; "" where it has none."""
        return next(
            (p.name for p in self.ports()
             if service in p.services and direction in (None, p.direction)), ""
        )  # fmt: skip

    def can(self, what: str) -> bool:
        """Whether this kind has a capability, such as "moves milk" or "makes vacuum"."""
        return what in type(self).CAN

    def power_kw(self) -> float:
        """Rated electric input of one, kW (0 when it has no motor or heater)."""
        return float(getattr(self, "motor_kw", None) or getattr(self, "heater_kw", None) or 0.0)

    def failures(self) -> tuple[Failure, ...]:
        """The ways this machine can fail as it is set up."""
        return type(self).FAILURES

    def upkeep(self) -> tuple[Upkeep, ...]:
        """The service this machine asks for as it is set up."""
        return type(self).UPKEEP

    def tests(self) -> tuple[str, ...]:
        """The tests this machine is put to as it is set up."""
        return type(self).TESTS

    def cautions(self) -> tuple[str, ...]:
        """What may hurt people at this machine as it is set up."""
        return type(self).CAUTIONS

    def lower(self) -> tuple[Primitive, ...]:
        """What it does, as plain records for the engine; nothing when it has no part in the day."""
        return ()

    def __init_subclass__(cls, **kwargs: Any) -> None:
        super().__init_subclass__(**kwargs)
        own = [c.__dict__ for c in cls.__mro__]
        words = {role for space in own if (role := space.get("ROLE"))}
        cls.CAN = frozenset(words).union(*(space.get("CAN", ()) for space in own))

    @classmethod
    def __pydantic_init_subclass__(cls, **kwargs: Any) -> None:
        super().__pydantic_init_subclass__(**kwargs)
        kind = cls.__dict__.get("KIND", "")
        if kind:
            REGISTRY[kind] = cls


REGISTRY: dict[str, type[Machine]] = {}


def kinds() -> dict[str, type[Machine]]:
    """Every kind by its name in the file, those of this package first."""
    import byrewright.plant.kinds  # noqa: F401  (defining a kind registers it)

    return REGISTRY


RUN = ("stopped", "runs", "ready")
"""States of a machine that runs: `ready` starts by itself when its partner fails."""
