"""The model into the plant file: one machine a line where it can be, reasons behind numbers."""

from __future__ import annotations

import errno
import os
import tempfile
import textwrap
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from byrewright.plant.farm import plain
from byrewright.plant.plant import FORMAT, Plant
from byrewright.plant.source import plain_scalar

WIDTH = 108
"""Longest line aimed at; a single long value may pass it."""

COLUMN = 44
"""Farthest column at which the reasons of one machine are lined up."""

SECTIONS: Mapping[str, str] = {
    "site": "Where it stands. Months run from January.",
    "herd": "The cows.",
    "milkings": "Milkings of a day.",
    "collections": "Tanker visits.",
    "work": "Milking routine, seconds a cow.",
    "cleaning": "How the plant is washed.",
    "wishes": "What the farm asked for: findings are held to it.",
    "colours": "Colours of services on drawings and pages.",
    "place": "Where things stand, metres east and north. What is not stated is worked out.",
    "equipment": "Machines by tag. What is not stated is an assumption, listed in every report.",
    "pipes": "Pipes, from machine.port to machine.port. A vacuum is in kPa below ambient.",
    "modes": "What each valve and machine does in each mode.",
}
_PLAIN_FIRST = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789.+(/")
_PLAIN = _PLAIN_FIRST | frozenset(" _-;&=%)*'°²³")


def scalar(value: Any) -> str:
    """One value as YAML; text is quoted where it could be read as something else.

    >>> [scalar(v) for v in (None, True, 6200.0, 3.2, "runs", "05:30", "12", "a, b")]
    ['null', 'true', '6200', '3.2', 'runs', '"05:30"', '"12"', '"a, b"']
    """
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    text = str(value)
    safe = (
        text[:1] in _PLAIN_FIRST
        and set(text) <= _PLAIN
        and text == text.strip()
        and plain_scalar(text) == text
        and not text[0].isdigit()
    )
    return text if safe and text[0] not in ".+" else quoted(text)


def quoted(text: str) -> str:
    """Text in double quotes, with every character that YAML could refuse written as an escape."""
    parts = []
    for c in text:
        code = ord(c)
        if c in '"\\':
            parts.append("\\" + c)
        elif c == "\n":
            parts.append("\\n")
        elif c.isprintable() and code not in (0xFEFF,):
            parts.append(c)
        elif code <= 0xFF:
            parts.append(f"\\x{code:02x}")
        else:
            parts.append(f"\\u{code:04x}" if code <= 0xFFFF else f"\\U{code:08x}")
    return '"' + "".join(parts) + '"'


def flow(value: Any) -> str:
    """Any plain data on one line."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{scalar(k)}: {flow(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(flow(v) for v in value) + "]"
    return scalar(value)


def plant_to_text(plant: Plant, comments: Mapping[str, str] | None = None) -> str:
    """The file of a plant.

    Only stated fields are written, so that assumptions stay assumptions. `comments` gives a reason
    by dotted place: `equipment.VP1.motor_kw` behind that number, `equipment.VP1` at the machine,
    `equipment` in place of the section's own heading, "" at the top of the file.
    """
    out = _Page(dict(comments or {}))
    out.remark(out.comments.get("", ""), 0)
    out.lines.append(f"byrewright: {FORMAT}")
    data = plain(plant)
    for key in Plant.model_fields:
        if key == "byrewright" or key not in data:
            continue
        out.lines.append("")
        out.remark(out.comments.get(key, SECTIONS[key]), 0)
        value = data[key]
        if key == "equipment":
            out.equipment(plant, value)
        elif key == "modes":
            modes = {name: _mode(mode) for name, mode in value.items()}
            out.group(key, modes, key)
        elif isinstance(value, list):
            out.items(key, value)
        else:
            out.group(key, value, key)
    return "\n".join(out.lines) + "\n"


def _mode(mode: Mapping[str, Any]) -> dict[str, Any]:
    does = mode["does"]
    kept = {"does": does[0] if len(does) == 1 else does}
    if "like" in mode:
        kept["like"] = mode["like"]
    return {**kept, **mode.get("positions", {})}


class _Page:
    """The lines of the file under way."""

    def __init__(self, comments: dict[str, str]) -> None:
        self.comments = comments
        self.lines: list[str] = []

    def remark(self, text: str, indent: int) -> None:
        """A comment on lines of its own."""
        pad = " " * indent + "# "
        for part in text.splitlines():
            words = textwrap.wrap(_one_line(part), max(40, WIDTH - len(pad)))
            self.lines += [pad + one for one in words]

    def inner(self, place: str) -> dict[str, str]:
        """The comments on values inside a place, by their key below it."""
        return {
            k[len(place) + 1 :]: v
            for k, v in self.comments.items()
            if k.startswith(place + ".") and v
        }

    def entry(self, head: str, value: Any, place: str, indent: int) -> None:
        """`head` and its value: on one line, wrapped inside its brackets, or one key a line."""
        below = self.inner(place)
        own = self.comments.get(place, "")
        line = f"{head} {flow(value)}"
        if not below and own and len(line) + len(own) + 4 <= WIDTH:
            self.lines.append(f"{line}  # {_one_line(own)}")
            return
        self.remark(own, indent)
        if not below and len(line) <= WIDTH:
            self.lines.append(line)
        elif len(below) == 1 and isinstance(value, Mapping):
            ((key, why),) = below.items()
            behind = f"{line}  # {key}: {_one_line(why)}"
            if len(behind) <= WIDTH:
                self.lines.append(behind)
            else:
                self.block(head, value, below, indent)
        elif below and isinstance(value, Mapping):
            self.block(head, value, below, indent)
        else:
            self.wrapped(head, value)

    def block(
        self, head: str, value: Mapping[str, Any], below: Mapping[str, str], indent: int
    ) -> None:
        """One key a line under `head`, with the reasons lined up behind."""
        self.lines.append(head.rstrip())
        texts = {k: f"{' ' * (indent + 2)}{scalar(k)}: {flow(v)}" for k, v in value.items()}
        ends = [len(t) for k, t in texts.items() if k in below]
        column = max((n for n in ends if n <= COLUMN), default=0)
        for key, text in texts.items():
            why = _one_line(below.get(key, ""))
            if not why:
                self.lines.append(text)
            elif max(len(text), column) + len(why) + 4 <= WIDTH:
                self.lines.append(f"{text.ljust(column)}  # {why}")
            else:
                self.remark(why, indent + 2)
                self.lines.append(text)

    def wrapped(self, head: str, value: Any) -> None:
        """A long value in brackets over several lines."""
        if isinstance(value, Mapping):
            parts = [f"{scalar(k)}: {flow(v)}" for k, v in value.items()]
            opening, closing = "{", "}"
        elif isinstance(value, list):
            parts, opening, closing = [flow(v) for v in value], "[", "]"
        else:
            self.lines.append(f"{head} {flow(value)}")
            return
        line = f"{head} {opening}"
        pad = " " * min(len(line), 24)
        for i, part in enumerate(parts):
            text = part + (closing if i == len(parts) - 1 else ",")
            if len(line) + len(text) + 1 > WIDTH and line.strip():
                self.lines.append(line.rstrip())
                line = pad + text
            else:
                line += ("" if line.endswith(opening) else " ") + text
        self.lines.append(line)

    def group(self, key: str, value: Mapping[str, Any], place: str) -> None:
        """A section of named parts, each on its own line."""
        if not value:
            self.lines.append(f"{key}: {{}}")
            return
        self.lines.append(f"{key}:")
        for name, one in value.items():
            self.entry(f"  {scalar(name)}:", one, f"{place}.{name}", 2)

    def items(self, key: str, value: list[Any]) -> None:
        """A section that is a list of parts."""
        if not value:
            self.lines.append(f"{key}: []")
            return
        self.lines.append(f"{key}:")
        for i, one in enumerate(value):
            name = next((str(one[k]) for k in ("id", "name", "at") if k in one), str(i + 1))
            place = f"{key}.{name}"
            for inner, why in self.inner(place).items():
                self.remark(f"{inner}: {why}", 2)
            line = f"  - {flow(one)}"
            own = self.comments.get(place, "")
            if own and len(line) + len(own) + 4 <= WIDTH:
                line += f"  # {_one_line(own)}"
            else:
                self.remark(own, 2)
            if len(line) <= WIDTH or "#" in line:
                self.lines.append(line)
            else:
                self.wrapped("  -", one)

    def equipment(self, plant: Plant, value: Mapping[str, Any]) -> None:
        """The machines, under the name of their room where they stand together."""
        if not value:
            self.lines.append("equipment: {}")
            return
        self.lines.append("equipment:")
        rooms = [type(m).ROOM for m in plant.equipment.values()]
        changes = [i for i, room in enumerate(rooms) if i == 0 or rooms[i - 1] != room]
        together = len(changes) == len(set(rooms)) and len(rooms) > 4
        widest = min(8, max(len(tag) for tag in value)) + 1
        for i, (tag, machine) in enumerate(plant.equipment.items()):
            if together and i in changes:
                self.remark(rooms[i].capitalize(), 2)
            body = {"kind": machine.kind, **_in_reading_order(value[tag])}
            self.entry(f"  {(tag + ':').ljust(widest)}", body, f"equipment.{tag}", 2)


_LAST = ("fed_from", "controlled_by", "air_from", "normally")


def _in_reading_order(fields: Mapping[str, Any]) -> dict[str, Any]:
    """What the machine is first, what it hangs on last."""
    kept = {k: v for k, v in fields.items() if k != "id" and k not in _LAST}
    return kept | {k: _single(fields[k]) for k in _LAST if k in fields}


def _single(value: Any) -> Any:
    """A list of one tag is written as the tag."""
    if isinstance(value, list) and len(value) == 1 and isinstance(value[0], str):
        return value[0]
    return value


def _one_line(text: str) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def write_plant(plant: Plant, path: str | Path, comments: Mapping[str, str] | None = None) -> None:
    """Write a plant file; a crash leaves the old file whole."""
    write_text(path, plant_to_text(plant, comments))


def write_text(path: str | Path, text: str) -> None:
    """Write a text file in one step, as `write_bytes` does."""
    write_bytes(path, text.encode("utf-8"))


def write_bytes(path: str | Path, data: bytes) -> None:
    """Write a file in one step: a new file beside it, synced to disk, then renamed over it.

    Raises:
        OSError: the folder cannot be made, is full or not writable; the old file is then untouched.
    """
    write_files([(Path(path), data)])


def write_files(files: Iterable[tuple[Path, bytes]]) -> list[Path]:
    """Write files that belong together: each beside the one it replaces, synced to disk; when all
    are there, each is renamed over the old one. The files, as they were named.

    Raises:
        OSError: one cannot be written; no old file is changed, no new one or new folder left.
    """
    made: list[Path] = []
    waiting: list[tuple[Path, Path]] = []
    written: list[Path] = []
    try:
        for path, data in files:
            target = Path(os.path.realpath(path))  # a link stays a link
            try:
                made += _folders_for(target)
                waiting.append((_beside(target, data), target))
            except OSError as why:
                if why.errno is None or str(why.filename) in (str(target), str(target.parent)):
                    raise
                raise type(why)(why.errno, why.strerror, str(path)) from None
            written.append(path)
        for temporary, target in waiting:
            os.replace(temporary, target)
    except BaseException:
        for temporary, _ in waiting:
            temporary.unlink(missing_ok=True)
        for folder in reversed(made):
            with suppress(OSError):  # somebody put something there
                folder.rmdir()
        raise
    return written


def _folders_for(target: Path) -> list[Path]:
    """The folders that had to be made for a file, the outer first."""
    if target.parent.exists() and not target.parent.is_dir():
        raise NotADirectoryError(errno.ENOTDIR, "is a file, not a folder", str(target.parent))
    lacking = [p for p in reversed(target.parents) if not p.exists()]
    target.parent.mkdir(parents=True, exist_ok=True)
    return lacking


def _beside(target: Path, data: bytes) -> Path:
    """A new file beside one that it is to replace, whole on the disk."""
    if target.is_dir():
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(target))
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.", suffix=".new")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(name, target.stat().st_mode & 0o777 if target.exists() else 0o644)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return Path(name)
