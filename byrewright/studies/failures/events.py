"""Ways to fail, as the study takes them: one event for each way of each machine.

A kind declares each failure with a typed effect (`plant/effects.py`); here it becomes what is
broken.
"""

from __future__ import annotations

from dataclasses import dataclass

from byrewright.plant.effects import OFF, Law
from byrewright.plant.machine import Failure, Machine
from byrewright.plant.plant import Plant
from byrewright.plant.roles import IsValve

NO_FLOW: frozenset[Law] = frozenset({"outside", "held on", "duty", "fouled", "late"})
"""Laws that cannot change where anything flows in milking."""


@dataclass(frozen=True, slots=True)
class FaultEffect:
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
    variants: tuple[tuple[FaultEffect, ...], ...]
    alike: int = 1
    common: bool = False

    @property
    def structural(self) -> bool:
        """Whether it can change where anything flows."""
        return any(hit.law not in NO_FLOW for hits in self.variants for hit in hits)


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
                      "pressure falls everywhere; gates and shut-offs go to their rest positions",
                      "find the cause: intake, dryer or water in the line", "", OFF)  # fmt: skip
        hits = tuple(FaultEffect("off", m.id) for m in makers)
        found.append(Event("compressed air lost", makers[0].id, "lost", way, (hits,), 1, True))
    drives = [m for m in plant.able("turns deck") if m.failures()]
    count = sum(m.count for m in drives)
    if count > 1:
        first = drives[0]
        own = first.failures()[0]
        way = Failure("a lift group is out", own.life, own.repair_h, "the deck slows or stands",
                      "lower the group again, or slow down", own.part)  # fmt: skip
        left = 1.0 - (count // 2) / count
        hits = tuple(FaultEffect("share", m.id, amount=left) for m in drives)
        found.append(
            Event(f"{first.id} a lift group is out", first.id, way.way, way, (hits,), 1, True)
        )
    return tuple(found)


def _event(plant: Plant, machine: Machine, failure: Failure) -> Event:
    return Event(
        f"{machine.id} {failure.way}", machine.id, failure.way, failure,
        _variants(plant, machine, failure), machine.count,
    )  # fmt: skip


def _variants(
    plant: Plant, machine: Machine, failure: Failure
) -> tuple[tuple[FaultEffect, ...], ...]:
    tag, law, share = machine.id, failure.effect.law, failure.effect.share
    if law == "off" and machine.can("senses"):
        law = "blind"  # no signal leads as wrongly as a false one
    if law == "stuck":
        found = dict.fromkeys(plant.position(mode, tag) or "" for mode in plant.modes)
        return tuple((FaultEffect(law, tag, at),) for at in found) or ((FaultEffect(law, tag),),)
    if law == "passes" and isinstance(machine, IsValve) and machine.seats == "double":
        return ((FaultEffect("outside", tag),),)  # the chamber between the seats drains it
    if law in ("off", "share") and failure.each and machine.count > 1:
        left = (machine.count - 1 + share) / machine.count
        return ((FaultEffect("share", tag, amount=left),),)
    if law == "rests" and isinstance(machine, IsValve):
        return ((FaultEffect(law, tag, rest(machine)),),)
    if law == "breaks open":
        return ((FaultEffect("off", tag), FaultEffect("leaks", tag)),)
    if law == "three phases":
        law = "off"
    return ((FaultEffect(law, tag, amount=share if law == "share" else 1.0),),)


def rest(valve: IsValve, place: str = "") -> str:
    """Where a valve goes when its air, power or signal is lost; `place` where it stays."""
    rests = {"opens": "open", "closes": "closed", "to_b": "to_b", "to_c": "to_c"}
    return rests.get(valve.on_loss, place)


def lose(plant: Plant, machine_id: str) -> Event:
    """The whole machine gone, as a question about a part that has no moving piece."""
    from byrewright.plant.machine import Failure as Way

    way = Way("is lost", "vessel", 8.0, "it leaks or is out of use", "repair", each=False)
    hits = (FaultEffect("off", machine_id), FaultEffect("shut", machine_id))
    return Event(f"{machine_id} is lost", machine_id, "is lost", way, (hits,))
