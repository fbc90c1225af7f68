"""The service plan of a plant from its log: what is due, and the visits; one result."""

from __future__ import annotations

import csv
import datetime as dt
import hashlib
import math
import time
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import get_args

from byrewright.errors import ByrewrightError
from byrewright.plant.machine import Machine, Upkeep, Wear
from byrewright.plant.plant import Plant
from byrewright.plant.problems import nearest
from byrewright.plant.upkeep import DAYS, HOURS, every, intervals, service_of
from byrewright.results import Assumption, Finding, Result, Table, Verdict
from byrewright.site.checks.check import Check
from byrewright.site.log import Entry, Log, New
from byrewright.site.log.entry import LATEST_S, current
from byrewright.site.upkeep import due as dues
from byrewright.site.upkeep import lives, risk
from byrewright.site.upkeep.due import Due, Meter, Rate, Task, Visit, date_of, day_of
from byrewright.site.upkeep.forecast import Worn, programmed, rate_beside
from byrewright.site.upkeep.kit import kit_of
from byrewright.site.upkeep.lives import Learned, learned_of
from byrewright.site.upkeep.trends import Trend, finding_of, table_of, too_few, trends_of
from byrewright.site.upkeep.watched import run_meters, watched
from byrewright.standards.rulebook import Rulebook
from byrewright.standards.units import UnitError, convert, typed_number

HORIZON_DAYS = 365.0
BY_CONTACT = "as its run contact counted"
WEARS: tuple[Wear, ...] = get_args(Wear)
OF_US = {"gallons": ("gal", "L", "litres"), "mi": ("mi", "km", "km"), "miles": ("mi", "km", "km")}
"""What a US reader counts in: its unit, the one it is kept in, and what is counted then."""
DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class Plan:
    """What is due and when somebody comes."""

    today: dt.date
    dues: tuple[Due, ...]
    visits: tuple[Visit, ...]
    trends: tuple[Trend, ...]
    result: Result

    def with_risk(self, plant: Plant, rules: Rulebook, study: Result) -> Plan:
        """The plan with what a missed service would cost, by the failure study of the plant."""
        found = risk.table_of(risk.risks_of(plant, rules, self.dues, study), plant.site.currency)
        return replace(self, result=replace(self.result, tables=(*self.result.tables, found)))


def tasks_of(
    plant: Plant, rules: Rulebook, learned: Mapping[tuple[str, str], Learned] | None = None
) -> list[Task]:
    """Every service that the plant's machines ask for, at the interval learned where one was."""
    return [
        _task(m, u, rules, (learned or {}).get((m.kind, u.what)))
        for m in plant.equipment.values()
        for u in m.upkeep()
    ]


def _task(machine: Machine, asked: Upkeep, rules: Rulebook, learned: Learned | None) -> Task:
    some = intervals(machine, asked, rules)
    if learned is not None:  # what wears a part wears it by each count alike
        longer = learned.middle / learned.usual
        some = tuple((unit, many * longer) for unit, many in some)
    told = dict(some)
    return Task(
        machine.id, asked.what, told.get(HOURS), told.get(DAYS),
        tuple(one for one in some if one[0] not in (HOURS, DAYS)),
        None if learned is None else (learned.low, learned.high),
    )  # fmt: skip


def plan_of(
    plant: Plant, rules: Rulebook, entries: Sequence[Entry], today: dt.date, *,
    late_days: float = 14.0, checks: Sequence[Check] = (), year: Worn | None = None,
) -> Plan:  # fmt: skip
    """The plan for the year from today on; `checks` are the plant's, for the trends, `year` is what
    its machines wear in a simulated year."""
    now = float(today.toordinal())
    told = current(entries)
    began = min((day_of(e.at) for e in told), default=None)
    done: dict[tuple[str, str], float] = {}
    for e in sorted(told, key=lambda e: e.at):
        if e.kind == "part" and e.data.get("action") == "done" and e.tag in plant.equipment:
            asked = service_of(plant.equipment[e.tag], str(e.data["what"]))
            if asked is not None:
                done[e.tag, asked.what] = day_of(e.at)
    learned = learned_of(plant, rules, told)
    beside = programmed(plant, rules), year or {}, watched(plant, told)
    contacts = run_meters(e for e in told if day_of(e.at) <= now)

    def count(tag: str, unit: str) -> tuple[list[Meter], Rate | None]:
        rate, months = rate_beside(tag, unit, *beside)
        typed, counted = _meters(told, tag, unit), contacts.get((tag, unit), [])
        for meters, how in ((typed, dues.FROM_METER), (counted, BY_CONTACT)):
            found = dues.rate_of(meters, None, months, how)
            if found is not None:
                return meters, found
        return typed, dues.rate_of(typed, rate, months)

    found = []
    for task in tasks_of(plant, rules, learned):
        last = done.get((task.machine, task.what), began)
        counted = {unit: count(task.machine, unit) for unit, _ in task.counts}
        found.append(dues.due_of(task, now, last, *count(task.machine, HOURS), counted))
    mine, ours = [d for d in found if d.own], [d for d in found if not d.own]
    windows = dues.windows(ours, now, HORIZON_DAYS, late_days)
    visits = tuple(dues.fewest_visits(windows))
    result = _result(plant, ours, mine, visits, now, late_days, began)
    drawn, few = trends_of(checks, told, now)
    result = replace(
        result, findings=(*result.findings, *(finding_of(t) for t in drawn)),
        tables=(*result.tables, kit_of(plant, visits[0] if visits else None),
                lives.table_of(plant, learned.values(), rules), table_of(drawn)),
        notes=(*result.notes, *too_few(few)),
    )  # fmt: skip
    return Plan(today, tuple(found), visits, tuple(drawn), result)


def enter(
    log: Log, plant: Plant, hours: Iterable[str], done: Iterable[str], who: str, on: dt.date,
    *, found: Iterable[str] = (), new_meter: bool = False, places: Mapping[str, str] | None = None,
) -> int:  # fmt: skip
    """Enter readings of meters ("VP1=1240", "PU1=2400000 pulses"), services done ("VP1: belts and
    coupling") and what was found of parts ("MU1: liners: 3 worn, 51 good at 1180 h").
    `places` say where a meter's text was read.

    Raises:
        ByrewrightError: one is not written so, no such machine or service, or a meter goes back.
        LogRefused, LogTrouble, LogDamaged
    """
    if not who.strip():
        raise ByrewrightError("say who read or did it, by name (--who)")
    at = time.mktime(on.timetuple()) + DAY_S / 2
    if at > time.time() + LATEST_S:
        raise ByrewrightError(f"--date {on}: is still to come; enter what was read and done")
    known = current(log.entries("hours")) if log.home.identity() else []
    news = []
    for text in hours:
        try:
            news.append(_meter(plant, text, known, at, who, new_meter))
        except ByrewrightError as why:
            raise ByrewrightError(f"{(places or {}).get(text, '')}{why}") from None
    news += [_done(plant, text, at, who) for text in done]
    news += [_found(plant, text, at, who) for text in found]
    return len(log.append(news))


def _meter(plant: Plant, text: str, known: Sequence[Entry], at: float, who: str, new: bool) -> New:
    """A meter's reading: "VP1=1240" in hours, "PU1=2400000 pulses" in what else it wears by."""
    tag, _, told = text.partition("=")
    machine = _machine(plant, tag.strip(), text)
    number, _, unit = told.strip().partition(" ")
    unit = unit.strip() or HOURS
    try:
        count = typed_number(number)
    except UnitError as why:
        if "two ways" in str(why):
            raise ByrewrightError(f"{text}: {why}") from None
        count = -1.0
    if count < 0.0:
        raise ByrewrightError(
            f"{text}: write the machine and its meter, such as VP1=1240, or with what is "
            'counted, such as "PU1=2400000 pulses"'
        )
    if unit in OF_US:
        own, kept, unit = OF_US[unit]
        count = float(f"{convert(count, own, kept):.6g}")
    if unit not in (HOURS, *WEARS):
        raise ByrewrightError(
            f"{text}: {unit} is not counted; there is {', '.join((HOURS, *WEARS))}"
        )
    before = [m for m in _meters(known, machine.id, unit) if m.day <= day_of(at)]
    if before and count < before[-1].reading and not new:
        when = dt.date.fromordinal(int(before[-1].day))
        raise ByrewrightError(
            f"{text}: is less than the {before[-1].reading:g} {unit} read on {when}; read it "
            "again; a meter that was replaced is entered by the command, with --new-meter"
        )
    if before and not new and unit == HOURS and machine.count == 1:
        more, days = count - before[-1].reading, day_of(at) - before[-1].day
        if more > 24.0 * (days + 1.0):
            raise ByrewrightError(
                f"{text}: is {more:g} h more than on {dt.date.fromordinal(int(before[-1].day))}; "
                "so many hours have not gone by since; read it again"
            )
    after = [m for m in _meters(known, machine.id, unit) if m.day > day_of(at)]
    if after and not after[0].new and count > after[0].reading:
        raise ByrewrightError(
            f"{text}: is more than the {after[0].reading:g} {unit} read on "
            f"{dt.date.fromordinal(int(after[0].day))}; read it again, or state its day with --date"
        )
    body = {"hours": count, "new_meter": new} | ({} if unit == HOURS else {"unit": unit})
    return New("hours", at, machine.id, who, body, uid=_uid("hours", text, who, at))


def meters_in(path: Path) -> dict[str, str]:
    """Meters out of a CSV with the columns machine, reading and unit, as `enter` takes them, and
    the place of each.

    Raises:
        ByrewrightError: it cannot be read, or a row holds no machine or no reading.
    """
    if not path.is_file():
        raise ByrewrightError(f"{path}: no such file; check the name and the folder")
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise ByrewrightError(f"{path}: cannot be read: {error}") from None
    rows = csv.DictReader(text.splitlines(), delimiter=";" if ";" in text else ",")
    if not {"machine", "reading"} <= set(rows.fieldnames or ()):
        raise ByrewrightError(f"{path}: line 1: name the columns machine, reading and unit")
    found: dict[str, str] = {}
    for row in rows:
        tag, read = (str(row.get(k) or "").strip() for k in ("machine", "reading"))
        if not tag or not read:
            raise ByrewrightError(f"{path}: line {rows.line_num}: has no machine or no reading")
        text = f"{tag}={read} {str(row.get('unit') or '').strip()}".strip()
        found[text] = f"{path}: line {rows.line_num}: "
    return found


def _done(plant: Plant, text: str, at: float, who: str) -> New:
    tag, _, what = (p.strip() for p in text.partition(":"))
    machine = _machine(plant, tag, text)
    asked = service_of(machine, what)
    if asked is None:
        names = "; ".join(u.what for u in machine.upkeep()) or "none"
        raise ByrewrightError(f"{text}: {machine.id} has no such service; it has {names}")
    return New("part", at, machine.id, who, {"what": asked.what, "action": "done"},
               uid=_uid("part", text, who, at))  # fmt: skip


def _found(plant: Plant, text: str, at: float, who: str) -> New:
    tag, body = lives.parse(plant, text)
    return New("part", at, tag, who, body, uid=_uid("found", text, who, at))


def _uid(*told: object) -> str:
    return hashlib.sha256(repr(told).encode()).hexdigest()[:32]


def _machine(plant: Plant, tag: str, text: str) -> Machine:
    found = plant.equipment.get(tag)
    if found is None:
        raise ByrewrightError(f"{text}: the plant has no machine {tag}"
                              f"{nearest(tag, plant.equipment)}")  # fmt: skip
    return found


def _meters(entries: Iterable[Entry], tag: str, unit: str = HOURS) -> list[Meter]:
    return sorted(
        (Meter(day_of(e.at), float(e.data["hours"]), bool(e.data.get("new_meter")))
         for e in entries
         if e.kind == "hours" and e.tag == tag and e.data.get("unit", HOURS) == unit),
        key=lambda m: m.day,
    )  # fmt: skip


def interval(task: Task) -> str:
    """How often a service comes, in words."""
    some = [(unit, many) for unit, many in ((HOURS, task.every_h), (DAYS, task.every_days)) if many]
    return every([*some, *task.counts]) + (", learned" if task.learned else "")


def _verdict(one: Due, now: float, late_days: float) -> tuple[Verdict, str]:
    if one.day is None:
        return ("holds" if one.every == math.inf else "unknown"), f"{one.how}."
    if one.day >= now and one.lacks:
        return "unknown", f"due on {date_of(one.day)} at the latest; {_lacking(one)}."
    if one.day >= now:
        return "holds", f"due on {date_of(one.day)}."
    late = now - one.day
    return ("tight" if late <= late_days else "fails"), f"overdue by {late:.0f} days."


def _lacking(one: Due) -> str:
    return f"{' and '.join(one.lacks)} not known: read the counter"


def _result(
    plant: Plant, ours: Sequence[Due], mine: Sequence[Due], visits: Sequence[Visit], now: float,
    late_days: float, began: float | None,
) -> Result:  # fmt: skip
    findings = []
    for one in ours:
        verdict, says = _verdict(one, now, late_days)
        findings.append(Finding(
            key="service.due", subject=f"{one.task.machine}: {one.task.what}", title="Service",
            value=None if one.day is None else one.day - now, unit="days",
            sentence=f"{one.task.machine}: {one.task.what}, every {interval(one.task)}: {says}",
            verdict=verdict, formula="last done + interval", source="the kinds' upkeep",
            confidence="common_practice",
            missing=(says.removesuffix("."),) if verdict == "unknown" else (),
        ))  # fmt: skip
    order = sorted(ours, key=lambda d: (d.day is None, d.day or 0.0))
    due = Table(
        "service.due", "What is due, the soonest first",
        ("machine", "service", "every", "last", "due", "from", "to", "how known"), ("",) * 8,
        tuple((d.task.machine, d.task.what, interval(d.task), date_of(d.last), date_of(d.day),
               date_of(d.soonest), date_of(d.latest),
               d.how + (f"; {_lacking(d)}" if d.lacks else "")) for d in order),
    )  # fmt: skip
    trips = Table(
        "service.visits", "The fewest visits that are in time, for a year", ("visit", "day",
        "services", "what, on how many machines"), ("",) * 4,
        tuple((i, date_of(v.day), len(v.does), _counted(w.task.what for w in v.does))
              for i, v in enumerate(visits, 1)),
        f"In time: from a quarter of its interval before a service is due to {late_days:g} days "
        "after, counted from the due dates as they are now, not from the visit before. No plan of "
        "fewer visits keeps all of these windows; what is overdue is done on the first.",
    )  # fmt: skip
    own = Table(
        "service.own", "By the farm's own people", ("machine", "service", "every"), ("",) * 3,
        tuple((d.task.machine, d.task.what, interval(d.task)) for d in mine),
        f"What comes again within {dues.OWN_DAYS:g} days is no reason for a visit.",
    )  # fmt: skip
    since = (
        "the log does not say when anything was done last: enter what was done"
        if began is None
        else (
            f"what nobody entered as done counts from {date_of(began)}, the first entry of the log"
        )
    )
    return Result(
        "service", plant.site.name, tuple(findings), (due, trips, own),
        assumptions=(
            Assumption("service", "share of its interval that a service may be early",
                       dues.EARLY_SHARE, "", "to save visits"),
            Assumption("service", "range of a forecast rate", dues.FORECAST, "",
                       "until a meter was read twice"),
        ),
        notes=(since + ".",),
    )  # fmt: skip


def _counted(whats: Iterable[str]) -> str:
    told = Counter(whats)
    return ", ".join(f"{what} ({n})" if n > 1 else what for what, n in sorted(told.items()))


def calendar_of(plan: Plan, plant: Plant) -> bytes:
    """The visits as a calendar file (iCalendar, RFC 5545): the same plan gives the same bytes."""
    from icalendar import Calendar, Event

    book = Calendar()
    book.add("prodid", "-//byrewright//service//EN")
    book.add("version", "2.0")
    stamp = dt.datetime.combine(plan.today, dt.time(), dt.UTC)
    for visit in plan.visits:
        tasks = ((w.task.machine, w.task.what, date_of(w.due)) for w in visit.does)
        lines = [f"{machine}: {what} (due {day})" for machine, what, day in sorted(tasks)]
        event = Event()
        event.add("uid", _uid(plant.site.id or plant.site.name, visit.day, lines) + "@byrewright")
        event.add("dtstamp", stamp)
        event.add("dtstart", dt.date.fromordinal(int(visit.day)))
        event.add("summary", f"Service, {len(lines)} items: {plant.site.name}")
        event.add("description", "\n".join(lines))
        book.add_component(event)
    made: bytes = book.to_ical()
    return made
