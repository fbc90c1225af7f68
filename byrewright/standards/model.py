"""What a fact is: a value, where it came from and how sure we are of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Confidence = Literal["read", "second_hand", "from_memory", "derived", "common_practice", "stated"]
"""How a fact is known. `stated` marks a value the user entered in the limits file."""

CONFIDENCE_MEANING: Mapping[Confidence, str] = {
    "read": "read in the named source",
    "second_hand": "read in a second source that reproduces the named one",
    "from_memory": "from memory; check it against the named text",
    "derived": "worked out here from stated figures",
    "common_practice": "common practice, no source",
    "stated": "stated by the user in the limits file",
}

Kind = Literal["limit", "rule", "typical"]


@dataclass(frozen=True, slots=True)
class Source:
    """A document, or a body of practice, that facts are taken from."""

    key: str
    title: str
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Value:
    """One number: a limit not to pass, a coefficient of a rule, or a typical figure.

    `low` and `high` bound a typical figure where the source gives a range. `least` and `most` bound
    what a user may put in its place; where a rule does not state them they follow from its unit and
    size (`range`). No study reads a rule that is `unread` yet, so nobody may replace it.
    """

    key: str
    value: float
    unit: str
    meaning: str
    source: str
    confidence: Confidence
    kind: Kind
    low: float | None = None
    high: float | None = None
    least: float | None = None
    most: float | None = None
    unread: bool = False

    @property
    def range(self) -> tuple[float, float]:
        """Least and most that a user may state in place of this value.

        A share lies in 0 to 1, a temperature within 40 K below and 60 K above, a length of the
        building within a factor of four, anything else within a factor of twenty and where its
        source says, and all within what is `SENSIBLE` of its kind; farther away it is a slip of the
        unit or of the decimal point.
        """
        value, theme = self.value, self.key.partition(".")[0]
        if self.unit == "degC":
            least, most = value - COLDER_K, value + WARMER_K
        elif self.key.endswith("_share") and value <= 1:
            least, most = 0.0, 1.0
        else:
            factor = BUILDING_FACTOR if (theme, self.unit) == ("place", "m") else FACTOR
            least, most = sorted((value / factor, value * factor))
            most = min(most, 1.0) if self.unit == "" and self.key.endswith(AT_MOST_ONE) else most
        bottom, top = (
            SENSIBLE.get((theme, self.unit)) or SENSIBLE.get(("", self.unit)) or (least, most)
        )
        if bottom <= value <= top:
            least, most = max(least, bottom), min(most, top)
        least = min(least, least if self.low is None else self.low)
        most = max(most, most if self.high is None else self.high)
        return (
            least if self.least is None else self.least,
            most if self.most is None else self.most,
        )

    @property
    def allowed_text(self) -> str:
        """`range` as words."""
        least, most = self.range
        return f"{least:g} to {most:g} {self.unit}".strip()

    def allows(self, number: float) -> bool:
        """Whether a user may state this number in place of the value."""
        least, most = self.range
        return least <= number <= most


FACTOR, BUILDING_FACTOR = 20.0, 4.0
COLDER_K, WARMER_K = 40.0, 60.0
AT_MOST_ONE = (
    "efficiency", "efficiency_electric", "efficiency_fuel", "power_factor", "load_most",
    "duty_most", "loading", "load_fill", "correlation", "fail_to_start", "common_cause",
    "least_pace",
)  # fmt: skip
"""Ends of the keys of what cannot be more than all of it."""


SENSIBLE = {
    ("", "%"): (0.0, 100.0),
    ("vacuum", "kPa"): (0.0, 105.0),
    ("milk", "degC"): (-5.0, 45.0),
    ("wash", "degC"): (0.0, 100.0),
    ("cloth", "degC"): (0.0, 100.0),
    ("tank", "degC"): (-10.0, 40.0),
    ("frost", "degC"): (-10.0, 20.0),
    ("cloth", "h"): (0.0, 24.0),
    ("place", "%"): (0.0, 30.0),
}
"""Least and most by theme and unit (any theme: ""): no share above all of it, no vacuum beyond the
air's own pressure, no milk that is boiled or ice. Where a rule's own value lies outside, it is none
of the kind. Common practice, no source."""


class UnknownRule(KeyError):
    """A key that is not in the rulebook; the text names the nearest one."""

    def __str__(self) -> str:
        return str(self.args[0]) if self.args else "unknown rule"
