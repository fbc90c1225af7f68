"""Who reads what: the roles a machine must play so that every study sees what it does.

The day runs on the records that a kind lowers to and the routes on the ways through it, so they
read every kind. Sizing, vacuum and the failure study ask for roles: a machine that does something
without saying so would be in the day and missing from them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from byrewright.plant import primitives as does
from byrewright.plant.machine import Machine
from byrewright.plant.plant import Plant

SAYS: Mapping[type, tuple[str, ...]] = {
    does.Pump: ("moves milk", "moves water"),
    does.Exchange: ("cools milk",),
    does.Filter: ("filters milk",),
    does.HoldsCold: ("buffers cold",),
    does.Recovers: ("recovers heat",),
    does.Chill: ("makes cold",),
    does.Cooled: ("stores milk",),
    does.Heated: ("heats water",),
    does.Stalls: ("stands cows",),
    does.Turns: ("turns deck",),
    does.Gate: ("brings cows",),
    does.Units: ("gives milk",),
    does.TakesOff: ("removes units",),
    does.EachCow: ("rinses units",),
    does.MakesVacuum: ("makes vacuum",),
    does.HoldsVacuum: ("regulates vacuum",),
    does.DrawsAir: ("pulsates",),
    does.MakesAir: ("makes air",),
    does.StoresAir: ("stores air",),
    does.Batch: ("washes cloths", "dries cloths"),
    does.Draw: ("feeds calves",),
    does.Tanker: ("loads tankers",),
    does.WashVessel: ("gives wash",),
    does.Doses: ("doses wash",),
    does.Sense: ("senses",),
}
"""What a machine that lowers to a record must say that it does (one of these)."""
VACUUM = (
    "makes vacuum", "regulates vacuum", "shares vacuum", "traps liquid", "feeds pulsators",
    "pulsates", "joins deck", "passes one way", "joins pipes", "is a valve", "receives milk",
    "collects milk", "gives milk", "keeps withheld milk",
)  # fmt: skip
"""What the vacuum study knows the loss or the use of; anything else on its pipes is guessed."""
AIR_WAYS = ("passes one way", "joins pipes", "shares vacuum")
"""What a machine that vacuum only passes through may be."""


def unread(plant: Plant) -> Iterator[tuple[Machine, str, tuple[str, ...]]]:
    """Machines that a study does not read: the machine, the studies, and what it would have to say.

    Each is in the plant and in the day, so the answers of the studies named leave it out.
    """
    for one in plant.equipment.values():
        for record in dict.fromkeys(type(p) for p in one.lower()):
            words = SAYS.get(record, ())
            if words and not any(one.can(word) for word in words):
                yield one, "sizing and the failure study", words
        piped = any(plant.service_of(p) == "vacuum" for p in plant.pipes_at(one.id))
        if piped and not any(one.can(word) for word in VACUUM):
            yield one, "the vacuum study and sizing", AIR_WAYS
