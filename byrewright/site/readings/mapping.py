"""`readings.yaml` beside the plant: which column of an instrument's file is what.

It is written once for each kind of file an instrument exports and is used from then on.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator

from byrewright.errors import ByrewrightError
from byrewright.plant.problems import FileProblems
from byrewright.plant.record import Record, par
from byrewright.plant.source import load, read_text
from byrewright.plant.translate import validate

FILE = "readings.yaml"
TIME_PARTS = "dmYyHIMSfpbz"
"""Parts that a time's format may have (those of `strptime`)."""

Quantity = Literal[
    "vacuum",
    "chamber_vacuum",
    "milkline_vacuum",
    "claw_vacuum",
    "tank_temperature",
    "wash_return_temperature",
    "wash_return_conductivity",
    "power",
    "current",
    "milk_flow",
]
UNIT_OF: dict[str, str] = {
    "vacuum": "kPa",
    "chamber_vacuum": "kPa",
    "milkline_vacuum": "kPa",
    "claw_vacuum": "kPa",
    "tank_temperature": "degC",
    "wash_return_temperature": "degC",
    "wash_return_conductivity": "mS/cm",
    "power": "kW",
    "current": "A",
    "milk_flow": "kg/min",
}
"""The unit each quantity is worked out in."""


class MappingError(FileProblems):
    """`readings.yaml` cannot be used."""


def _listed(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


class Channel(Record):
    """One column."""

    quantity: Quantity = par("", "what is measured", alias="is")
    at: str = par("", "tag of the machine at which it is measured")
    unit: str = par("", "unit the instrument writes", "")
    half: int = par("", "half of the unit, for a chamber's vacuum", 1, ge=1, le=2)
    uncertainty: float | None = par(
        "", "of the instrument, plus or minus, in the unit it writes", None, ge=0.0, le=1e6
    )
    instrument: str = par("", "the instrument and its calibration date", "")


def _known_parts(written: str) -> str:
    """A time's format, whose parts are known."""
    parts = re.findall(r"%(.?)", written)
    for part in parts:
        if not part or part not in TIME_PARTS:
            known = " ".join(f"%{c}" for c in TIME_PARTS)
            raise ValueError(f"%{part} is no part of a time; known are {known}")
        if parts.count(part) > 1:
            raise ValueError(f"%{part} stands more than once; write each part once")
    return written


class Clock(Record):
    """The time column."""

    column: str = par("", "its heading")
    written: Annotated[str, AfterValidator(_known_parts)] = par(
        "", "seconds, iso, or a format with %d %m %Y %H %M %S %f, and %z for a stated zone", "iso"
    )
    zone_h: float | None = par("h", "hours the instrument's clock is ahead of UTC; not stated, "
                               "that of this computer on the day", None, ge=-14, le=14)  # fmt: skip


class FileKind(Record):
    """One kind of file."""

    matches: Annotated[tuple[str, ...], BeforeValidator(_listed)] = par(
        "", "names of such files: * stands for any letters, # for which of the machines it is"
    )
    separator: Literal[",", ";", "\t", "|"] = par("", "sign between columns", ",")
    decimal: Literal[".", ","] = par("", "decimal sign", ".")
    encoding: str = par("", "encoding of the text", "utf-8-sig")
    sheet: str | None = par("", "sheet of a workbook; the first where not stated", None)
    time: Clock = par("", "the time column")
    channels: dict[str, Channel] = par("", "columns by their headings")


class ReadingsMap(Record):
    """The whole file."""

    readings: Literal[1] = par("", "version of this format")
    files: dict[str, FileKind] = par("", "kinds of file, by a name of your own")

    def kind_of(self, path: Path) -> tuple[str, FileKind, int | None]:
        """The kind whose names a file's name matches, and the number that stands in the name.

        Raises:
            ByrewrightError: none does, or more than one.
        """
        fits = [
            (name, kind, number)
            for name, kind in self.files.items()
            for matched, number in [_matched(path.name, kind.matches)]
            if matched
        ]
        if len(fits) == 1:
            return fits[0]
        known = ", ".join(f"{n} ({', '.join(k.matches)})" for n, k in self.files.items())
        if not fits:
            raise ByrewrightError(
                f"{path}: no kind of file in {FILE} matches this name; there are {known}"
            )
        raise ByrewrightError(
            f"{path}: this name matches {' and '.join(n for n, _, _ in fits)} in {FILE}; "
            "make their `matches` differ"
        )


def _matched(name: str, patterns: tuple[str, ...]) -> tuple[bool, int | None]:
    """Whether a file's name fits, and the number where `#` stands.

    >>> _matched("Puls_017.csv", ("puls_#.csv",)), _matched("a.csv", ("b*", "a.*"))
    ((True, 17), (True, None))
    """
    for one in patterns:
        plain = re.escape(one).replace(r"\*", ".*").replace(r"\#", r"(\d+)")
        found = re.fullmatch(plain, name, re.IGNORECASE)
        if found:
            return True, int(found[1]) if found.groups() else None
    return False, None


def read_map(path: Path) -> ReadingsMap:
    """Read `readings.yaml`.

    Raises:
        MappingError: with one `Problem` for each thing wrong. Nothing else.
    """
    source = load(read_text(path, MappingError), str(path), MappingError, "readings: 1")
    found = validate(ReadingsMap, source.data, source, ())
    source.stop(MappingError)
    if found is None:
        raise MappingError(tuple(source.problems))
    return found


TEMPLATE = """\
# Which column of an instrument's file is what. Written once, used for every file of that kind.
readings: 1
files:
  pulsation:
    matches: "puls#.csv" # puls7.csv is the seventh pulsator
    separator: ";"
    decimal: ","
    time: {{column: "Time", written: "%d.%m.%Y %H:%M:%S.%f"}}
    channels:
      "Channel 1": {{is: chamber_vacuum, at: {pulsator}, half: 1, unit: kPa, uncertainty: 0.5}}
      "Channel 2": {{is: chamber_vacuum, at: {pulsator}, half: 2, unit: kPa, uncertainty: 0.5}}
  receiver:
    matches: ["receiver*.csv", "vacuum*.csv"]
    time: {{column: "seconds", written: seconds}}
    channels:
      "vacuum": {{is: vacuum, at: {receiver}, unit: kPa, uncertainty: 0.3}}
"""


def template(pulsator: str, receiver: str) -> str:
    """A map to start from, with this plant's tags."""
    return TEMPLATE.format(pulsator=pulsator, receiver=receiver)
