"""What a wrong position can do: one line a class, with what people should do about it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

Priority = Literal["high", "medium", "low"]


@dataclass(frozen=True, slots=True)
class Harm:
    """A class of verdict: its title, how urgent, and what to do."""

    key: str
    title: str
    priority: Priority
    do: str
    moving: bool = True
    """Whether it also counts while valves move between two modes."""
    unmilked: tuple[str, str] = ("", "")
    """Title and what to do in modes in which no cow is milked, where they are others."""

    def where(self, milked: bool) -> Harm:
        """The class as it is told in a mode in which cows are milked, or are not."""
        if milked or self.unmilked == ("", ""):
            return self
        title, do = self.unmilked
        return replace(self, title=title or self.title, do=do)


_ALL = (
    Harm("milk_lost", "milk to drain or floor", "high",
         "Stop attaching; shut the valve named; look at the floor drain and the tank's rise.",
         unmilked=("", "Shut the valve named; look at the floor drain and the tank's level.")),
    Harm("wash_to_milk", "wash to milk", "high",
         "Stop the wash pump; shut the valve named; hold the milk until it has been judged."),
    Harm("water_to_milk", "water to milk", "high",
         "Shut the water; shut the valve named; have the freezing point checked."),
    Harm("milk_to_wash", "milk to wash", "high",
         "Stop attaching; set the valve named; milk in the wash side is lost.",
         unmilked=("", "Set the valve named; milk in the wash side is lost.")),
    Harm("wrong_tank", "milk to a vessel not meant to be filled", "medium",
         "Shut the valve named; find which vessel rises; judge the milk in it."),
    Harm("overflow", "milk to a full vessel", "high",
         "Change over to a vessel with room; it overflows at its vent."),
    Harm("withheld_to_tank", "withheld milk to the tank", "high",
         "Stop attaching marked cows; set the valve named; do not send the tank's milk before it "
         "has been tested.",
         unmilked=("", "Set the valve named; do not send the tank's milk before it has been "
                       "tested.")),
    Harm("closed_line", "pump against a closed line", "medium",
         "Stop the pump; open the valve named.", moving=False),
    Harm("flooded", "receiver floods, milk into the vacuum line", "high",
         "Stop attaching; open the way out or run the pump by hand; then wash the vacuum line.",
         moving=False,
         unmilked=("receiver floods, liquid into the vacuum line",
                   "Stop the wash; open the way out or run the pump by hand; then drain the vacuum "
                   "line.")),
    Harm("vacuum_lost", "vacuum lost", "high",
         "Run the pump or shut the opening named; watch for cups that fall.", moving=False),
    Harm("past_filter", "milk past the filter", "medium",
         "Set the valve named; look at the tank's strainer.", moving=False),
    Harm("past_cooler", "warm milk past the cooler", "medium",
         "Set the valve named; watch the tank's temperature.", moving=False),
    Harm("not_drained", "line not drained", "low",
         "Open the valve named and wait until it has run out.", moving=False),
    Harm("one_seat", "only one seat between wash and milk", "medium",
         "Set the valve named: a leaking seat is now enough.", moving=False),
)  # fmt: skip

HARMS: Mapping[str, Harm] = {h.key: h for h in _ALL}
"""Every class by key, in the order in which they are shown."""
