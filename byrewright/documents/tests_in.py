"""Tests of a plant in the reader's units: what the sheets ask, and what was read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from byrewright.documents.format import System
from byrewright.documents.us_units import AIR, AIR_GROUPS, finding_in, text_in
from byrewright.site.checks.check import Check
from byrewright.site.checks.verdicts import Judged
from byrewright.standards.units import US_UNITS, convert


def check_in(check: Check, system: System) -> Check:
    """A check as it is asked in the reader's units; a sheet that is read back says its units."""
    if system != "US":
        return check
    airy = check.group in AIR_GROUPS
    unit = _unit_of(check)
    other = US_UNITS.get(unit, unit)
    told = check.predicted
    return replace(
        check, unit=other if unit in US_UNITS else check.unit,
        predicted=None if told is None else convert(told, unit, other),
        limits=tuple(replace(x, value=convert(x.value, unit, other)) for x in check.limits)
        if unit in US_UNITS else check.limits,
        title=text_in(check.title, system, air=airy), point=text_in(check.point, system, air=airy),
        how=text_in(check.how, system, air=airy),
    )  # fmt: skip


def checks_in(checks: Sequence[Check], system: System) -> tuple[Check, ...]:
    """Checks in the reader's units."""
    return tuple(check_in(c, system) for c in checks)


def judged_in(one: Judged, system: System) -> Judged:
    """A reading with its verdict in the reader's units, its numbers too."""
    if system != "US":
        return one
    found = finding_in(one.finding, system)
    unit, other = found.unit, US_UNITS.get(found.unit)
    check = check_in(one.check, system)
    if other is None:
        return replace(one, check=check, finding=found)

    def turned(value: float | None) -> float | None:
        return None if value is None else convert(value, unit, other)

    doubt = one.doubt
    if doubt is not None:
        doubt = convert(doubt, unit, other) - convert(0.0, unit, other)
    found = replace(found, value=turned(found.value), limit=turned(found.limit), unit=other)
    return Judged(check, found, one.entry, doubt)


def _unit_of(check: Check) -> str:
    """The unit of a check, with what its flow is of."""
    return AIR if check.unit == "L/min" and check.group in AIR_GROUPS else check.unit
