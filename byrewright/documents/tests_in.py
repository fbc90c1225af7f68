"""Tests of a plant in the reader's units: what the sheets ask, and what was read."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from byrewright.documents.format import System
from byrewright.documents.us_units import finding_in, result_in
from byrewright.documents.us_words import AIR, AIR_GROUPS, text_in, words_in
from byrewright.results import Result
from byrewright.site.checks.check import Check
from byrewright.site.checks.sheet import Filled
from byrewright.site.checks.verdicts import Judged, as_measured, judged, line
from byrewright.site.log import Entry
from byrewright.standards.units import US_UNITS, convert

COMPRESSED = "Compressed air"
"""Group of tests whose kPa are of compressed air, told in psi."""


def check_in(check: Check, system: System) -> Check:
    """A check as it is asked in the reader's units; a sheet that is read back says its units."""
    if system != "US":
        return check
    airy = check.group in AIR_GROUPS
    other = unit_in(check, system)

    def turned(value: float) -> float:
        return convert(value, check.unit, other) if other != check.unit else value

    return replace(
        check, unit=other,
        predicted=None if check.predicted is None else turned(check.predicted),
        limits=tuple(replace(x, value=turned(x.value)) for x in check.limits),
        title=text_in(check.title, system, air=airy), point=text_in(check.point, system, air=airy),
        how=text_in(check.how, system, air=airy),
    )  # fmt: skip


def unit_in(check: Check, system: System) -> str:
    """The unit in which a check is asked for in the reader's units."""
    return US_UNITS.get(_unit_of(check), check.unit) if system == "US" else check.unit


def asked_by(
    filled: Filled, checks: Sequence[Check], otherwise: System = "metric"
) -> Callable[[Check], str]:
    """The unit in which a filled-in sheet asked for each check, by the units that its rows say; of
    one that says none, in those of its reader."""
    by_id = {c.id: c for c in checks}
    said = [(r.unit, by_id[r.check]) for r in filled.rows if r.unit and r.check in by_id]
    us = any(unit == unit_in(c, "US") != c.unit for unit, c in said)
    metric = any(unit == c.unit != unit_in(c, "US") for unit, c in said)
    system: System = otherwise if us == metric else "US" if us else "metric"
    return lambda check: unit_in(check, system)


def checks_in(checks: Sequence[Check], system: System) -> tuple[Check, ...]:
    """Checks in the reader's units."""
    return tuple(check_in(c, system) for c in checks)


def judged_in(one: Judged, system: System) -> Judged:
    """A reading with its verdict in the reader's units, its numbers too."""
    if system != "US":
        return one
    check, unit = check_in(one.check, system), one.finding.unit
    airy = check.unit == US_UNITS[AIR]
    found = words_in(one.finding, system) if not airy else finding_in(one.finding, system)
    other = check.unit if unit == one.check.unit else US_UNITS.get(unit, unit)
    if other == unit:
        return replace(one, check=check, finding=found)

    def turned(value: float | None) -> float | None:
        return None if value is None else convert(value, unit, other)

    doubt = one.doubt
    if doubt is not None:
        doubt = float(f"{convert(doubt, unit, other) - convert(0.0, unit, other):.3g}")
    found = replace(found, value=turned(found.value), limit=turned(found.limit), unit=other)
    return Judged(check, found, one.entry, doubt)


def measured_in(
    plant: str, checks: Sequence[Check], entries: Sequence[Entry], system: System
) -> Result:
    """The verdicts on what was measured, in the reader's units."""
    result = result_in(as_measured(plant, checks, entries), system)
    if system != "US":
        return result
    done = [judged_in(j, system) for j in judged(checks, entries) if not j.not_done]
    first, *others = result.tables
    first = replace(first, rows=tuple(line(j) for j in done))
    return replace(result, findings=tuple(j.finding for j in done), tables=(first, *others))


def _unit_of(check: Check) -> str:
    """The unit of a check, with what its flow is of, or of what plant its pressure is."""
    if check.unit == "L/min" and check.group in AIR_GROUPS and not check.liquid:
        return AIR
    return "bar" if check.unit == "kPa" and check.group == COMPRESSED else check.unit
