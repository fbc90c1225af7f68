"""Readings as a diagnosis and a fit take them: from the log, from instrument files, typed in."""

from __future__ import annotations

import re
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from byrewright.errors import ByrewrightError
from byrewright.plant.plant import Plant
from byrewright.plant.problems import nearest
from byrewright.site.checks.catalogue import TESTS
from byrewright.site.checks.measured import owner_of
from byrewright.site.checks.verdicts import AWAY, FROM_FILES, OF_HERD, readings_by_check
from byrewright.site.condition.seen import Reading
from byrewright.site.log import Entry, log_of
from byrewright.site.readings.figure import Figure
from byrewright.standards.units import UnitError, convert, typed_number

NUMBER = r"[0-9]*[.,]?[0-9]+"
WHERE = "'byrewright tests PLANT --json' lists the checks"
UNIT = r"[A-Za-z%][\w%/]*"
TYPED = re.compile(
    rf"(?P<check>[\w@#.]+)=(?P<value>-?{NUMBER})(?P<own>{UNIT})?"
    rf"(?:(?:\+-|/)(?P<doubt>{NUMBER})(?P<unit>{UNIT})?)?"
)
UNITS = {f.key: f.unit for test in TESTS.values() for f in test.figures} | {OF_HERD: "s"}


@dataclass(frozen=True, slots=True)
class Taken:
    """A reading with who took it and when, for the list of what an answer rests on."""

    reading: Reading
    when: str
    who: str


def of_log(path: Path, plant: Plant, since: str = "") -> tuple[Taken, ...]:
    """The last reading of each check in the log of a plant; of a day or later, where one is named.

    Raises:
        ByrewrightError: the log cannot be read, or the day is none.
    """
    try:
        first = time.mktime(time.strptime(since, "%Y-%m-%d")) if since else 0.0
    except ValueError:
        raise ByrewrightError(f"--since {since}: is not a date; write it as 2026-03-31") from None
    log = log_of(path, owner_of(plant))
    try:
        entries = log.entries("test", "reading") if log.home.identity() else []
    finally:
        log.close()
    return of_entries(e for e in entries if e.at >= first)


def of_entries(entries: Iterable[Entry]) -> tuple[Taken, ...]:
    """The last reading of each check, with a value; none that was only told as a distance."""
    found = []
    for check, some in readings_by_check(entries).items():
        data = some[-1].data
        value = data.get("value")
        stem = str(data.get("figure", "")).rpartition(".")[2]
        if not isinstance(value, int | float) or stem in AWAY:
            continue
        doubt = data.get("uncertainty")
        told = Reading(check, float(value), float(doubt) if doubt is not None else 0.0)
        day = time.strftime("%Y-%m-%d", time.localtime(some[-1].at))
        found.append(Taken(told, day, some[-1].who))
    return tuple(found)


def of_figures(figures: Sequence[Figure]) -> tuple[Taken, ...]:
    """Figures worked out of instrument files; those that a check or the herd answers to."""
    found: dict[str, Taken] = {}
    for one in figures:
        stem = one.finding.key.rpartition(".")[2]
        name = OF_HERD if stem == OF_HERD else FROM_FILES.get(stem, "")
        if not name or stem in AWAY or one.finding.value is None:
            continue
        at, number = one.of.channel.at, one.of.number
        check = f"{name}@{at}#{number}" if number and name != OF_HERD else name
        if name in ("tank_blend", "wash_return", "milkline_stable"):
            check = f"{name}@{at}"
        reading = Reading(check, one.finding.value, one.doubt)
        before = found.get(check)
        worse = before is None or (
            name.startswith("phase") and reading.value < before.reading.value
        )
        if worse:
            found[check] = Taken(reading, "", one.of.file)
    return tuple(found.values())


def typed(text: str, plant: Plant) -> Reading:
    """A reading as typed: "pump_capacity@VP1=3600+-50", in the unit of its check if none is stated.

    Raises:
        ByrewrightError: it is not written so, the plant has no such check, or it is not measured in
            that unit.
    """
    found = TYPED.fullmatch(text.replace(" ", ""))
    if found is None:
        raise ByrewrightError(
            f"{text!r} is not a reading: write the check, =, the value and how sure, as "
            f"pump_capacity@VP1=3600+-50, with its unit where that is not the check's; {WHERE}"
        )

    def number(name: str) -> float:
        try:
            return typed_number(found[name] or "0")
        except UnitError as why:
            raise ByrewrightError(f"{text}: {why}") from None

    check = found["check"]
    known = _checks(plant)
    if check.partition("#")[0] not in known:
        raise ByrewrightError(
            f"{check}: this plant has no such check{nearest(check, known)}; {WHERE}"
        )
    stem, _, single = check.partition("#")
    machine = plant.equipment.get(stem.partition("@")[2])
    if single and (machine is None or not single.isdecimal()
                   or not 1 <= int(single) <= machine.count):  # fmt: skip
        count = 0 if machine is None else machine.count
        tag = stem.partition("@")[2]
        raise ByrewrightError(f"{check}: is number {single}, but {tag} stands for {count}")
    value, doubt, unit = number("value"), number("doubt"), UNITS.get(stem.partition("@")[0], "")
    if {found["own"], found["unit"]} == {None}:
        return Reading(check, value, doubt)
    told = found["own"] or found["unit"]
    try:
        if found["unit"] not in (None, told):
            raise UnitError("its value and its plus or minus are in two units; write one")
        zero = convert(0.0, told, unit)
        return Reading(check, convert(value, told, unit), convert(doubt, told, unit) - zero)
    except UnitError as why:
        raise ByrewrightError(f"{text}: {why}") from None


def _checks(plant: Plant) -> set[str]:
    """The checks of a plant, without the number of one of many."""
    from byrewright.site.condition.forward import GAUGE

    found = {OF_HERD, GAUGE}
    for machine in plant.equipment.values():
        files = {f"{stem}@{machine.id}" for stem in FROM_FILES.values()}
        found |= files
        for name in machine.tests():
            test = TESTS[name]
            at = "" if test.whole else f"@{machine.id}"
            found |= {f"{figure.key}{at}" for figure in test.figures}
    return found
