"""Neutral drawing pieces in millimetres, x to the right and y down: for SVG, DXF and web pages."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Point = tuple[float, float]
Fill = Literal["none", "ink", "paper", "accent"]


@dataclass(frozen=True, slots=True)
class Path:
    """A run of straight pieces; closed ones may be filled."""

    points: tuple[Point, ...]
    closed: bool = False
    fill: Fill = "none"
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Circle:
    """A circle."""

    x: float
    y: float
    r: float
    fill: Fill = "none"


@dataclass(frozen=True, slots=True)
class Letters:
    """A line of text; `x`, `y` is the middle of its base line, or its start or end."""

    x: float
    y: float
    text: str
    size_mm: float
    anchor: Literal["start", "middle", "end"] = "middle"
    bold: bool = False
    colour: str = ""
    turned: bool = False


Shape = Path | Circle | Letters


@dataclass(frozen=True, slots=True)
class Placed:
    """A machine (or a flag that stands for one) on the sheet: its symbol's box and its words."""

    key: str
    machine: str
    symbol: str
    x: float
    y: float
    w: float
    h: float
    position: str = ""
    words: tuple[Letters, ...] = ()


@dataclass(frozen=True, slots=True)
class Routed:
    """A pipe as drawn: a run of upright and level pieces from its start to its end."""

    pipe: str
    service: str
    points: tuple[Point, ...]
    label: Letters | None = None
    arrow_at: Point | None = None
    arrow_to: Literal["left", "right", "up", "down"] = "right"


@dataclass(slots=True)
class Layout:
    """One sheet, ready to be drawn by anything: symbols placed, pipes routed, words set."""

    title: str
    width_mm: float
    height_mm: float
    placed: list[Placed] = field(default_factory=list)
    routed: list[Routed] = field(default_factory=list)
    letters: list[Letters] = field(default_factory=list)
    extra: list[Shape] = field(default_factory=list)
    services: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
