"""An instrument's file into traces, by the map; what is wrong with it in one sentence."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from byrewright.errors import ByrewrightError
from byrewright.plant.problems import nearest
from byrewright.results import in_figures
from byrewright.site.readings.clock import SECONDS, MixedZones, NoTime, seconds, zone_of
from byrewright.site.readings.mapping import UNIT_OF, Channel, FileKind
from byrewright.standards.units import UnitError, convert
from byrewright.traces.trace import Trace, TraceUnfit, trace

if TYPE_CHECKING:
    import pandas as pd

GROUPED = r"[+-]?\d{1,3}(\.\d{3})+(,\d+)?"
"""A number with points between its thousands, where the comma is its decimal sign."""
CHUNK_ROWS = 100_000
MOST_HEADING_LINES = 60
SEPARATORS = {",": "a comma", ";": "a semicolon", "\t": "a tab", "|": "an upright stroke"}
LONG_S = 3600.0

PLAUSIBLE: dict[str, tuple[float, float]] = {
    "kPa": (-5.0, 100.0),
    "degC": (-20.0, 110.0),
    "kW": (-1.0, 2000.0),
    "A": (-1.0, 5000.0),
    "kg/min": (-0.5, 40.0),
    "mS/cm": (-0.1, 200.0),
}
"""Nothing in a milking plant reads beyond these: a unit or a column is wrong (common practice)."""


class ReadingsError(ByrewrightError):
    """A file of readings cannot be used; names file, row or column, and what would be right."""


@dataclass(frozen=True)
class Reading:
    """One channel of one file."""

    file: str
    heading: str
    channel: Channel
    trace: Trace
    starts_utc: float | None
    """Seconds since 1970 of the trace's zero, or None where the instrument only counts."""
    number: int | None = None
    """Which of the machines under the tag, from 1, where the file's name says so."""

    @property
    def where(self) -> str:
        """The machine, which of several, and which half.

        A name for people: "PU1 no. 17, half 2".
        """
        which = self.channel.at if self.number is None else f"{self.channel.at} no. {self.number}"
        chamber = self.channel.quantity == "chamber_vacuum"
        return f"{which}, half {self.channel.half}" if chamber else which


@dataclass(frozen=True)
class ReadFile:
    """All channels of a file, with its hash and what was seen while reading."""

    path: Path
    kind: str
    sha256: str
    readings: tuple[Reading, ...]
    notes: tuple[str, ...]
    written_at: float
    """Seconds since 1970 at which the file was written last."""


def read_file(path: Path, kind: str, plan: FileKind, number: int | None = None) -> ReadFile:
    """Read a CSV or a workbook.

    Raises:
        ReadingsError: anything that keeps it from being read whole.
    """
    if not path.is_file():
        raise ReadingsError(f"{path}: no such file; check the name and the folder")
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while block := file.read(1 << 20):
            digest.update(block)
    columns: dict[str, list[NDArray[np.float64]]] = {name: [] for name in plan.channels}
    times: list[NDArray[np.float64]] = []
    row, zone_h = 0, plan.time.zone_h
    for part, first in _tables(path, plan):
        try:
            if zone_h is None:
                zone_h = zone_of(part[plan.time.column], plan.time.written)
            times.append(seconds(part[plan.time.column], plan.time.written, zone_h))
        except MixedZones as error:
            raise ReadingsError(
                f"{path}: row {first + row + error.row}: {error.cell!r} in column "
                f"{plan.time.column}: some times state their zone and others do not; export it "
                "with one zone"
            ) from None
        except NoTime as error:
            raise ReadingsError(
                f"{path}: row {first + row + error.row}: {error.cell!r} in column "
                f"{plan.time.column} is no time written as {plan.time.written}"
            ) from None
        for name in plan.channels:
            columns[name].append(_numbers(path, part[name], name, plan.decimal, first + row))
        row += len(part)
    if not row:
        raise ReadingsError(f"{path}: no row of readings")
    t = np.concatenate(times)
    start = float(t[np.isfinite(t)][0]) if np.isfinite(t).any() else 0.0
    counted = plan.time.written == SECONDS
    readings, notes = [], []
    for name, channel in plan.channels.items():
        told, beyond = _in_unit(path, name, channel, np.concatenate(columns[name]))
        try:
            one = trace(t - start, told)
        except TraceUnfit as error:
            raise ReadingsError(f"{path}: column {name}: {error}") from None
        if one.dropped - beyond > 0:
            notes.append(f"{path.name}: {name}: no number in {one.dropped - beyond} of {row} rows")
        if beyond:
            notes.append(f"{path.name}: {name}: what no {_words(channel)} reaches in {beyond} of "
                         f"{row} rows; left out")  # fmt: skip
        for at, lasts in one.gaps()[:3]:
            long = f"{lasts:.3g} s" if lasts < LONG_S else f"{lasts / 3600.0:.1f} h"
            notes.append(
                f"{path.name}: {name}: silent for {long} from {at:.0f} s on, or its clock jumped"
            )
        readings.append(
            Reading(path.name, name, _sure(channel), one, None if counted else start, number)
        )
    return ReadFile(path, kind, digest.hexdigest(), tuple(readings), tuple(dict.fromkeys(notes)),
                    path.stat().st_mtime)  # fmt: skip


def _tables(path: Path, plan: FileKind) -> Iterator[tuple[pd.DataFrame, int]]:
    """The file's columns in parts, each with the row of the file at which data begin."""
    import pandas as pd

    wanted = [plan.time.column, *plan.channels]
    if path.suffix.casefold() in (".xlsx", ".xlsm"):
        yield _sheet(path, plan, wanted)
        return
    skip = _heading(path, plan, wanted)
    try:
        with pd.read_csv(
            path, sep=plan.separator, decimal=plan.decimal, encoding=plan.encoding, skiprows=skip,
            usecols=wanted, chunksize=CHUNK_ROWS, skipinitialspace=True, low_memory=False,
            keep_default_na=True, na_values=["---", "--", "OL", "Err"],
            dtype=None if plan.time.written == SECONDS else {plan.time.column: "str"},
        ) as parts:  # fmt: skip
            for part in parts:
                yield part, skip + 2
    except (pd.errors.ParserError, pd.errors.EmptyDataError, ValueError) as error:
        raise ReadingsError(f"{path}: cannot be read as a table: {_short(error)}") from None


def _short(error: Exception) -> str:
    return " ".join(str(error).split())[:160]


def _heading(path: Path, plan: FileKind, wanted: list[str]) -> int:
    """How many lines stand before the headings; refuses a file that has not all of them."""
    best: list[str] = []
    try:
        with path.open(encoding=plan.encoding, newline=None) as file:
            for number in range(MOST_HEADING_LINES):
                line = file.readline()
                if not line:
                    break
                cells = _cells(line, plan.separator)
                if set(wanted) <= set(cells):
                    double = [w for w in wanted if cells.count(w) > 1]
                    if double:
                        raise ReadingsError(f"{path}: two columns are called {double[0]}")
                    return number
                other = next((s for s in SEPARATORS if set(wanted) <= set(_cells(line, s))), None)
                if other is not None:
                    raise ReadingsError(
                        f"{path}: row {number + 1}: {SEPARATORS[other]} stands between columns, "
                        f"and by the map it is {SEPARATORS[plan.separator]}; state its `separator` "
                        "there, and its `decimal` sign where that is a comma"
                    )
                fits, before = (len(set(wanted) & set(c)) for c in (cells, best))
                if fits > before or (fits == before and len(best) <= 1):
                    best = cells
    except LookupError:
        raise ReadingsError(
            f"{path}: {plan.encoding} is not an encoding; try utf-8 or latin-1"
        ) from None
    except UnicodeError:
        raise ReadingsError(
            f"{path}: is not {plan.encoding} text; state its `encoding` in the map "
            "(utf-16, latin-1, ...)"
        ) from None
    missing = [w for w in wanted if w not in best]
    raise ReadingsError(
        f"{path}: no column is called {missing[0] if missing else wanted[0]}"
        f"{nearest(missing[0] if missing else wanted[0], [c for c in best if c])}; check the "
        "headings and the `separator` in the map"
    )


def _cells(line: str, separator: str) -> list[str]:
    return [c.strip().strip('"') for c in line.rstrip("\n").split(separator)]


def _sheet(path: Path, plan: FileKind, wanted: list[str]) -> tuple[pd.DataFrame, int]:
    import zipfile

    import pandas as pd

    try:
        raw = pd.read_excel(path, sheet_name=plan.sheet or 0, header=None, engine="openpyxl")
    except ValueError as error:
        raise ReadingsError(f"{path}: {_short(error)}") from None
    except (zipfile.BadZipFile, KeyError, OSError):
        raise ReadingsError(f"{path}: is no workbook that can be read; save it as .xlsx") from None
    for number in range(min(MOST_HEADING_LINES, len(raw))):
        cells = [str(c).strip() for c in raw.iloc[number]]
        if set(wanted) <= set(cells):
            part = raw.iloc[number + 1 :].copy()
            part.columns = pd.Index(cells)
            part = part[wanted].reset_index(drop=True)
            part[plan.time.column] = part[plan.time.column].infer_objects()
            return part, number + 2
    raise ReadingsError(f"{path}: no row of the sheet holds the headings {', '.join(wanted)}")


def _numbers(
    path: Path, column: pd.Series, name: str, decimal: str, first: int
) -> NDArray[np.float64]:
    """A column as numbers; text in it is refused with its row."""
    import pandas as pd

    if pd.api.types.is_numeric_dtype(column):
        return np.asarray(column, dtype=np.float64)
    cells = column.astype("str").str.strip()
    if decimal == ",":
        point = cells.str.contains(".", regex=False) & ~cells.str.fullmatch(GROUPED)
        if point.any():
            row = int(np.flatnonzero(point.to_numpy())[0])
            raise ReadingsError(
                f"{path}: row {first + row}: {cells.iloc[row]!r} in column {name} has a decimal "
                'point, and the map says `decimal: ","`; export or map it with one of them'
            )
        cells = cells.str.replace(".", "", regex=False).str.replace(",", ".", regex=False)
    told = pd.to_numeric(cells, errors="coerce")
    bad = told.isna() & ~cells.isin(["", "nan", "None", "<NA>"])
    if bad.any():
        row = int(np.flatnonzero(bad.to_numpy())[0])
        hint = (
            "; is the decimal sign a comma? Say so in the map"
            if "," in str(column.iloc[row])
            else ""
        )
        raise ReadingsError(
            f"{path}: row {first + row}: {str(column.iloc[row])!r} in column {name} is not "
            f"a number{hint}"
        )
    return np.asarray(told, dtype=np.float64)


def _in_unit(
    path: Path, name: str, channel: Channel, x: NDArray[np.float64]
) -> tuple[NDArray[np.float64], int]:
    """Values in the quantity's own unit, and how many single ones are none, since nothing reaches
    them; refused where more than some are so."""
    own = UNIT_OF[channel.quantity]
    stated = channel.unit or own
    try:
        factor, offset = (
            convert(1.0, stated, own) - convert(0.0, stated, own),
            convert(0.0, stated, own),
        )
    except UnitError as error:
        raise ReadingsError(f"{path}: column {name}: {error}") from None
    told = x * factor + offset
    if not np.isfinite(told).any():
        return told, 0
    if own == "kPa" and np.nanmedian(told) < 0.0:  # some gauges write vacuum as negative pressure
        told = -told
    low, high = PLAUSIBLE[own]
    least, most = (float(v) for v in np.nanpercentile(told, [0.5, 99.5]))
    if least < low or most > high:
        wrong = ((most if most > high else least) - offset) / factor
        raise ReadingsError(
            f"{path}: column {name} reaches {in_figures(wrong)} {stated}, which no "
            f"{_words(channel)} does; is its unit {stated}, and is it this column?"
        )
    beyond = (told < low) | (told > high)
    return np.where(beyond, np.nan, told), int(beyond.sum())


def _sure(channel: Channel) -> Channel:
    """A channel whose uncertainty, stated in its own unit, is in that of its quantity."""
    own = UNIT_OF[channel.quantity]
    if channel.uncertainty is None or not channel.unit or channel.unit == own:
        return channel
    turned = convert(channel.uncertainty, channel.unit, own) - convert(0.0, channel.unit, own)
    return channel.model_copy(update={"uncertainty": float(f"{abs(turned):.4g}")})


def _words(channel: Channel) -> str:
    return channel.quantity.replace("_", " ")
