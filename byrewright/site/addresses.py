"""Where each contact is read: default addresses, and the map a user may put in their place."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

from byrewright.engine.interlocks import Row, Table
from byrewright.errors import ByrewrightError
from byrewright.plant.problems import FileProblems
from byrewright.plant.source import read_text

MODE, HEARTBEAT = "Mode", "Heartbeat"
NAMESPACE = "urn:byrewright:interlocks"
"""OPC UA namespace of the default node names."""
Area = Literal["discrete_input", "input_register"]


class AddressError(ByrewrightError):
    """The address map cannot be used; the text says which line and what would be right."""


@dataclass(frozen=True, slots=True)
class Address:
    """One value at the controller."""

    tag: str
    area: Area
    number: int
    """Modbus address, from 0."""
    node: str
    """OPC UA node, in the notation `ns=2;s=TAG`."""
    meaning: str = ""


@dataclass(frozen=True, slots=True)
class Addresses:
    """Every value that the watch reads.

    A controller gives the mode as a number and a heartbeat that counts. A small input module with
    volt-free contacts gives neither: it has one contact for each mode (`mode_contacts`), or the
    mode is stated when the watch is started.
    """

    contacts: tuple[Address, ...]
    mode: Address | None
    heartbeat: Address | None
    mode_contacts: Mapping[str, Address]
    runs: tuple[Address, ...] = ()
    """Run contacts that no row rests on; read where somebody wired them."""

    def all(self) -> tuple[Address, ...]:
        """Every address, contacts first."""
        rest = [a for a in (self.mode, self.heartbeat) if a is not None]
        return (*self.contacts, *rest, *self.mode_contacts.values(), *self.runs)


def _contact(place: int, tag: str, meaning: str) -> Address:
    return Address(tag, "discrete_input", place, f"ns=2;s={tag}", meaning)


def default_addresses(
    table: Table, *, contacts_only: bool = False, runs: bool = False
) -> Addresses:
    """Addresses in the order of the input/output list.

    `contacts_only` is for an input module: after the contacts comes one contact for each mode.
    `runs`: with the run contacts that no row rests on, after those of the modes.
    """
    first = len(table.signals)
    contacts = tuple(_contact(i, s.tag, s.meaning) for i, s in enumerate(table.signals))
    last = first + len(table.modes)
    counted = tuple(_contact(last + i, s.tag, s.meaning) for i, s in enumerate(table.runs))
    counted = counted if runs else ()
    if contacts_only:
        modes = {
            m: _contact(first + i, f"Mode_{i + 1}", f"mode {m}") for i, m in enumerate(table.modes)
        }
        return Addresses(contacts, None, None, modes, counted)
    return Addresses(
        contacts,
        Address(MODE, "input_register", 0, f"ns=2;s={MODE}", "number of the mode, from 1; 0: none"),
        Address(HEARTBEAT, "input_register", 1, f"ns=2;s={HEARTBEAT}", "counts up each second"),
        {},
        counted,
    )


COLUMNS = ("tag", "area", "address", "opc_ua_node", "meaning")


def write_map(addresses: Addresses, table: Table | None = None) -> str:
    """The address map as CSV, for the engineer to fill in with the controller's own.

    Run contacts of the `table` that are not read stand at the end, with no address.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for one in addresses.all():
        writer.writerow((one.tag, one.area, one.number, one.node, one.meaning))
    have = {a.tag for a in addresses.runs}
    for signal in table.runs if table is not None else ():
        if signal.tag not in have:
            meaning = f"{signal.meaning} (may be left empty; counts hours and starts)"
            writer.writerow((signal.tag, "discrete_input", "", "", meaning))
    return out.getvalue()


def read_map(path: Path, table: Table, *, opcua: bool = False) -> Addresses:
    """An address map from CSV, with commas or semicolons; contacts that it leaves out are not read.

    `opcua` tells by which column the points are read: no two may share an address there.

    Raises:
        AddressError: a line cannot be used; names the line and what would be right.
        FileProblems: the file cannot be read, or is not UTF-8 text.
    """
    found: dict[str, Address] = {}
    lines: dict[str, int] = {}
    counted = {s.tag for s in table.runs}
    text = read_text(path, FileProblems)
    with io.StringIO(text, newline="") as file:
        head = file.readline()
        file.seek(0)
        commas = head.count(",") >= head.count(";")
        reader = csv.DictReader(file, delimiter="," if commas else ";", restval="")
        names = _heads(path, reader)
        if not {"tag", "area", "address"} <= set(names):
            raise AddressError(
                f"{path}:1: the first line must name the columns {', '.join(COLUMNS)}"
            )
        reader.fieldnames = names
        for row in _rows(path, reader):
            if row["tag"].strip() in counted:
                wired = (row.get("opc_ua_node") or "") if opcua else row["address"]
                if not wired.strip():
                    continue  # nobody wired it
                row["address"] = row["address"].strip() or "0"
            one = _read_row(path, reader.line_num, row)
            if one.tag in found:
                raise AddressError(
                    f"{path}:{reader.line_num}: {one.tag} stands in line {lines[one.tag]} already; "
                    "leave one of them"
                )
            found[one.tag], lines[one.tag] = one, reader.line_num
    known = {s.tag for s in table.signals}
    modes = {f"Mode_{i + 1}": m for i, m in enumerate(table.modes)}
    taken: dict[str, str] = {}
    for tag, one in found.items():
        if tag not in known | counted and tag not in modes and tag not in (MODE, HEARTBEAT):
            raise AddressError(
                f"{path}:{lines[tag]}: {tag or 'a line without a tag'} is not in this plant's "
                "table; tags are listed by byrewright interlocks"
            )
        place = one.node if opcua else f"{one.area.replace('_', ' ')} {one.number}"
        if place in taken:
            raise AddressError(
                f"{path}:{lines[tag]}: {tag} and {taken[place]} share {place}; each contact needs "
                "an address of its own"
            )
        taken[place] = tag
    return Addresses(
        tuple(a for t, a in found.items() if t in known), found.get(MODE), found.get(HEARTBEAT),
        {modes[t]: a for t, a in found.items() if t in modes},
        tuple(a for t, a in found.items() if t in counted),
    )  # fmt: skip


def cannot_come(where: Addresses, table: Table) -> tuple[Row, ...]:
    """Alarms that cannot come, because the map leaves out a contact that they rest on."""
    read = {a.tag for a in where.contacts}
    return tuple(r for r in table.rows if not read.issuperset(r.contacts))


def left_out(where: Addresses, table: Table) -> tuple[str, ...]:
    """Contacts of the table that the map leaves out."""
    read = {a.tag for a in where.contacts}
    return tuple(s.tag for s in table.signals if s.tag not in read)


def _heads(path: Path, reader: csv.DictReader[str]) -> list[str]:
    try:
        return [(n or "").strip() for n in reader.fieldnames or ()]
    except csv.Error as why:
        raise AddressError(f"{path}:1: not a table of commas or semicolons: {why}") from None


def _rows(path: Path, reader: csv.DictReader[str]) -> Iterator[dict[str, str]]:
    """The lines; what is no line of a table is told with its number."""
    while True:
        try:
            row = next(reader, None)
        except csv.Error as why:
            raise AddressError(
                f"{path}:{reader.line_num}: not a line of a table: {why}; write one contact a line"
            ) from None
        if row is None:
            return
        yield row


def _read_row(path: Path, line: int, row: Mapping[str, str]) -> Address:
    areas: dict[str, Area] = {a: a for a in get_args(Area)}
    said, numbered = row["area"].strip(), row["address"].strip()
    area = areas.get(said)
    if area is None:
        raise AddressError(f"{path}:{line}: area {_is(said)}; write {' or '.join(areas)}")
    number = int(numbered) if numbered.isdecimal() and numbered.isascii() else -1
    if not 0 <= number <= 65535:
        raise AddressError(f"{path}:{line}: address {_is(numbered)}; write 0 to 65535")
    tag = row["tag"].strip()
    node = (row.get("opc_ua_node") or f"ns=2;s={tag}").strip()
    return Address(tag, area, number, node, row.get("meaning") or "")


def _is(said: str) -> str:
    """What a cell holds, for a sentence."""
    return f"is {said!r}" if said else "is missing"
