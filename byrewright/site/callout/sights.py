"""What a caller sees, in a milker's words, and what to do before anything is looked at.

Common practice, no source. Which failures may be behind a sight follows from the plant: from what
its machines do (`roles`), and from what a failure does to milking as the failure study has it
(`effects`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from byrewright.plant.plant import Plant
from byrewright.plant.roles import StandsCows

Effect = Literal["cups", "vacuum", "deck", "milk"]


@dataclass(frozen=True, slots=True)
class Sight:
    """One thing that a caller may see.

    `complaint` is the word that diagnosis has for it ("" where it has none); `call` tells to call
    at once.
    """

    key: str
    words: str
    first: tuple[str, ...]
    roles: frozenset[str] = frozenset()
    effects: frozenset[Effect] = frozenset()
    complaint: str = ""
    call: str = ""
    positions: bool = False
    """Where valves must stand is listed."""


def _sight(
    key: str, words: str, first: tuple[str, ...], roles: str = "", *effects: Effect,
    complaint: str = "", call: str = "", positions: bool = False,
) -> Sight:  # fmt: skip
    every = frozenset(r for r in roles.split(", ") if r)
    return Sight(key, words, first, every, frozenset(effects), complaint, call, positions)


SIGHTS: tuple[Sight, ...] = (
    _sight("hurt", "Somebody is hurt, smoke, fire or gas", (
        "Press the nearest emergency stop.",
        "Get everybody away from the cows, the pit and the plant room. Never go in after somebody "
        "lying in a pit, a tank or a cloud of gas.",
        "Call the emergency number. Then call whoever is in charge of this farm.",
    ), call="the emergency number of your country"),
    _sight("cups", "Cups fall off or will not stay on", (
        "Put no more cups on. Leave the cows where they are.",
        "Shut off the vacuum to each unit that fell and hang it up. What it sucked up off the "
        "floor must not reach the tank: if in doubt, hold the milk back.",
    ), "regulates vacuum, traps liquid, injects air, feeds pulsators", "cups", "vacuum",
        complaint="cups fall"),
    _sight("vacuum", "The vacuum gauge is low, or a pump sounds wrong", (
        "Put no more cups on until the gauge is back to normal.",
        "Read the gauge at the receiver. Listen along the units for a hiss.",
    ), "makes vacuum, regulates vacuum, shares vacuum, feeds pulsators, injects air", "vacuum",
        complaint="vacuum low"),
    _sight("deck", "The deck has stopped, jerks or thumps", (
        "Keep hands and feet away from the edge. Nobody goes under the deck.",
        "Check whether a cow is down or something is caught. If so, press the emergency stop.",
    ), "turns deck, carries deck, stands cows, brings cows", "deck"),
    _sight("dark", "The lights are out, or half the plant has stopped", (
        "Get a torch. Leave the cows where they are.",
        "Switch the milk pumps and all that moves cows off at their own switches, so that nothing "
        "starts by itself when power comes back.",
    ), "supplies power, shares power, generates power, bridges power"),
    _sight("dead", "Screens are dead, or an alarm sounds for no reason", (
        "Take units off by hand.",
        "Read what the alarm says, word by word, and write it down.",
    ), "controls, bridges power, senses, tells people, joins deck"),
    _sight("milk", "Milk rises in the receiver, foams, or does not get to the tank", (
        "Put no more cups on until the level in the receiver drops.",
        "Look at the tank's inlet: is it the right tank, and is its valve open?",
    ), "receives milk, moves milk, filters milk, balances milk, collects milk", "milk"),
    _sight("warm", "Milk is warm, or the tank does not cool", (
        "Measure the milk in the tank with a hand thermometer. Write down time and degrees.",
        "Let the tanker take nothing until whoever is responsible has decided.",
    ), "cools milk, makes cold, stores milk, buffers cold, takes expansion, gives water, "
       "filters water", complaint="milk warm"),
    _sight("one", "Just one place: one unit or one cow", (
        "Shut off the vacuum to this unit and hang it up. Carry on with the others.",
        "Milk the cow with another unit.",
    ), "gives milk, pulsates, removes units, rinses units, keeps withheld milk, "
       "rides on the deck"),
    _sight("wash", "The wash was cold, short or without detergent", (
        "Do not milk through a plant that has not been washed: put it right, then wash again.",
        "Check the detergent drums and the temperature of the return.",
    ), "gives wash, doses wash, injects air, heats water, softens water, recovers heat",
        complaint="wash cold"),
    _sight("water", "No water, or water where it should not be", (
        "Check whether there is water in the store, and whether a tap or hose is running.",
        "If water may have got into the milk, hold the milk back.",
    ), "gives water, moves water, buffers water, filters water, protects water, softens water"),
    _sight("air", "Compressed air is low, gates or shut-offs move by themselves", (
        "Stand clear of gates and cylinders: they may move when the air comes back.",
        "Read the gauge of the air receiver. Listen for a burst hose.",
    ), "makes air, dries air, stores air", complaint="air pressure low"),
    _sight("valve", "A valve does not move, or an alarm names a valve", (
        "Do not touch a valve unless you know where it should be.",
        "Where they should be is listed below. Look at the one that the alarm names.",
    ), "is a valve", positions=True),
    _sight("lost", "Milk may be lost or spoiled: drain, wash, water, drugs", (
        "Stop the milk pump, or shut the inlet of the tank.",
        "Hold the milk back. Nothing leaves the farm until the buyer or the authority has decided.",
        "Where the valves should be is listed below. Follow the milk line and find the one that is "
        "not. Write down how it was before you turn it.",
    ), call="whoever is responsible for the milk, before the tanker comes", positions=True),
)  # fmt: skip
"""In the order in which they are shown: danger first, then what stops milking."""
_ROWS = {
    "deck": ("A gate does not move, or cows do not come in", (
        "Stand clear of the gate: it may move by itself.",
        "Check whether a cow is down or something is caught. If so, press the emergency stop.",
    )),
}  # fmt: skip
"""Sights of fixed stalls, which have no deck, in place of a rotary's."""


def sights_of(plant: Plant) -> tuple[Sight, ...]:
    """The sights of a plant, in words that fit its stalls."""
    if any(m.layout == "rotary" for m in plant.machines(StandsCows)):
        return SIGHTS
    return tuple(
        replace(s, words=_ROWS[s.key][0], first=_ROWS[s.key][1]) if s.key in _ROWS else s
        for s in SIGHTS
    )
