"""Ways to fail, as the study takes them: one event for each way of each machine.

A kind declares its failures with an effect in words; `EFFECTS` is the one place that says what
such a word does. An effect that is not in it would be taken for no effect, so a test forbids it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from byrewright.plant.kinds.milk import Valve
from byrewright.plant.machine import Failure, Machine
from byrewright.plant.plant import Plant

Law = Literal[
    "off", "shut", "stuck", "rests", "passes", "admits air", "leaks", "share", "held", "slow",
    "no signal", "no power", "no hold", "blind", "late", "none",
]  # fmt: skip
"""What a failure does. off: does nothing. shut: nothing passes it. stuck: its valve does not move.
rests: a moved valve goes to its rest position and obeys hands alone.
passes: what should shut lets some through. admits air: a whole opening. leaks: a seal or joint.
share: works at a share. held: pumps led by it stand. slow: the deck must turn slower. no signal, no
power: lost across the gland. no hold: carries nothing through a loss of mains. blind: a reading is
false or lost. late: the tanker. none: told to people, nothing in the flow changes."""

EFFECTS: dict[str, Law] = {
    "off": "off", "lost": "off", "draws air": "off", "three-phase motors off": "off",
    "shut": "shut", "milk path shut": "shut",
    "stays": "stuck", "goes to rest": "rests",
    "half open": "passes", "opens both ways": "passes",
    "open": "admits air",
    "leaks": "leaks",
    "capacity x0.75": "share",
    "pump held off": "held", "false level": "held",
    "slow": "slow",
    "signal lost": "no signal", "power lost": "no power", "no hold": "no hold",
    "false": "blind", "late": "late",
    "ua x0.6": "none", "duty x0.7": "none", "water to milk": "none", "fixed speed": "none",
    "runs always": "none", "pump held on": "none", "unfiltered": "none", "false position": "none",
    "no mixing": "none", "false temperature": "none", "no dose": "none", "wet air": "none",
    "passes liquid": "none", "one unit lost": "none", "air admission": "none", "manual": "none",
    "overflows": "none", "drips": "none",
}  # fmt: skip
"""What each word of a kind's failures does."""


@dataclass(frozen=True, slots=True)
class Hit:
    """One thing broken: a law on a machine; `at` is the position a valve is stuck in."""

    law: Law
    machine: str
    at: str = ""
    amount: float = 1.0


@dataclass(frozen=True, slots=True)
class Event:
    """One way one machine fails. `variants` are the states it may leave behind (a valve may stick
    in any position it ever has); the worst one counts. `alike` machines can each fail so. `common`
    marks one cause that takes several machines: its rate is the stated share of the rate of one.
    """

    id: str
    machine: str
    way: str
    failure: Failure
    variants: tuple[tuple[Hit, ...], ...]
    alike: int = 1
    common: bool = False

    @property
    def structural(self) -> bool:
        """Whether it can change where anything flows."""
        return any(hit.law != "none" for hits in self.variants for hit in hits)


def events_of(plant: Plant) -> tuple[Event, ...]:
    """Every way of every machine in file order, then what takes several at once."""
    own = tuple(
        _event(plant, machine, failure)
        for machine in plant.equipment.values()
        for failure in machine.failures()
    )
    return own + _together(plant)


def _together(plant: Plant) -> tuple[Event, ...]:
    """Common causes that no single machine's failure stands for."""
    found = []
    makers = plant.able("makes air")
    if makers:
        way = Failure("lost", makers[0].failures()[0].life, makers[0].failures()[0].repair_h,
                      "pressure falls everywhere; gates and shut-offs go to rest",
                      "find the cause: intake, dryer or water in the line", "")  # fmt: skip
        hits = tuple(Hit("off", m.id) for m in makers)
        found.append(Event("compressed air lost", makers[0].id, "lost", way, (hits,), 1, True))
    drives = [m for m in plant.able("turns deck") if m.failures()]
    count = sum(m.count for m in drives)
    if count > 1:
        first = drives[0]
        own = first.failures()[0]
        way = Failure("a lift group is out", own.life, own.repair_h, "the deck slows or stands",
                      "lower the group again, or slow down", own.part)  # fmt: skip
        left = 1.0 - (count // 2) / count
        hits = tuple(Hit("share", m.id, amount=left) for m in drives)
        found.append(
            Event(f"{first.id} a lift group is out", first.id, way.way, way, (hits,), 1, True)
        )
    return tuple(found)


def _event(plant: Plant, machine: Machine, failure: Failure) -> Event:
    law = EFFECTS.get(failure.effect, "none")
    if law == "off" and machine.can("senses"):
        law = "blind"  # no signal leads as wrongly as a false one
    return Event(
        f"{machine.id} {failure.way}", machine.id, failure.way, failure,
        _variants(plant, machine, failure, law), machine.count,
    )  # fmt: skip


def _variants(
    plant: Plant, machine: Machine, failure: Failure, law: Law
) -> tuple[tuple[Hit, ...], ...]:
    tag = machine.id
    if law == "stuck":
        found = dict.fromkeys(plant.position(mode, tag) or "" for mode in plant.modes)
        return tuple((Hit(law, tag, at),) for at in found) or ((Hit(law, tag),),)
    if law == "passes" and isinstance(machine, Valve) and machine.seats == "double":
        return ((Hit("none", tag),),)  # the chamber between the seats drains it
    if law in ("off", "share", "slow") and failure.each and machine.count > 1:
        left = 1.0 if law == "slow" else (machine.count - 1) / machine.count
        return ((Hit("slow" if law == "slow" else "share", tag, amount=left),),)
    if law == "share":
        return ((Hit(law, tag, amount=_share(failure.effect)),),)
    if law == "rests" and isinstance(machine, Valve):
        return ((Hit(law, tag, rest(machine)),),)
    if failure.effect == "lost":
        return ((Hit(law, tag), Hit("leaks", tag)),)
    return ((Hit(law, tag),),)


def _share(effect: str) -> float:
    """The number behind the `x` of an effect such as "capacity x0.75"."""
    return float(effect.rpartition("x")[2])


def rest(valve: Valve, place: str = "") -> str:
    """Where a valve goes when its air, power or signal is lost; `place` where it stays."""
    rests = {"opens": "open", "closes": "closed", "to_b": "to_b", "to_c": "to_c"}
    return rests.get(valve.on_loss, place)


def lose(plant: Plant, machine_id: str) -> Event:
    """The whole machine gone, as a question about a part that has no moving piece."""
    from byrewright.plant.machine import Failure as Way

    way = Way("is lost", "vessel", 8.0, "it leaks or is out of use", "repair", each=False)
    hits = (Hit("off", machine_id), Hit("shut", machine_id))
    return Event(f"{machine_id} is lost", machine_id, "is lost", way, (hits,))
