"""The plant file into the model: everything wrong with it is found and told at once."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, get_args, get_origin

from byrewright.plant.machine import PIPED, Machine, Port, kinds
from byrewright.plant.place import read_place
from byrewright.plant.plant import FORMAT, Mode, Pipe, Plant
from byrewright.plant.problems import PlantError, Problem, fold, nearest, problem, show
from byrewright.plant.record import Record
from byrewright.plant.sited import laid_out
from byrewright.plant.source import Place, Source, load, read_text
from byrewright.plant.translate import validate
from byrewright.standards.rulebook import Rulebook

ID = re.compile(r"[A-Za-z][A-Za-z0-9_-]{0,31}\Z")
"""A tag: no full stop, because a port is written after one."""

OWN = ("equipment", "pipes", "modes", "place", "byrewright")
MODE_KEYS = ("does", "like")


@dataclass(frozen=True)
class PlantFile:
    """A plant with the file it came from.

    `lines` gives (line, column) from 1 of every dotted key, such as `equipment.V11.ways`.
    """

    plant: Plant
    path: Path | None
    name: str
    text: str
    source: Source = field(repr=False)

    @cached_property
    def lines(self) -> dict[str, tuple[int, int]]:
        """Line and column of every dotted key."""
        return self.source.lines()

    def check(self) -> tuple[Problem, ...]:
        """The cross checks of the whole plant, each with its line in this file."""
        from byrewright.plant.check import check
        from byrewright.plant.limits import known_beside

        own = known_beside(self.path) if self.path else None
        return fold(self.locate(p) for p in check(self.plant, own.regions_held if own else ()))

    def sound(self) -> Plant:
        """The plant, where the cross checks find no error: what every study begins with.

        Raises:
            PlantError: with every error that `check` tells, in the same words.
        """
        errors = [p for p in self.check() if p.severity == "error"]
        if errors:
            raise PlantError(errors)
        return self.plant

    def locate(self, found: Problem) -> Problem:
        """The same problem with file, line and column of the nearest key around it."""
        from dataclasses import replace

        parts = found.key.split(".") if found.key else []
        for cut in range(len(parts), 0, -1):
            place = self.lines.get(".".join(parts[:cut]))
            if place:
                return replace(found, file=self.name, line=place[0], column=place[1])
        return replace(found, file=self.name)


def read_plant(path: str | Path) -> PlantFile:
    """Read a plant file; it is laid out by the dimensions of the limits file beside it, if any.

    Raises:
        PlantError: with one `Problem` for each thing wrong, in file order. Nothing else.
    """
    from byrewright.plant.limits import known_beside

    found = read_plant_text(read_text(path, PlantError), str(path), known_beside(path))
    return PlantFile(found.plant, Path(path), found.name, found.text, found.source)


def read_plant_text(
    text: str, name: str = "plant.yaml", rules: Rulebook | None = None
) -> PlantFile:
    """Read a plant from text; `name` stands for the file in messages, `rules` for a user's own
    dimensions.

    Lengths, rises and bends that a plant with a `place` does not state are those of its plan.

    Raises:
        PlantError: with one `Problem` for each thing wrong, in file order. Nothing else.
    """
    source = load(text, name, PlantError, "byrewright: 1")
    plant = _Reader(source).plant()
    source.stop(PlantError)
    if plant is None:  # a part was refused without a word: never to be passed over in silence
        raise PlantError([problem("F024", file=name, found="the file", allowed="a plant file")])
    return PlantFile(laid_out(plant.held_to(rules)), None, name, text, source)


class _Reader:
    """Builds the parts of a plant one by one, so that one bad part hides no other."""

    def __init__(self, source: Source) -> None:
        self.source = source
        self.data: dict[str, Any] = source.data
        self.machines: dict[str, Machine] = {}
        self.tags: dict[str, None] = {}
        self.slips: set[str] = set()  # machines with a port written wrongly
        self.pipes: list[tuple[Place, Pipe]] = []
        self.modes: dict[str, Mode] = {}

    def plant(self) -> Plant | None:
        self.version()
        known = list(Plant.model_fields)
        for key in self.data:
            if key not in Plant.model_fields:
                self.source.add("F020", (key,), True, near=nearest(key, known))
        parts = {k: self.part(k) for k in known if k not in OWN}
        self.read_machines()
        self.read_pipes()
        self.read_modes()
        parts["place"] = read_place(self.source, self.tags) if "place" in self.data else None
        self.refer_groups(parts)
        if isinstance(self.data.get("equipment"), dict):  # else one cause would be told 500 times
            self.refer_machines()
            self.join_pipes()
            self.set_modes()
        if any(p.severity == "error" for p in self.source.problems):
            return None
        stated = {k: v for k, v in parts.items() if k in self.data}
        own: dict[str, Any] = {"equipment": self.machines, "pipes": tuple(p for _, p in self.pipes),
                               "modes": self.modes}  # fmt: skip
        stated |= {k: v for k, v in own.items() if k in self.data}
        return Plant.model_validate({"byrewright": FORMAT, **stated})

    # the farm -----------------------------------------------------------------------------------

    def version(self) -> None:
        found = self.data.get("byrewright")
        if found != FORMAT or isinstance(found, bool | float):
            shown = show(found) if "byrewright" in self.data else "(not stated)"
            self.source.add(
                "F030",
                ("byrewright",),
                found=shown,
                allowed=f"{FORMAT}, written `byrewright: {FORMAT}`",
            )

    def part(self, key: str) -> Any:
        """A section of the farm: one record, or a list of them."""
        info = Plant.model_fields[key]
        if key not in self.data:
            if info.is_required():
                self.source.add("F022", (key,), True, meaning=info.description, allowed="")
            return None
        value = self.data[key]
        if get_origin(info.annotation) is not tuple:
            record = info.annotation
            assert isinstance(record, type) and issubclass(record, Record)
            return validate(record, value, self.source, (key,))
        if not isinstance(value, list):
            self.source.add(
                "F024",
                (key,),
                found=show(value),
                allowed="a list, one item a line beginning with -",
            )
            return ()
        item = get_args(info.annotation)[0]
        every = [validate(item, v, self.source, (key, i)) for i, v in enumerate(value)]
        if info.is_required() and not every:
            self.source.add(
                "F022", (key,), True, meaning=info.description, allowed=", at least one"
            )
        self.unique(
            key,
            [(i, r.name) for i, r in enumerate(every) if r is not None and hasattr(r, "name")],
            "name",
        )
        return tuple(r for r in every if r is not None)

    def unique(self, key: str, names: Iterable[tuple[int, str]], called: str) -> None:
        """No two items of a list may have the same name."""
        seen: dict[str, int] = {}
        for index, name in names:
            if name in seen:
                first = self.source.mark((key, seen[name], called))
                self.source.add(
                    "F032",
                    (key, index, called),
                    found=show(name),
                    allowed=str(first.line if first else "?"),
                )
            seen.setdefault(name, index)

    def refer_groups(self, parts: dict[str, Any]) -> None:
        herd = parts.get("herd")
        if herd is None:
            return
        names = [g.name for g in herd.groups]
        for i, name in enumerate(names):
            if name in names[:i]:
                first = self.source.mark(("herd", "groups", names.index(name), "name"))
                self.source.add(
                    "F032",
                    ("herd", "groups", i, "name"),
                    found=show(name),
                    allowed=str(first.line if first else "?"),
                )
        raw = self.data.get("milkings")
        for i, milking in enumerate(raw if isinstance(raw, list) else []):
            groups = milking.get("groups") if isinstance(milking, dict) else None
            for j, group in enumerate(groups if isinstance(groups, list) else []):
                if isinstance(group, str) and group not in names:
                    near = nearest(group, names) or ("" if names else "; herd.groups is empty")
                    self.source.add(
                        "F042", ("milkings", i, "groups", j), found=show(group), near=near
                    )

    # machines -----------------------------------------------------------------------------------

    def group(self, key: str, example: str) -> dict[str, Any]:
        """A section that is a group of tags, or an empty one when it is something else."""
        if key not in self.data:
            if Plant.model_fields[key].is_required():
                self.source.add(
                    "F022", (key,), True, meaning=Plant.model_fields[key].description, allowed=""
                )
            return {}
        value = self.data[key]
        if not isinstance(value, dict):
            self.source.add("F014", (key,), found=show(value), allowed=example)
            return {}
        return value

    def tag(self, tag: str, place: Place, on_key: bool) -> bool:
        if not ID.match(tag) or tag in MODE_KEYS:
            self.source.add("F031", place, on_key, found=show(tag))
            return False
        return True

    def read_machines(self) -> None:
        for tag, body in self.group("equipment", "VP1: {kind: vacuum_pump, ...}").items():
            place: Place = ("equipment", tag)
            self.tags[tag] = None
            good = self.tag(tag, place, True)
            record = self.kind(body, place)
            if record is None:
                continue
            rest = {k: v for k, v in body.items() if k != "kind"}
            machine = validate(record, rest, self.source, place, given={"id": tag})
            if machine is not None and good:
                self.machines[tag] = machine

    def kind(self, body: Any, place: Place) -> type[Machine] | None:
        if not isinstance(body, dict):
            self.source.add("F014", place, found=show(body), allowed="{kind: vacuum_pump, ...}")
            return None
        if "kind" not in body:
            self.source.add(
                "F022", (*place, "kind"), True, meaning="what kind of machine it is", allowed=""
            )
            return None
        name = body["kind"]
        record = kinds().get(name) if isinstance(name, str) else None
        if record is None:
            near = nearest(str(name)[:60], kinds())
            self.source.add("F021", (*place, "kind"), found=show(name), near=near)
        return record

    def refer_machines(self) -> None:
        """Fields that name machines: those must be there and able."""
        for tag, machine in self.machines.items():
            place: Place = ("equipment", tag)
            for name, info in type(machine).model_fields.items():
                extra = info.json_schema_extra
                able = extra.get("refers") if isinstance(extra, dict) else None
                value = getattr(machine, name)
                if not able or value is None:
                    continue
                for other in [value] if isinstance(value, str) else value:
                    self.refer((*place, name), other, str(able))
            self.own_state(place, machine)
            at_port = getattr(machine, "at_port", None)
            on = self.machines.get(getattr(machine, "on", ""))
            if at_port is not None and on is not None and on.port(at_port) is None:
                self.no_port((*place, "at_port"), on, at_port)

    def refer(self, place: Place, other: str, able: str) -> None:
        if other not in self.tags:
            self.source.add("F040", place, found=show(other), near=nearest(other, self.tags))
            return
        machine = self.machines.get(other)
        if machine is None or able == "*" or machine.can(able):
            return
        article = "an" if type(machine).KIND[0] in "aeiou" else "a"
        self.source.add(
            "F041", place, found=other, what=f"{article} {type(machine).KIND}", lacks=_lacks(able)
        )

    def own_state(self, place: Place, machine: Machine) -> None:
        if machine.normally is not None:
            self.state((*place, "normally"), machine, machine.normally)

    def state(self, place: Place, machine: Machine, state: str) -> None:
        every = machine.states()
        if not every:
            self.source.add("F046", place, what=machine.id)
        elif state not in every:
            self.source.add(
                "F045", place, found=show(state), what=machine.id, allowed=", ".join(every)
            )

    # pipes --------------------------------------------------------------------------------------

    def read_pipes(self) -> None:
        if "pipes" not in self.data:
            return
        value = self.data["pipes"]
        if not isinstance(value, list):
            self.source.add(
                "F024",
                ("pipes",),
                found=show(value),
                allowed="a list, one pipe a line beginning with -",
            )
            return
        for i, body in enumerate(value):
            place: Place = ("pipes", i)
            pipe = validate(Pipe, body, self.source, place)
            if pipe is not None and self.tag(pipe.id, (*place, "id"), False):
                self.pipes.append((place, pipe))
        names = [
            (i, b["id"])
            for i, b in enumerate(value)
            if isinstance(b, dict) and isinstance(b.get("id"), str)
        ]
        self.unique("pipes", names, "id")

    def no_port(self, place: Place, machine: Machine, name: str) -> None:
        self.slips.add(machine.id)
        ports = [p.name.replace("#", "1") for p in machine.ports()]
        near = nearest(name, ports) if ports else "; it has none"
        self.source.add(
            "F051", place, what=f"{machine.id} ({type(machine).KIND})", found=show(name), near=near
        )

    def end(self, place: Place, text: str) -> tuple[Machine, Port] | None:
        """The machine and port of an end of a pipe, when both are there."""
        tag, dot, name = text.partition(".")
        if not dot or not tag or not name:
            self.source.add("F050", place, found=show(text))
        elif tag not in self.tags:
            self.source.add("F040", place, found=show(tag), near=nearest(tag, self.tags))
        elif (machine := self.machines.get(tag)) is not None:
            port = machine.port(name)
            if port is not None and port.name != name and "#" not in port.name:
                port = None
            if port is None or ("#" in port.name and not _numbered(port.name, name)):
                self.no_port(place, machine, name)
            else:
                return machine, port
        return None

    def join_pipes(self) -> None:
        used: dict[str, str] = {}
        for place, pipe in self.pipes:
            at = {
                n: (*place, n if n in self.data["pipes"][place[1]] else p)
                for n, p in (("from", "start"), ("to", "end"))
            }
            ends = [(at["from"], pipe.start), (at["to"], pipe.end)]
            if pipe.start == pipe.end:
                self.source.add("F056", at["to"], found=pipe.start)
                continue
            found = [self.end(where, text) for where, text in ends]
            for (where, text), one in zip(ends, found, strict=True):
                if one is not None and text in used and not one[1].many:
                    self.source.add("F055", where, found=text, allowed=used[text])
                used.setdefault(text, pipe.id)
            if found[0] is not None and found[1] is not None:
                self.service(place, pipe, found[0][1], found[1][1])
        if isinstance(self.data.get("pipes", []), list):
            self.missing_ports(used)

    def service(self, place: Place, pipe: Pipe, start: Port, end: Port) -> None:
        both = start.services & end.services & PIPED
        if not both:
            allowed = f"{_services(start)} against {_services(end)}"
            self.source.add("F052", place, what=pipe.start, found=pipe.end, allowed=allowed)
        elif pipe.service is None and len(both) > 1:
            self.source.add("F053", place, allowed=", ".join(sorted(both)))
        elif pipe.service is not None and pipe.service not in both:
            self.source.add(
                "F054", (*place, "service"), found=pipe.service, allowed=", ".join(sorted(both))
            )

    def missing_ports(self, used: dict[str, str]) -> None:
        joined: dict[str, list[str]] = {}
        for end in used:
            owner, _, port_name = end.partition(".")
            joined.setdefault(owner, []).append(port_name)
        for tag, machine in self.machines.items():
            if tag in self.slips:
                continue  # told already; the missing port is probably that one
            names = joined.get(tag, [])
            for port in machine.ports():
                if (
                    port.needed
                    and port.services & PIPED
                    and not any(port.answers_to(n) for n in names)
                ):
                    name = port.name.replace("#", "1")
                    self.source.add("F057", ("equipment", tag), True, found=f"{tag}.{name}",
                                    allowed=f" ({_services(port)})")  # fmt: skip

    # modes --------------------------------------------------------------------------------------

    def read_modes(self) -> None:
        for name, body in self.group("modes", "milking: {does: milking, ...}").items():
            place: Place = ("modes", name)
            if not isinstance(body, dict):
                self.source.add(
                    "F014", place, found=show(body), allowed="{does: milking, V11: closed, ...}"
                )
                continue
            positions = {k: v for k, v in body.items() if k not in MODE_KEYS}
            for key, value in list(positions.items()):
                if not isinstance(value, str):
                    self.source.add(
                        "F024",
                        (*place, key),
                        found=show(value),
                        allowed="a state in words, such as open or runs",
                    )
                    del positions[key]
            own = {k: v for k, v in body.items() if k in MODE_KEYS}
            mode = validate(
                Mode, own, self.source, place, given={"name": name, "positions": positions}
            )
            if mode is not None and not mode.does:
                self.source.add(
                    "F022", (*place, "does"), meaning="what the plant does in it", allowed=""
                )
            elif mode is not None:
                self.modes[name] = mode

    def set_modes(self) -> None:
        raw = self.data.get("modes")
        names = list(raw) if isinstance(raw, dict) else []
        for name, mode in self.modes.items():
            place: Place = ("modes", name)
            if mode.like is not None and mode.like not in names:
                self.source.add(
                    "F043", (*place, "like"), found=show(mode.like), near=nearest(mode.like, names)
                )
            self.circle(name)
            for tag, state in mode.positions.items():
                machine = self.machines.get(tag)
                if machine is not None:
                    self.state((*place, tag), machine, state)
                elif tag not in self.tags:
                    near = nearest(tag, [*self.tags, *MODE_KEYS])
                    self.source.add("F040", (*place, tag), True, found=show(tag), near=near)

    def circle(self, name: str) -> None:
        way = [name]
        while (mode := self.modes.get(way[-1])) is not None and mode.like is not None:
            if mode.like in way:
                if mode.like == name:
                    self.source.add(
                        "F044", ("modes", name, "like"), found=", ".join(show(w) for w in way[:6])
                    )
                return
            way.append(mode.like)


def _numbered(family: str, name: str) -> bool:
    return bool(re.fullmatch(re.escape(family).replace(r"\#", "[0-9]{1,4}"), name))


def _services(port: Port) -> str:
    return " or ".join(sorted(port.services))


def _lacks(able: str) -> str:
    """The capability in a sentence: "gives power" becomes "does not give power"."""
    verb, _, rest = able.partition(" ")
    stem = verb[:-1] if verb.endswith("s") else verb
    return f"does not {stem} {rest}".strip()
