"""An upright cut through the plan: what it crosses, and where a point of the site lies in it."""

from __future__ import annotations

from dataclasses import dataclass

from byrewright.documents.plan_canvas import Flat
from byrewright.place.model import Point, Room, Side


@dataclass(frozen=True, slots=True)
class Cut:
    """An upright cut: its letter, the side looked to, where it stands, and how far is seen, m."""

    letter: str
    look: Side
    at: float
    reach: float = 8.0
    words: str = ""

    def u(self, x: float, y: float) -> float:
        """Along the cut, from left to right of who looks."""
        return {"n": x, "s": -x, "e": -y, "w": y}[self.look]

    def deep(self, x: float, y: float) -> float:
        """Behind the cut, m; less than nothing for what lies before it."""
        return {
            "n": y - self.at, "s": self.at - y, "e": x - self.at, "w": self.at - x
        }[self.look]  # fmt: skip

    def flat(self, p: Point) -> Flat:
        """A point of the site in the cut's plane."""
        return self.u(p[0], p[1]), p[2]

    def span(self, room: Room) -> tuple[float, float]:
        """A room from left to right."""
        a, b = self.u(room.x, room.y), self.u(room.x2, room.y2)
        return min(a, b), max(a, b)

    def crosses(self, room: Room) -> bool:
        """Whether it cuts a room."""
        low, high = (room.y, room.y2) if self.look in ("n", "s") else (room.x, room.x2)
        return low < self.at < high
