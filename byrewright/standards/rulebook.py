"""The rulebook: every number by key, with the user's own values on top."""

from __future__ import annotations

import difflib
import importlib
import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

from byrewright.standards.milkline_table import UnitsPerSlope
from byrewright.standards.model import UnknownRule, Value

if TYPE_CHECKING:
    from byrewright.standards.cooling import TemperatureRule

THEMES = (
    "vacuum",
    "milkline",
    "cooling",
    "cleaning",
    "compressed_air",
    "electrical",
    "cables",
    "pipes",
    "deck",
    "milking",
    "labour",
    "laundry",
    "reliability",
    "alarms",
    "hygiene",
    "day",
    "place",
    "water",
    "liquids",
    "installing",
    "upkeep",
    "diagnosis",
)
"""Modules of this room that each hold a tuple `VALUES`."""


class Rulebook(Mapping[str, Value]):
    """An immutable mapping of key to `Value`.

    Args:
        overrides: numbers that replace the defaults, in the unit of the default, as a user
            writes them in the limits file.
        units_per_slope: the standard's table of units per slope, where a licensed user entered it.
        regions: milk-temperature rules of further regions, as a user writes them.

    Raises:
        UnknownRule: an override names a key that does not exist.
        ValueError: an override is not a finite number in the rule's range.
    """

    __slots__ = ("_overridden", "_values", "regions", "units_per_slope")

    def __init__(
        self,
        overrides: Mapping[str, float] | None = None,
        units_per_slope: UnitsPerSlope | None = None,
        regions: tuple[TemperatureRule, ...] = (),
    ) -> None:
        self.regions = regions
        self.units_per_slope = units_per_slope
        self._values = dict(_defaults())
        for key, number in (overrides or {}).items():
            default = self[key]
            if isinstance(number, bool) or not isinstance(number, int | float):
                raise ValueError(f"{key}: write a number in {default.unit or 'no unit'}")
            if not math.isfinite(number):
                raise ValueError(f"{key}: write a finite number in {default.unit or 'no unit'}")
            if not default.allows(number):
                raise ValueError(f"{key}: {number:g} is out of range: {default.allowed_text}")
            self._values[key] = replace(
                default,
                value=float(number),
                source="user",
                confidence="stated",
                low=None,
                high=None,
            )
        self._overridden = tuple(sorted(overrides or {}))

    def __getitem__(self, key: str) -> Value:
        try:
            return self._values[key]
        except KeyError:
            near = difflib.get_close_matches(key, self._values, n=1, cutoff=0.0)
            raise UnknownRule(f"no rule is called {key!r}; the nearest is {near[0]!r}") from None

    def __contains__(self, key: object) -> bool:
        return key in self._values

    def __iter__(self) -> Iterator[str]:
        return iter(self._values)

    def __len__(self) -> int:
        return len(self._values)

    def __hash__(self) -> int:
        own = tuple((key, self._values[key].value) for key in self._overridden)
        return hash((own, self.regions))

    def temperature_rule(self, region: str) -> TemperatureRule:
        """The milk-temperature rule of a region: the user's own first.

        Raises:
            KeyError: the region is not held; the text lists those that are.
        """
        from byrewright.standards.cooling import temperature_rule

        for rule in self.regions:
            if rule.region.casefold() == region.casefold():
                return rule
        return temperature_rule(region)

    @property
    def regions_held(self) -> tuple[str, ...]:
        """Names of the regions whose rules are held, the user's own last."""
        from byrewright.standards.cooling import TEMPERATURE_RULES

        return tuple(rule.region for rule in (*TEMPERATURE_RULES, *self.regions))

    def number(self, key: str) -> float:
        """The number alone.

        >>> default_rulebook().number("vacuum.iso_drop_receiver_to_pump_kpa")
        3.0
        """
        return self[key].value

    @property
    def overridden(self) -> tuple[str, ...]:
        """Keys the user replaced, sorted."""
        return self._overridden

    def to_check(self) -> tuple[Value, ...]:
        """The values known only from memory: a licensed user should check them."""
        return tuple(v for v in self._values.values() if v.confidence == "from_memory")


class WatchedRules(Rulebook):
    """A rulebook that remembers which of its numbers were asked for."""

    __slots__ = ("used",)

    def __init__(self, rules: Rulebook) -> None:
        self.used: dict[str, None] = {}
        super().__init__(
            {key: rules.number(key) for key in rules.overridden},
            rules.units_per_slope,
            rules.regions,
        )
        self.used.clear()

    def __getitem__(self, key: str) -> Value:
        value = super().__getitem__(key)
        self.used[key] = None
        return value


@cache
def _defaults() -> dict[str, Value]:
    values: dict[str, Value] = {}
    for theme in THEMES:
        rows: tuple[Value, ...] = importlib.import_module(f"{__package__}.{theme}").VALUES
        for row in rows:
            if row.key in values:
                raise ValueError(f"two rules are called {row.key!r}")
            values[row.key] = row
    return values


@cache
def default_rulebook() -> Rulebook:
    """The rulebook with nothing overridden."""
    return Rulebook()
