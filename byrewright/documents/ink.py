"""How drawings look: the one table of services (pattern, letter, colour) and of line weights."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace
from types import MappingProxyType

PAPER = "#fbfaf6"
INK = "#1d1d1b"
QUIET = "#5d5b54"
RULE = "#b9b5a8"
ACCENT = "#b3261e"
"""The one accent: what the eye must find (a limit, a failed finding, a machine that runs)."""

FONT = "DejaVu Sans Mono"
CHAR = 0.602
"""Width of one letter of the font, as a share of its size: every letter is equally wide."""

LEAST_CONTRAST = 4.5
"""Contrast every ink must have against the paper (WCAG 2 level AA for text, from memory)."""


@dataclass(frozen=True, slots=True)
class Ink:
    """How a service is drawn: letter, colour, dashes (mm on, off, ...; empty is solid), width."""

    letter: str
    word: str
    colour: str
    dashes: tuple[float, ...] = ()
    width_mm: float = 0.45


SERVICE_INK: Mapping[str, Ink] = {
    "milk": Ink("M", "milk", "#20201d", (), 0.7),
    "wash": Ink("W", "wash liquid", "#7a2f86", (4.0, 1.0), 0.5),
    "vacuum": Ink("V", "vacuum", "#1f4e8c", (6.0, 1.0, 1.0, 1.0), 0.5),
    "water": Ink("H", "water", "#0b6157", (), 0.4),
    "coolant": Ink("C", "chilled liquid", "#0a5c86", (2.5, 1.0), 0.5),
    "refrigerant": Ink("R", "refrigerant", "#8a4208", (5.0, 1.0, 0.8, 0.8, 0.8, 1.0), 0.45),
    "air": Ink("A", "compressed air", "#6a5500", (1.2, 0.8), 0.45),
    "drain": Ink("D", "drain", "#5d5b54", (0.6, 0.9), 0.5),
    "power": Ink("P", "electric power", "#2c6a1c", (), 0.45),
    "signal": Ink("S", "signal", "#4a4a4a", (0.4, 0.8), 0.35),
}
"""Every service, each with a colour of its own and none near the accent; drawings, legend and web
page follow a row."""

UNKNOWN_INK = Ink("?", "service not stated", "#5d5b54", (0.5, 0.5))


_NONE: Mapping[str, str] = MappingProxyType({})
_OWN: ContextVar[Mapping[str, str]] = ContextVar("own_colours", default=_NONE)


@contextmanager
def own_colours(colours: Mapping[str, str]) -> Iterator[None]:
    """Draw with a plant's own colours (service to "#rrggbb") until the block ends."""
    token = _OWN.set(colours)
    try:
        yield
    finally:
        _OWN.reset(token)


def ink_of(service: str | None) -> Ink:
    """The ink of a service; a grey dotted one where the service is not known."""
    ink = SERVICE_INK.get(service or "", UNKNOWN_INK)
    own = _OWN.get().get(service or "")
    return replace(ink, colour=own) if own else ink


def pale(colours: Mapping[str, str]) -> list[str]:
    """The services whose own colour is too pale to read on the paper."""
    return [name for name, colour in colours.items() if contrast(colour) < LEAST_CONTRAST]


def contrast(colour: str, ground: str = PAPER) -> float:
    """Contrast ratio of two colours "#rrggbb" (relative luminance of sRGB, WCAG 2, from memory).

    >>> round(contrast("#000000", "#ffffff"), 1)
    21.0
    """
    light, dark = sorted((_luminance(colour), _luminance(ground)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def text_width_mm(text: str, size_mm: float) -> float:
    """Width of a line of drawing text, mm."""
    return len(text) * CHAR * size_mm
