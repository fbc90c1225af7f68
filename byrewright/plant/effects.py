"""What a failure does to the plant, as a type: a law on the flows, or a statement of what it means.

A kind picks one of these for each of its failures. There is no word for "nothing": what the model
of flows does not feel must say what it means to people, and every result repeats that.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Law = Literal[
    "off", "three phases", "shut", "stuck", "rests", "passes", "admits air", "leaks", "breaks open",
    "share", "duty", "fouled", "held", "held on", "slow", "bears", "no signal", "no power",
    "no hold", "blind", "late", "outside",
]  # fmt: skip
"""What a failure does. off: does nothing. three phases: motors stop, as with the supply gone.
shut: nothing passes it. stuck: its valve does not move. rests: a moved valve goes to its rest
position and obeys hands alone. passes: what should shut lets some through. admits air: a whole
opening. leaks: a seal or joint. breaks open: is off and leaks. share: works at a share. duty: makes
cold at a share. fouled: changes heat at a share. held: pumps led by it stand. held on: they do not
stop. slow: the deck must turn slower. bears: its neighbours carry its load, or else slow. no
signal, no power: lost across the gland. no hold: carries nothing through a loss of mains. blind: a
reading is false or lost. late: the tanker. outside: nothing that is simulated changes."""


@dataclass(frozen=True, slots=True)
class Effect:
    """A law, the share of its work that a machine keeps, and what the simulated day leaves out.

    Raises:
        ValueError: the law is `outside` and `unseen` does not say what that means.
    """

    law: Law
    share: float = 0.0
    unseen: str = ""

    def __post_init__(self) -> None:
        if self.law == "outside" and not self.unseen:
            raise ValueError("an effect outside the simulated day says what it means to people")


OFF = Effect("off")
THREE_PHASES = Effect("three phases", unseen="loads on one phase may stay live")
SHUT = Effect("shut")
STUCK = Effect("stuck")
RESTS = Effect("rests")
PASSES = Effect("passes", unseen="what passes its seat while nothing behind it stands open")
ADMITS_AIR = Effect("admits air", unseen="its flow through the bore: taken as a whole opening")
LEAKS = Effect("leaks")
BREAKS_OPEN = Effect("breaks open")
HELD = Effect("held")
HELD_ON = Effect("held on", unseen="milk churned and air in the delivery")
SLOW = Effect("slow")
BEARS = Effect("bears")
NO_SIGNAL = Effect("no signal")
NO_POWER = Effect("no power")
NO_HOLD = Effect("no hold")
BLIND = Effect("blind", unseen="what people do by a false reading")
LATE = Effect("late")
FIXED = Effect(
    "outside", unseen="vacuum is held by the regulator alone: more power, and less held in reserve"
)


def at_share(share: float) -> Effect:
    """Works at a share of its capacity."""
    return Effect("share", share)


def duty(share: float) -> Effect:
    """Makes cold at a share."""
    return Effect("duty", share)


def fouled(share: float) -> Effect:
    """Changes heat at a share of its UA."""
    return Effect("fouled", share)


def outside(meaning: str) -> Effect:
    """Changes nothing that is simulated; `meaning` tells what it does instead."""
    return Effect("outside", unseen=meaning)
