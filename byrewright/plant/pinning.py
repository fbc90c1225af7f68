"""Places of machines into the file: of one that is moved, of all, or of a set-out table."""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from byrewright.errors import ByrewrightError
from byrewright.place.model import Body, Side
from byrewright.plant.edit import edit_plant
from byrewright.plant.problems import PlantError, nearest
from byrewright.plant.read import PlantFile
from byrewright.plant.sited import Sited
from byrewright.plant.source import read_text
from byrewright.plant.write import flow, scalar
from byrewright.standards.units import UnitError, parse_quantity

SAME_M = 0.0006
"""A place in a table that differs by less is the same, written with three decimals."""
COLUMNS = ("tag", "east", "north", "base level", "faces")
SIDES: dict[str, Side] = {"n": "n", "e": "e", "s": "s", "w": "w"}


class SetOutError(ByrewrightError):
    """A set-out table cannot be used."""


@dataclass(frozen=True, slots=True)
class Set:
    """Where a table has a machine."""

    east_m: float
    north_m: float
    base_m: float
    faces: Side


def place_of(body: Body, x: float, y: float, z: float, turn: Side) -> dict[str, Any]:
    """What the file says of a machine that stands there."""
    if body.frame == "deck":
        radius, angle = round(math.hypot(x, y), 3), round(math.degrees(math.atan2(y, x)), 2)
        return {"on": "deck", "at": [radius, angle, round(z, 3)], "turn": turn}
    return {"at": [round(x, 3), round(y, 3), round(z, 3)], "turn": turn}


def with_places(file: PlantFile, changes: Mapping[str, Mapping[str, Any]]) -> str:
    """The file's text with keys of machines' places changed (`None` takes one out)."""
    from byrewright.plant.edit import REMOVE

    if not changes:
        return file.text
    stated = file.source.data.get("place", {}).get("machines")
    if not stated:
        made = {t: {k: v for k, v in one.items() if v is not None} for t, one in changes.items()}
        return _in_lines(edit_plant(file, {"place.machines": made}), made)
    keys: dict[str, Any] = {}
    for tag, one in changes.items():
        if tag not in stated:
            keys[f"place.machines.{tag}"] = {k: v for k, v in one.items() if v is not None}
            continue
        for name, value in one.items():
            if value is not None:
                keys[f"place.machines.{tag}.{name}"] = value
            elif name in (stated[tag] or {}):
                keys[f"place.machines.{tag}.{name}"] = REMOVE
    return edit_plant(file, keys)


def _in_lines(text: str, made: Mapping[str, Any]) -> str:
    """Machines written on one line, each on a line of its own where the section is so."""
    told = f"machines: {flow(made)}"
    at = text.find(told)
    start = text.rfind("\n", 0, at) + 1
    if at < 0 or text[start:at].strip():
        return text
    indent = text[start:at] + "  "
    lines = "".join(f"\n{indent}{scalar(tag)}: {flow(one)}" for tag, one in made.items())
    return text[:at] + "machines:" + lines + text[at + len(told) :]


def pinned(file: PlantFile, made: Sited) -> tuple[str, int]:
    """The file's text with every machine that has a place of its own pinned there, and how many
    were not pinned before."""
    stated = file.plant.place.machines if file.plant.place else {}
    changes = {
        tag: place_of(body, body.x, body.y, body.z, body.turn)
        for tag, body in made.plan.bodies.items()
        if tag not in stated or stated[tag].at is None
    }
    return with_places(file, changes), len(changes)


def set_out_by(file: PlantFile, made: Sited, table: Mapping[str, Set]) -> tuple[str, int]:
    """The file's text with the machines where a table has them, and how many the plan had
    elsewhere; those are pinned, the rest stay as they are.

    Raises:
        SetOutError: the table names a machine that has no place in the plan.
    """
    changes = {}
    for tag, want in table.items():
        body = made.plan.bodies.get(tag)
        if body is None:
            near = nearest(tag, made.plan.bodies)
            raise SetOutError(f"{tag}: no machine of that tag stands in the plan{near}")
        there = (want.east_m, want.north_m, want.base_m)
        off = max(abs(a - b) for a, b in zip(there, (body.x, body.y, body.z), strict=True))
        if off > SAME_M or want.faces != body.turn:
            changes[tag] = place_of(body, *there, want.faces)
    return with_places(file, changes), len(changes)


def read_set_out(path: Path) -> dict[str, Set]:
    """A set-out table as `place --out` writes it: one machine a row, the unit in the column's head.

    Raises:
        SetOutError: it cannot be used, with the line and what would be right.
    """
    rows = list(csv.reader(read_text(path, PlantError).splitlines()))
    if not rows:
        raise SetOutError(f"{path}: is empty; a table begins with {', '.join(COLUMNS)}")
    heads = [h.partition("(") for h in rows[0]]
    column = {name.strip().lower(): i for i, (name, _, _) in enumerate(heads)}
    lacks = [c for c in COLUMNS if c not in column]
    if lacks:
        raise SetOutError(f"{path}, line 1: has no column {', '.join(lacks)}")
    found: dict[str, Set] = {}
    for line, row in enumerate(rows[1:], 2):
        if not any(cell.strip() for cell in row):
            continue
        if len(row) <= max(column[c] for c in COLUMNS):
            raise SetOutError(f"{path}, line {line}: has {len(row)} cells, not {len(heads)}")
        tag = row[column["tag"]].strip()
        if tag in found:
            raise SetOutError(f"{path}, line {line}: {tag} stands twice in the table")
        figures = []
        for name in COLUMNS[1:4]:
            unit = heads[column[name]][2].rstrip(") ").strip() or "m"
            cell = row[column[name]].strip()
            try:
                figures.append(parse_quantity(f"{cell} {unit}", "m"))
            except UnitError:
                raise SetOutError(
                    f"{path}, line {line}: {name} of {tag} is {cell!r}; write a number in {unit}"
                ) from None
        side = SIDES.get(row[column["faces"]].strip().lower())
        if side is None:
            raise SetOutError(
                f"{path}, line {line}: {tag} faces {row[column['faces']]!r}; write n, e, s or w"
            )
        found[tag] = Set(figures[0], figures[1], figures[2], side)
    return found
