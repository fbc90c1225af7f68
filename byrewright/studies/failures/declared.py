"""What the simulated day shows of each failure, and what it leaves out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from byrewright.plant.effects import Law
from byrewright.results import Table
from byrewright.studies.failures.analysis import Case
from byrewright.studies.failures.script import Script

MOST_NAMED = 4
"""Modes named in one cell."""
How = Literal["acts", "changes nothing", "not simulated"]

QUIET: Mapping[Law, str] = {
    "off": "the modes ask nothing of it",
    "three phases": "nothing runs on this supply",
    "shut": "nothing flows there in the modes",
    "stuck": "it stands in one position in all modes",
    "rests": "its rest position is the one wanted",
    "admits air": "no open way from it to the vacuum in milking",
    "leaks": "it is not under vacuum or pressure in milking",
    "breaks open": "nothing flows there in the modes",
    "share": "what is left is enough",
    "held": "no pump is led by it",
    "slow": "the deck keeps its pace",
    "bears": "its neighbours carry its load within their rating",
    "no signal": "nothing on the deck waits for a signal",
    "no power": "a second set of rings carries the deck",
    "no hold": "felt only if the mains is lost at the same time",
}
"""Why a failure that is simulated changes nothing, by its law."""


@dataclass(frozen=True, slots=True)
class Declared:
    """How the simulated day takes a failure, and the reason or what it leaves out."""

    how: How
    why: str = ""

    @property
    def text(self) -> str:
        """For a table cell."""
        return f"{self.how}: {self.why}" if self.why else self.how


def declared(case: Case, script: Script) -> Declared:
    """How the simulated day takes a failure."""
    effect = case.event.failure.effect
    if not script.nothing:
        return Declared("acts", f"not simulated: {effect.unseen}" if effect.unseen else "")
    if all(h.law == "outside" for h in case.hits) and effect.law != "outside":
        return Declared("changes nothing", "the chamber between its seats drains what passes")
    if effect.unseen:
        return Declared("not simulated", effect.unseen)
    if script.elsewhere:
        modes = [m.replace("_", " ") for m in script.elsewhere]
        named = ", ".join(modes[:MOST_NAMED]) + (
            f" and {len(modes) - MOST_NAMED} more" if len(modes) > MOST_NAMED else ""
        )
        return Declared("not simulated", f"it stands as milking wants it, and spoils {named}")
    return Declared("changes nothing", QUIET.get(effect.law, "nothing in the modes rests on it"))


def declared_table(cases: Sequence[Case], scripts: Mapping[str, Script]) -> Table:
    """Failures that the simulated day does not show, with what they mean instead."""
    rows = []
    for case in cases:
        found = declared(case, scripts[case.event.id])
        if found.how != "acts":
            rows.append((case.event.id, found.how, found.why, case.event.failure.seen))
    rows.sort(key=lambda r: (r[1] != "not simulated", r[0]))
    return Table(
        "failures.not_simulated", "What the simulated day does not show",
        ("failure", "simulated day", "why, or what it means", "seen"), ("", "", "", ""),
        tuple(rows),
        note="Not simulated: nothing that the model of flows holds changes, so delays and milk "
             "lost stand at nothing though people may be busy. Changes nothing: simulated, and "
             "the plant carries it.",
    )  # fmt: skip
