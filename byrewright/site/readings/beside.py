"""Instrument files read by the map beside a plant, for command and page alike."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from byrewright.errors import ByrewrightError
from byrewright.site.readings.files import ReadFile, Reading, read_file
from byrewright.site.readings.mapping import FILE, ReadingsMap, read_map

POINTS = 400
"""Stretches of a picture; each shows its lowest and its highest sample."""


def map_beside(path: Path, map_path: Path | None = None) -> ReadingsMap:
    """The map of a plant's instrument files.

    Raises:
        ByrewrightError: there is none, or it cannot be used.
    """
    beside = map_path or path.parent / FILE
    if not beside.is_file():
        raise ByrewrightError(
            f"{beside}: is missing; it says which column of a file is what. "
            f"'byrewright readings {path} --template' prints one to start from"
        )
    return read_map(beside)


def read_beside(path: Path, files: Sequence[Path], map_path: Path | None = None) -> list[ReadFile]:
    """The files, by the map beside the plant or another.

    Raises:
        ByrewrightError: a file or the map cannot be used.
    """
    plan = map_beside(path, map_path)
    return [read_file(one, *plan.kind_of(one)) for one in files]


def picture_of(one: Reading) -> tuple[list[float], list[float]]:
    """A trace short enough to draw: of each stretch its lowest and its highest sample, in order."""
    import numpy as np

    t, x = one.trace.t_s, one.trace.x
    if t.size <= 2 * POINTS:
        return [float(a) for a in t], [float(a) for a in x]
    times: list[float] = []
    values: list[float] = []
    for part in np.array_split(np.arange(t.size), POINTS):
        for i in sorted({int(part[np.argmin(x[part])]), int(part[np.argmax(x[part])])}):
            times.append(float(t[i]))
            values.append(float(x[i]))
    return times, values
