"""The certificate: what was read at a plant and what it means, numbered, dated, on one log's hash.

Nothing is worked out here: the verdicts are those of `byrewright.site.checks.verdicts`. Issuing it
is an entry of the log, so that a log that is cut short afterwards shows it.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import time
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Any

from byrewright import __version__
from byrewright.documents.format import System, number
from byrewright.documents.tests_in import judged_in, measured_in
from byrewright.documents.typeset import pdf
from byrewright.plant.write import write_bytes
from byrewright.results import VERDICT_MEANING, VERDICTS, Result, Verdict
from byrewright.site.checks.check import revision_of
from byrewright.site.checks.measured import KINDS, PlantChecks
from byrewright.site.checks.sheet import SheetError
from byrewright.site.checks.verdicts import KEPT, Judged, day_of, judged, line
from byrewright.site.log import Entry, Log, New
from byrewright.site.log.entry import current, digest, heads
from byrewright.standards.cautions import LEAD

MARKS: dict[Verdict, str] = {"holds": "+", "tight": "~", "fails": "x", "unknown": "?"}
SHORT = 8


@dataclass(frozen=True, slots=True)
class Issued:
    """A certificate that was written and entered."""

    number: str
    summary: str
    entry: Entry


def issue(
    bench: PlantChecks, log: Log, path: Path, *, who: str, day: str, units: System = "metric"
) -> Issued:
    """Write the certificate of what the log says now, and enter that it was issued.

    Args:
        who: who issues it.
        day: ISO date on it.
        units: units of what it tells.

    Raises:
        SheetError: nothing was tested, the log does not fit, the day is before that of a reading
            or still to come, or the file is there already.
        LogRefused, LogTrouble, LogDamaged, OSError
    """
    if log.home.identity() is None or not log.entries(*KINDS):
        raise SheetError(f"{log.name}: nothing was tested yet; there is nothing to certify")
    wrong = log.verify()
    if wrong:
        raise SheetError(f"{log.name}: no certificate on a log that does not fit: {wrong[0]}")
    entries = log.entries()
    if path.exists():
        raise SheetError(f"{path} already exists; name another, so that no certificate is lost")
    last = max((day_of(e) for e in current(entries) if e.kind == "test"), default="")
    if day < last:
        raise SheetError(f"{log.name}: it has readings of {last}; a certificate of {day} cannot "
                         f"tell them: date it {last} or later")  # fmt: skip
    if day > max(last, dt.date.today().isoformat()):
        raise SheetError(
            f"{day}: is still to come; a certificate has the day on which it is issued"
        )
    count = 1 + sum(1 for e in entries if e.kind == "certificate")
    whole = digest(entries)
    name = f"{count} of {day} ({whole[:SHORT]})"
    data = certificate_data(bench, entries, name=name, day=day, who=who, units=units)
    made = pdf("certificate.typ", data)
    write_bytes(path, made)
    body = {
        "number": name, "date": day, "log": whole, "heads": heads(entries),
        "entries": len(entries), "counts": data["counts"],
        "pdf": hashlib.sha256(made).hexdigest(),
    }  # fmt: skip
    (entry,) = log.append([New("certificate", time.time(), "", who, body)])
    return Issued(name, data["summary"], entry)


def certificate_data(
    bench: PlantChecks,
    entries: Sequence[Entry],
    *,
    name: str,
    day: str,
    who: str,
    units: System = "metric",
) -> dict[str, Any]:
    """Everything that the template shows, as plain data."""
    every = [judged_in(j, units) for j in judged(bench.checks, entries)]
    result = measured_in(bench.plant.site.name, bench.checks, entries, units)
    done = [j for j in every if not j.not_done]
    count = {v: sum(1 for j in done if j.word == v) for v in (*VERDICTS, KEPT)}
    told = ", ".join(f"{n} {v}" for v, n in count.items() if n)
    summary = f"{told}; {len(every) - len(done)} of {len(every)} not tested"
    date = dt.date.fromisoformat(day)
    return {
        "plant": bench.plant.site.name,
        "plant_id": bench.owner.plant_id,
        "number": name,
        "date": f"{date.day} {date:%B %Y}",
        "who": who,
        "read_by": ", ".join(sorted({j.entry.who for j in done if j.entry is not None})),
        "log": digest(entries),
        "entries": len(entries),
        "revision": revision_of(bench.checks),
        "version": __version__,
        "lead": LEAD,
        "summary": summary,
        "counts": dict(count),
        "meaning": [
            *([MARKS[v], v, VERDICT_MEANING[v]] for v in VERDICTS),
            ["", KEPT, "nothing to hold it to; kept to compare with later"],
        ],
        "open": [[MARKS[j.finding.verdict], j.finding.sentence] for j in _worst(done)],
        "groups": [
            {"title": title, "rows": _rows(list(some))}
            for title, some in groupby(done, key=lambda j: j.check.group)
        ],
        "mended": _table(result, "as_measured.mended"),
        "not_tested": _table(result, "as_measured.not_tested"),
        "instruments": _instruments(done),
    }


def _worst(done: Sequence[Judged]) -> list[Judged]:
    bad = [j for j in done if j.finding.verdict in ("fails", "unknown")]
    return sorted(bad, key=lambda j: VERDICTS.index(j.finding.verdict))


def _table(result: Result, key: str) -> list[list[str]]:
    found = next((t for t in result.tables if t.key == key), None)
    return [[_cell(c) for c in row] for row in found.rows] if found else []


def _cell(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:g}"


def _rows(done: Sequence[Judged]) -> list[list[str]]:
    """A line a reading; units that hold alike are told together."""
    rows: list[list[str]] = []
    for (holds, title, _), some in groupby(sorted(done, key=_alike), key=_alike):
        each = list(some)
        if not holds or len(each) == 1:
            rows += [_line(j) for j in each]
            continue
        values = [j.finding.value for j in each if j.finding.value is not None]
        span = f"{number(min(values))} to {number(max(values))}" if values else "seen"
        first = _line(each[0])
        first[7] = ""
        tag = each[0].check.at.partition(" no. ")[0]
        days = sorted({_line(j)[-1] for j in each})
        read_on = days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}"
        rows.append([first[0], title, f"{tag}, {len(each)} units", span, *first[4:-1], read_on])
    return rows


def _alike(one: Judged) -> tuple[bool, str, str]:
    each = "#" in one.check.id
    holds = each and one.finding.verdict == "holds"
    return holds, one.finding.title, one.check.at.partition(" ")[0] if holds else one.check.at


def _line(one: Judged) -> list[str]:
    cells = [c if isinstance(c, str) else number(c) for c in line(one)]
    title, at, value, doubt, unit, told, gap, limit, verdict, day = cells[:10]
    doubt = f"± {doubt}" if doubt else ""
    mark = "" if one.word == KEPT else MARKS[one.finding.verdict]
    return [mark, title, at, value, doubt, unit, told, gap, limit, verdict, day]


def _instruments(done: Sequence[Judged]) -> list[list[str]]:
    told = {
        (str(j.entry.data.get("instrument", "")), str(j.entry.data.get("calibrated", "")))
        for j in done
        if j.entry is not None and j.entry.data.get("instrument")
    }
    return [[name, day or "not stated"] for name, day in sorted(told)]
