"""The checks of a plant file and what its log says of them, for command, page and paper alike."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from byrewright.errors import ByrewrightError
from byrewright.plant.plant import Plant
from byrewright.results import Result
from byrewright.site.checks.check import Check, checks_of
from byrewright.site.checks.predicted import predicted_of
from byrewright.site.checks.verdicts import as_measured
from byrewright.site.log import Kind, Log, Owner, log_of
from byrewright.site.log.store import home_of
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.routes.study import Routes

KINDS: tuple[Kind, ...] = ("test", "reading")


@dataclass(frozen=True, slots=True)
class PlantChecks:
    """A plant with its checks."""

    path: Path
    plant: Plant
    checks: tuple[Check, ...]

    @property
    def owner(self) -> Owner:
        """Whose log it is."""
        return owner_of(self.plant)

    def log(self) -> Log:
        """The plant's log."""
        return log_of(self.path, self.owner)


def owner_of(plant: Plant) -> Owner:
    """Whose log a plant's is."""
    return Owner(plant.site.id or "", plant.site.name)


def bench_of(path: Path, plant: Plant, rules: Rulebook) -> PlantChecks:
    """The checks of a plant as installed."""
    checks = checks_of(plant, rules, predicted_of(plant, rules), Routes(plant, rules).table)
    return PlantChecks(path, plant, checks)


def log_stamp(path: Path) -> str:
    """Changes when the log of a plant may have; "" where it has none."""
    with suppress(ByrewrightError):
        return str(home_of(path).stamp() or "")
    return ""


def measured_of(path: Path, plant: Plant, rules: Rulebook) -> Result | None:
    """The verdicts on what was measured at a plant; None where nothing was.

    Raises:
        ByrewrightError: the log cannot be read.
    """
    log = log_of(path, owner_of(plant))
    try:
        if log.home.identity() is None:
            return None
        entries = log.entries(*KINDS)
    finally:
        log.close()
    if not entries:
        return None
    return as_measured(plant.site.name, bench_of(path, plant, rules).checks, entries)
