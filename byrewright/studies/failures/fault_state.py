"""What is broken, sorted by what it does."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import assert_never

from byrewright.studies.failures.events import FaultEffect


@dataclass(slots=True)
class FaultState:
    """What is broken, sorted by law."""

    off: set[str] = field(default_factory=set)
    shut: set[str] = field(default_factory=set)
    stuck: dict[str, str] = field(default_factory=dict)
    passes: set[str] = field(default_factory=set)
    opens: set[str] = field(default_factory=set)
    leaks: set[str] = field(default_factory=set)
    lost: dict[str, float] = field(default_factory=dict)
    held: set[str] = field(default_factory=set)
    no_hold: set[str] = field(default_factory=set)
    slow: dict[str, int] = field(default_factory=dict)
    no_signal: int = 0
    no_power: int = 0

    @classmethod
    def of(cls, hits: Iterable[FaultEffect]) -> FaultState:
        """Sort some hits."""
        found = cls()
        for hit in hits:
            found._take(hit)
        return found

    def _take(self, hit: FaultEffect) -> None:
        tag = hit.machine
        match hit.law:
            case "off" | "three phases":
                self.off.add(tag)
            case "shut":
                self.shut.add(tag)
            case "stuck" | "rests":
                self.stuck[tag] = hit.at
            case "passes":
                self.passes.add(tag)
            case "admits air":
                self.opens.add(tag)
            case "leaks":
                self.leaks.add(tag)
            case "breaks open":
                self.off.add(tag)
                self.leaks.add(tag)
            case "share":
                self.lost[tag] = min(1.0, self.lost.get(tag, 0.0) + 1.0 - hit.amount)
            case "held" | "blind":
                self.held.add(tag)
            case "no hold":
                self.no_hold.add(tag)
            case "slow" | "bears":
                self.slow[tag] = self.slow.get(tag, 0) + 1
            case "no signal":
                self.no_signal += 1
            case "no power":
                self.no_power += 1
            case "held on" | "duty" | "fouled" | "late" | "outside":
                pass  # milking goes on; what they do shows in the simulated day, or is declared
            case _:
                assert_never(hit.law)
