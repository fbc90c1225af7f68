"""What people decided of a plant, kept when it is drafted again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Self

from pydantic import PrivateAttr

from byrewright.plant.place import Place
from byrewright.plant.record import Record

if TYPE_CHECKING:
    from byrewright.plant.plant import Pipe, Plant

OF_A_PIPE = ("length_m", "rise_m", "along", "by")
"""What only a person can have written of a pipe: a draft leaves it to the plan."""


@dataclass(frozen=True)
class Decided:
    """Where things stand, and what was measured or said of pipes, by tag and both ends."""

    layout: str
    place: Place | None
    pipes: Mapping[tuple[str, str, str], Mapping[str, Any]]

    def place_for(self, layout: str, tags: Iterable[str], usual: Place) -> tuple[Place, list[str]]:
        """The place of the new draft, and the machines decided on that it has not got.

        Rooms round a turning deck mean nothing to rows, and the other way round.
        """
        if self.place is None or layout != self.layout:
            return usual, []
        have = set(tags)
        kept = {t: one for t, one in self.place.machines.items() if t in have}
        gone = [t for t in self.place.machines if t not in have]
        stated = {k: getattr(self.place, k) for k in self.place.model_fields_set}
        if self.place.machines:
            stated["machines"] = kept
        return Place(**{"services": usual.services, **stated}), gone

    def of(self, pipe: Pipe) -> Pipe:
        """A pipe of the new draft with what was decided of it, where both its ends are the same."""
        said = self.pipes.get((pipe.id, pipe.start, pipe.end))
        return pipe if said is None else pipe.model_copy(update=dict(said))


def decided_in(plant: Plant) -> Decided:
    """What people decided of a plant."""
    decks = plant.able("stands cows")
    pipes = {
        (p.id, p.start, p.end): {k: getattr(p, k) for k in OF_A_PIPE if k in p.model_fields_set}
        for p in plant.pipes
        if plant.place is not None
    }
    layout = str(getattr(decks[0], "layout", "")) if decks else ""
    return Decided(layout, plant.place, {k: v for k, v in pipes.items() if v})


class DraftedAgain(Record):
    """A record whose draft may take the place of a plant, and keeps what was decided of it."""

    _decided: Decided | None = PrivateAttr(default=None)

    @property
    def decided(self) -> Decided | None:
        """What people decided of the plant that is drafted again."""
        return self._decided

    def deciding(self, decided: Decided | None) -> Self:
        """The same for a draft that keeps what was decided."""
        kept = self.model_copy()
        kept._decided = decided
        return kept
