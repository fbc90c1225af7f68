"""The command `service`: what is due, the visits, a calendar; readings and work entered."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from byrewright.commands.common import (
    clear_errors,
    console,
    load,
    print_counts,
    print_findings,
    print_table,
    system_of,
    user_name,
    within,
)
from byrewright.errors import ByrewrightError
from byrewright.results import worst_first

if TYPE_CHECKING:
    from byrewright.plant.plant import Plant
    from byrewright.site.checks.check import Check
    from byrewright.site.upkeep.plan import Plan
    from byrewright.standards.rulebook import Rulebook

MOST = 20
SHOWN = {
    "service.trends": ("test", "at", "readings", "last", "unit", "a year", "limit", "crossed",
                       "from", "to", "verdict"),
}  # fmt: skip
"""Columns of a wide table that fit a screen; all are in `--json`."""


def run(
    path: Path, *, hours: Sequence[str] = (), done: Sequence[str] = (), who: str | None = None,
    on: str | None = None, new_meter: bool = False, late_days: float = 14.0,
    calendar: Path | None = None, as_json: bool = False, every: bool = False,
    found: Sequence[str] = (), missed: bool = False, meters: Path | None = None,
    units: str = "metric",
) -> None:  # fmt: skip
    """Enter meters and work done, then print the plan; `calendar` is a file to write, `missed`
    asks the failure study what a missed service would cost."""
    from byrewright.commands.design import progress
    from byrewright.documents.us_units import result_in
    from byrewright.plant.write import write_bytes
    from byrewright.site.checks.measured import bench_of, owner_of
    from byrewright.site.checks.verdicts import KEPT
    from byrewright.site.log import log_of
    from byrewright.site.upkeep.plan import calendar_of, enter, meters_in, plan_of
    from byrewright.site.upkeep.trends import needs_checks
    from byrewright.site.upkeep.year import year_of

    with clear_errors():
        system = system_of(units)
        within("--late", late_days, 0.0, 365.0, "days")
        day = _date(on)
        places = meters_in(meters) if meters is not None else {}
        hours = [*hours, *places]
        file, rules = load(path)
        log = log_of(path, owner_of(file.plant))
        try:
            if hours or done or found:
                count = enter(log, file.plant, hours, done, who or user_name(), day, found=found,
                              new_meter=new_meter, places=places)  # fmt: skip
                print(f"{count} entered in {log.name}")
            entries = log.entries() if log.home.identity() is not None else []
        finally:
            log.close()
        checks: tuple[Check, ...] = ()
        if needs_checks(entries):
            with console(error=True).status("working out what the readings are held to"):
                checks = bench_of(path, file.plant, rules).checks
        with progress("a simulated year") as tell:
            year = year_of(file.plant, rules, tell) if entries else {}
        plan = plan_of(file.plant, rules, entries, day, late_days=late_days, checks=checks,
                       year=year)  # fmt: skip
        if missed:
            plan = _missed(plan, file.plant, rules)
        if calendar is not None:
            write_bytes(calendar, calendar_of(plan, file.plant))
            from byrewright.studies.sizing.sizes import counted

            print(f"{calendar}: {counted(len(plan.visits), 'visit')}")
        if as_json:
            print(plan.result.to_json(), end="")
            return
        out = console()
        shown = result_in(plan.result, system)
        for table in shown.tables:
            if table.rows:
                print_table(
                    out, table, most=None if every else MOST, columns=SHOWN.get(table.key, ())
                )
        late = [f for f in worst_first(plan.result.findings) if f.verdict in ("fails", "tight")
                or (f.key == "service.trend" and f.verdict == "unknown")]  # fmt: skip
        out.print()
        print_findings(out, late, system)
        print_counts(out, plan.result, KEPT)
        for note in shown.notes:
            out.print(note, style="dim")


def _missed(plan: Plan, plant: Plant, rules: Rulebook) -> Plan:
    """The plan with what a missed service would cost."""
    from byrewright.commands.design import progress
    from byrewright.studies.failures.study import study_failures

    with progress("failures") as say:
        return plan.with_risk(plant, rules, study_failures(plant, rules, say=say))


def _date(on: str | None) -> date:
    try:
        return date.today() if on is None else date.fromisoformat(on)
    except ValueError:
        raise ByrewrightError(f"--date {on}: is not a date; write it as 2026-03-31") from None
