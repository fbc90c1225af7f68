"""How one thing that milking needs stands after a failure."""

from __future__ import annotations

from dataclasses import dataclass

from byrewright.studies.failures.paths import OperatorActions


@dataclass(frozen=True, slots=True)
class Answer:
    """How one thing stands: the acts it needs (none: by itself), or why it cannot be had.

    `pace` is the share of the usual pace that it carries, `spare_l_min` the vacuum air left over.
    """

    goes_on: bool
    acts: OperatorActions = ()
    why: str = ""
    pace: float = 1.0
    spare_l_min: float = 0.0

    @property
    def untouched(self) -> bool:
        """Whether the plant carries on by itself."""
        return self.goes_on and not self.acts


STOPS = False
