"""Lengths, levels and loads as they are lettered on drawings and in works lists.

A metric reader has metres with two places, and millimetres where pipe is cut; a US reader has feet
and inches. Which of the two is as `drawn_in` says.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from byrewright.documents.format import drawn_system
from byrewright.documents.us_words import SECTION, bore_in, bore_said, section_in, text_in
from byrewright.standards.units import US_UNITS, convert

Cell = str | float | int
BUILT, CUT, HOLE = 4, 16, 2
"""Parts of an inch that a US reader is told: of what is built, of pipe to cut, of an opening."""
SIZE = "size"
"""What a column of bores holds once they are told by the size that they are bought under."""
LOAD_LB = 100.0
"""Loads of machines are told to so many pounds, as others are to a tenth of a tonne."""


def feet(metres: float, part: int = BUILT) -> str:
    """A length in feet, inches and parts of an inch (a half, quarters ... of `part`).

    >>> feet(3.81), feet(0.3048), feet(0.0508), feet(0.0), feet(0.3047)
    ('12\\'-6"', '1\\'-0"', '2"', '0"', '1\\'-0"')
    >>> feet(1.23, CUT), feet(-0.1)
    ('4\\'-0 7/16"', '-4"')
    """
    many = round(abs(metres) / convert(1.0, "in", "m") * part)
    whole, rest = divmod(many, 12 * part)
    inches, over = divmod(rest, part)
    least = math.gcd(over, part)
    words = f"{inches} {over // least}/{part // least}" if over else f"{inches}"
    if over and not inches and not whole:
        words = words.removeprefix("0 ")
    sign = "-" if metres < 0 and many else ""
    return f"{sign}{whole}'-{words}\"" if whole else f'{sign}{words}"'


def _us() -> bool:
    return drawn_system() == "US"


def plain(metres: float) -> str:
    """A length without its unit, where the sheet says once what lengths are in."""
    return feet(metres) if _us() else f"{metres:.2f}"


def level(metres: float) -> str:
    """A level over or under the operator's floor."""
    if not _us():
        return f"{metres:+.2f}"
    words = feet(abs(metres))
    sign = "±" if words == '0"' else "+" if metres > 0 else "-"
    return sign + (words if "'" in words else f"0'-{words}")


def told(metres: float, digits: int = 2) -> str:
    """A length with its unit."""
    return feet(metres) if _us() else f"{metres:.{digits}f} m"


def sides(*metres: float, digits: int = 2) -> str:
    """The sides of one thing."""
    if _us():
        return " x ".join(map(feet, metres))
    return " x ".join(f"{m:.{digits}f}" for m in metres) + " m"


def cut_mm(mm: float) -> str:
    """A length of pipe to cut, without its unit."""
    return feet(mm / 1000, CUT) if _us() else f"{mm:.0f}"


def hole_mm(mm: float) -> str:
    """The width of an opening, without its unit; never narrower than it must be."""
    if not _us():
        return f"{mm:.0f}"
    inches = math.ceil(convert(mm, "mm", "in") * HOLE - 1e-6) / HOLE
    return feet(convert(inches, "in", "m"), HOLE)


def hole(mm: float) -> str:
    """The width of an opening with its unit."""
    return hole_mm(mm) if _us() else f"{mm:.0f} mm"


def trade(mm: str, inches: str) -> str:
    """A size of the trade: so many millimetres, which a US reader buys as so many inches."""
    return inches if _us() else f"{mm} mm"


def load(tonnes: float, digits: int = 1) -> str:
    """A load with its unit."""
    if not _us():
        return f"{tonnes:.{digits}f} t"
    return f"{round(convert(tonnes, 't', 'lb') / LOAD_LB) * LOAD_LB:.0f} lb"


def bores(many: Sequence[float]) -> str:
    """Bores of one line, with their unit."""
    if not _us():
        return "/".join(f"{b:g}" for b in many) + " mm"
    return "/".join(map(bore_said, many))


def said(words: str) -> str:
    """Words with other quantities in them."""
    return text_in(words, drawn_system(), air=None)


def measure() -> str:
    """What lengths are told in."""
    return "feet and inches" if _us() else "metres"


def rows_in(rows: Sequence[Sequence[Cell]], *, sizes: bool = False) -> list[tuple[Cell, ...]]:
    """A list, its heads first, with the unit behind each head: figures turned, decimal feet.

    `sizes`: bores are told by the size that they are bought under, for people; else in inches.
    """
    heads, *rest = rows
    if not _us():
        return [tuple(r) for r in rows]
    units = [_unit(str(h)) for h in heads]
    named: list[Cell] = [
        US_UNITS.get(own, "").join(str(h).rsplit(own, 1)).strip() if own else h
        for h, own in zip(heads, units, strict=True)
    ]
    if sizes:
        units = [SIZE if str(h).startswith("bore") and u == "mm" else u
                 for h, u in zip(heads, units, strict=True)]  # fmt: skip
    turned = [tuple(map(_cell, row, units)) for row in rest]
    return [tuple(named), *turned]


def _cell(cell: Cell, own: str) -> Cell:
    if own == SIZE:
        return bore_in(float(cell)) if cell else ""
    if own == SECTION:
        return section_in(str(cell), "US")
    if not own or isinstance(cell, str):
        return cell
    return round(convert(float(cell), own, US_UNITS[own]), PLACES)


PLACES = 3
"""Places behind the point in lists for US readers."""


def _unit(head: str) -> str:
    """The unit at the end of a column's head; "" where US readers have the same."""
    own = head.rpartition(" ")[2].strip("()")
    return own if own in US_UNITS or own == SECTION else ""
