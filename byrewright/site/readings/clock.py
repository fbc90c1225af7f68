"""The time column of a reading into seconds: numbers, ISO 8601, or a format the user writes down.

A long column of one width is read figure by figure at once; what is not of one width goes through
pandas, slower and with the same answer.
"""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import pandas as pd

WIDTH = {"Y": 4, "m": 2, "d": 2, "H": 2, "M": 2, "S": 2}
SECONDS = "seconds"
ISO = "iso"


class NoTime(ValueError):
    """A cell of the time column is no time; `row` counts from 0 within the column given."""

    def __init__(self, row: int, cell: object) -> None:
        super().__init__(f"{cell!r} is no time")
        self.row = row
        self.cell = cell


class MixedZones(NoTime):
    """Some cells of the time column state their zone and others do not."""


def seconds(column: pd.Series, written: str, zone_h: float = 0.0) -> NDArray[np.float64]:
    """Seconds since 1970 in UTC (as counted by the instrument for `seconds`); NaN for empty cells.

    `written` is "seconds", "iso", or a format with %d %m %Y %H %M %S %f and, where it
    states its zone, %z. `zone_h` are the hours by
    which the instrument's clock is ahead of UTC, where the text does not say.

    Raises:
        NoTime: a cell that is not written so, or (MixedZones) that states a zone as others do not.
    """
    import pandas as pd

    if written == SECONDS:
        found = np.asarray(pd.to_numeric(column, errors="coerce"), dtype=np.float64)
        _refuse(column, np.isnan(found))
        return found
    if pd.api.types.is_datetime64_any_dtype(column):
        return _since(column) - 3600.0 * zone_h
    column = column.astype("str") if not pd.api.types.is_string_dtype(column) else column
    if written != ISO:
        quick = _by_figures(column, written)
        if quick is not None:
            return quick - 3600.0 * zone_h
        own_zone = "%z" in written
        told = pd.to_datetime(column, format=written, errors="coerce", utc=own_zone)
        _refuse(column, told.isna().to_numpy())
        return _since(told) - (0.0 if own_zone else 3600.0 * zone_h)
    states_zone = column.str.contains(r"(?:Z|[+-]\d\d:?\d\d)$", regex=True, na=False).to_numpy()
    told = pd.to_datetime(column, format="ISO8601", errors="coerce", utc=True)
    empty = told.isna().to_numpy()
    _refuse(column, empty)
    filled = states_zone[~empty]
    if filled.any() and not filled.all():
        odd = int(np.flatnonzero(~empty & (states_zone != filled[0]))[0])
        raise MixedZones(odd, str(column.iloc[odd]))
    return _since(told) - np.where(states_zone, 0.0, 3600.0 * zone_h)


def zone_of(column: pd.Series, written: str) -> float:
    """Hours by which this computer's clock was ahead of UTC at the first of the times.

    One figure for a whole record, since an instrument's clock does not go with summer time.

    Raises:
        NoTime: as `seconds`.
    """
    if written == SECONDS:
        return 0.0
    told = seconds(column.dropna().head(1), written)
    if not told.size or not np.isfinite(told[0]):
        return 0.0
    away = (datetime(1970, 1, 1) + timedelta(seconds=float(told[0]))).astimezone().utcoffset()
    return 0.0 if away is None else away.total_seconds() / 3600.0


def _since(told: pd.Series) -> NDArray[np.float64]:
    import pandas as pd

    plain = told.dt.tz_convert(None) if told.dt.tz is not None else told
    micro = plain.astype("datetime64[us]").to_numpy()
    whole = micro.astype(np.int64) / 1e6
    return np.where(pd.isna(plain).to_numpy(), np.nan, whole)


def _refuse(column: pd.Series, missing: NDArray[np.bool_]) -> None:
    """Empty cells may be missing; a cell with something else in it may not."""
    if not missing.any():
        return
    cells = column[missing]
    told = cells.notna() & (cells.astype("str").str.strip() != "") & (cells.astype("str") != "nan")
    if told.any():
        row = int(np.flatnonzero(missing)[int(np.flatnonzero(told.to_numpy())[0])])
        raise NoTime(row, str(column.iloc[row]))


def _by_figures(column: pd.Series, written: str) -> NDArray[np.float64] | None:
    """Times of one width from their figures; None where the column is not so plain."""
    import pandas as pd

    first = str(column.iloc[0]) if len(column) else ""
    places = _places(written, len(first))
    if places is None:
        return None
    try:
        cells = np.array(column.tolist(), dtype=f"S{len(first) + 1}")
    except UnicodeEncodeError:
        return None
    signs = cells.view(np.uint8).reshape(len(column), len(first) + 1)
    figures = np.ascontiguousarray(signs.T)
    literal = [
        i for i in range(len(first)) if not any(a <= i < b for a, b in places.values())
    ]  # the signs between
    own = np.frombuffer(first.encode("ascii"), dtype=np.uint8)
    if figures[len(first)].any() or any((figures[i] != own[i]).any() for i in literal):
        return None

    def number(a: int, b: int) -> NDArray[np.int64] | None:
        part = figures[a:b] - np.uint8(ord("0"))  # what is under "0" comes round, above 9
        if (part > 9).any():
            return None
        told: NDArray[np.int64] = part[0].astype(np.int64)
        for one in part[1:]:
            told *= 10
            told += one
        return told

    value = {k: number(a, b) for k, (a, b) in places.items()}
    if any(v is None for v in value.values()):
        return None
    at = {k: v for k, v in value.items() if v is not None}
    if (at["H"] > 23).any() or (at["M"] > 59).any() or ("S" in at and (at["S"] > 59).any()):
        return None
    key = (at["Y"] * 100 + at["m"]) * 100 + at["d"]
    back, days = pd.factorize(key)
    try:
        started = np.array(
            [(datetime(d // 10000, d // 100 % 100, d % 100) - datetime(1970, 1, 1)).days
             for d in days.tolist()],
            dtype=np.float64,
        )  # fmt: skip
    except ValueError:
        return None
    found: NDArray[np.float64] = started[back] * 86400.0 + at["H"] * 3600.0 + at["M"] * 60.0
    if "S" in at:
        found += at["S"]
    if "f" in at:
        a, b = places["f"]
        found += at["f"] / 10.0 ** (b - a)
    return found


def _places(written: str, width: int) -> dict[str, tuple[int, int]] | None:
    """Where each part stands in a text of a width, or None where it is not fixed."""
    parts = re.findall(r"%(.)|([^%]+)", written)
    if any(letter and letter not in WIDTH and letter != "f" for letter, _ in parts):
        return None
    fixed = sum(WIDTH.get(letter, 0) + len(text) for letter, text in parts)
    fraction = width - fixed
    at, found = 0, {}
    for letter, text in parts:
        wide = len(text) or (fraction if letter == "f" else WIDTH[letter])
        if letter:
            found[letter] = (at, at + wide)
        at += wide
    return found if at == width and {"Y", "m", "d", "H", "M"} <= set(found) else None
