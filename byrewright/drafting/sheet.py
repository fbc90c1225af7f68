"""The drawing sheet of a draft: machines, pipes and modes as they are put down, each with its why.

The sheet knows nothing of parlours. It takes sizes that the sizing study chose in an earlier
round in place of the first guess, and keeps for every number the reason that ends up as the
comment behind it in the plant file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from pydantic import ValidationError

from byrewright.errors import ByrewrightError
from byrewright.plant.machine import Machine, Service, kinds
from byrewright.plant.plant import Does, Mode, Pipe
from byrewright.standards.pipes import sold_as_mm

THROUGH: Mapping[str, tuple[str, str]] = {
    "valve": ("a", "b"),
    "plate_cooler": ("milk_in", "milk_out"),
    "sanitary_trap": ("receiver", "vacuum"),
}
"""Ports by which a line passes a machine, where they are not `inlet` and `outlet`."""

SERVICE_DIGIT: Mapping[str, int] = {
    "vacuum": 1,
    "milk": 2,
    "wash": 3,
    "water": 4,
    "air": 5,
    "coolant": 6,
    "refrigerant": 7,
    "drain": 8,
}
"""First digit of a pipe's tag, by service: our own default numbering."""


class DraftError(ByrewrightError):
    """The farm asks for a machine that is not made: a size outside its kind's range."""

    def __init__(
        self, machine_id: str, title: str, fields: Mapping[str, Any], error: ValidationError
    ) -> None:
        self.machine_id = machine_id
        first = error.errors()[0]
        name = str(first["loc"][0]) if first["loc"] else ""
        said = f"{name} {fields.get(name)}"
        super().__init__(
            f"the brief asks for {title.lower()} {machine_id} with {said}, which is outside what "
            f"one can have ({first['msg'].lower()}); change what leads to it in the "
            "brief, such as cows, yield, hours, stalls or wishes"
        )


NOT_SIZED: Mapping[str, str] = {
    "drain": "38 mm tube runs empty by gravity and is not sized by flow",
    "calf drain": "wide: takes the wash that comes in, by gravity",
    "sample": "10 mm: as the cock",
    "heater water": "40 mm: fills a heater in minutes",
    "laundry water": "25 mm: usual connection of a washer",
    "laundry drain": "50 mm: usual outlet of a washer",
    "overflow": "80 mm: takes what comes in, by gravity",
    "milk tube": "16 mm long milk tube: usual",
    "withheld line": "38 mm takes froth with the milk: usual, not sized by flow",
    "withheld air line": "38 mm: one unit's air, the least airline laid",
    "dosing": "10 mm: the dosing pump's own size",
    "expansion": "20 mm: no flow, only what the liquid grows by",
    "refrigerant": "28 mm until the refrigeration engineer states it",
}
"""Families of pipes whose bore is a choice and not a size (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Chosen:
    """A figure chosen by a study, and why; `most` where it must not be more."""

    value: Any
    why: str
    most: bool = False


Choices = Mapping[tuple[str, str], Chosen]
"""Chosen figures by the tag and the field they belong to."""


def made(kind: type[Machine], name: str, choice: Chosen) -> Chosen:
    """What is chosen, or the least that is made where less would do."""
    limits = (getattr(x, "ge", None) for x in kind.model_fields[name].metadata)
    least = next((x for x in limits if x is not None), None)
    if least is None or isinstance(choice.value, str | bool) or choice.value >= least:
        return choice
    return Chosen(float(least), f"{choice.why}; the least that is made", choice.most)


@dataclass(slots=True)
class Sheet:
    """Collects a draft. `sizes` are the last round's choices; `locked` fields keep their own."""

    sizes: Choices
    region: str = ""
    equipment: dict[str, Machine] = field(default_factory=dict)
    pipes: list[Pipe] = field(default_factory=list)
    modes: dict[str, Mode] = field(default_factory=dict)
    comments: dict[str, str] = field(default_factory=dict)
    locked: set[tuple[str, str]] = field(default_factory=set)
    twins: dict[str, list[str]] = field(default_factory=dict)
    families: dict[str, list[str]] = field(default_factory=dict)
    _ways: dict[str, int] = field(default_factory=dict)
    _numbers: dict[str, int] = field(default_factory=dict)
    first_bore_mm: dict[str, float] = field(default_factory=dict)

    def lock(self, machine_id: str, *fields: str) -> None:
        """Keep these fields as given: the brief states them."""
        self.locked.update((machine_id, f) for f in fields)

    def chosen(self, machine_id: str, name: str) -> Chosen | None:
        """The size chosen for a field of a machine or of its twins (the largest of them)."""
        if (machine_id, name) in self.locked:
            return None
        group = next((g for g in self.twins.values() if machine_id in g), [machine_id])
        found = [self.sizes[(m, name)] for m in group if (m, name) in self.sizes]
        best = max(found, key=lambda c: c.value, default=None)
        return min(found, key=lambda c: c.value) if best and best.most else best

    def add(
        self,
        kind: str,
        machine_id: str,
        *,
        why: Mapping[str, str] | None = None,
        twins: str = "",
        **fields: Any,
    ) -> Machine:
        """Put a machine down. `why` gives the reason of each number; machines that share a `twins`
        word are sized alike."""
        cls = kinds()[kind]
        if twins:
            self.twins.setdefault(twins, []).append(machine_id)
        reasons = dict(why or {})
        for name, info in cls.model_fields.items():
            choice = self.chosen(machine_id, name)
            if choice is None:
                continue
            choice = made(cls, name, choice)
            whole = info.annotation is int
            fields[name] = round(choice.value) if whole else choice.value
            reasons[name] = choice.why
        try:
            machine = cls(id=machine_id, **fields)
        except ValidationError as error:
            raise DraftError(machine_id, cls.TITLE, fields, error) from None
        self.equipment[machine_id] = machine
        for name, reason in reasons.items():
            if name in fields or name == "":
                self.comments[f"equipment.{machine_id}" + (f".{name}" if name else "")] = reason
        return machine

    def sense(self, sensor_id: str, measures: str, on: str, label: str) -> None:
        """Put a sensor on a machine that is on the sheet."""
        if on in self.equipment:
            self.add(
                "sensor", sensor_id, label=label, measures=measures, on=on, controlled_by="CT1"
            )

    def retwin(self) -> None:
        """Size twins alike even where only a later one of them was given a size."""
        for group in self.twins.values():
            for machine_id in group:
                machine = self.equipment[machine_id]
                for name in type(machine).model_fields:
                    choice = self.chosen(machine_id, name)
                    if choice is None:
                        continue
                    choice = made(type(machine), name, choice)
                    if getattr(machine, name) != choice.value:
                        self.equipment[machine_id] = machine.model_copy(update={name: choice.value})
                        self.comments[f"equipment.{machine_id}.{name}"] = choice.why
                        machine = self.equipment[machine_id]

    def way(self, header: str) -> str:
        """The next free way of a header."""
        self._ways[header] = self._ways.get(header, 0) + 1
        return f"{header}.way_{self._ways[header]}"

    def line(
        self,
        service: Service,
        *stops: str,
        family: str,
        slope_pct: float | None = None,
        why: str = "",
    ) -> None:
        """Join stops in order with pipes of one family (same bore).

        A stop is `machine.port`, a header (its next free way), or a machine that the line passes.
        Lengths, rises and bends are not drafted: they follow from the plan.
        """
        at = self._leave(stops[0])
        for stop in stops[1:]:
            enter, leave = self._pass(stop)
            self._pipe(service, at, enter, family, slope_pct, why)
            at = leave

    def _leave(self, stop: str) -> str:
        return stop if "." in stop else self._pass(stop)[1]

    def _pass(self, stop: str) -> tuple[str, str]:
        if "." in stop:
            return stop, stop
        machine = self.equipment[stop]
        if machine.kind == "header":
            way = self.way(stop)
            return way, way
        enter, leave = THROUGH.get(machine.kind, ("inlet", "outlet"))
        return f"{stop}.{enter}", f"{stop}.{leave}"

    def _pipe(
        self,
        service: Service,
        start: str,
        end: str,
        family: str,
        slope_pct: float | None,
        why: str,
    ) -> None:
        digit = SERVICE_DIGIT[service]
        self._numbers[service] = self._numbers.get(service, 0) + 1
        pipe_id = f"L{digit}{self._numbers[service]:02d}"
        self.families.setdefault(family, []).append(pipe_id)
        fields: dict[str, Any] = {"id": pipe_id, "start": start, "end": end}
        if self._ambiguous(start, end):
            fields["service"] = service
        fields["bore_mm"] = sold_as_mm(self.first_bore_mm[family], self.region)
        if slope_pct is not None:
            fields["slope_pct"] = slope_pct
        self.pipes.append(Pipe(**fields))
        reason = NOT_SIZED.get(family)
        self.comments[f"pipes.{pipe_id}"] = "; ".join(t for t in (why or family, reason) if t)

    def _ambiguous(self, start: str, end: str) -> bool:
        found = []
        for end_name in (start, end):
            machine_id, _, name = end_name.partition(".")
            port = self.equipment[machine_id].port(name)
            if port is None:
                raise KeyError(f"{machine_id} has no port {name}")
            found.append(port.services)
        return len(found[0] & found[1]) != 1

    def size_pipes(self) -> None:
        """Give every pipe of a family the largest bore the sizing study chose for any of them."""
        for family, members in self.families.items():
            found = [self.sizes[(p, "bore_mm")] for p in members if (p, "bore_mm") in self.sizes]
            if not found:
                continue
            choice = max(found, key=lambda c: c.value)
            for place, pipe in enumerate(self.pipes):
                if pipe.id in members:
                    self.pipes[place] = pipe.model_copy(update={"bore_mm": choice.value})
                    own = self.sizes.get((pipe.id, "bore_mm"))
                    self.comments[f"pipes.{pipe.id}"] = (
                        (own or choice).why if own else f"{family}: {choice.why}"
                    )

    def mode(
        self,
        name: str,
        does: Does | tuple[Does, ...],
        *,
        like: str | None = None,
        why: str = "",
        **positions: str,
    ) -> None:
        """Add a mode; positions are written for this mode alone."""
        unknown = [m for m in positions if m not in self.equipment]
        if unknown:
            raise KeyError(f"mode {name} names {unknown[0]}, which is not on the sheet")
        fields: dict[str, Any] = {"like": like} if like else {}
        fields["does"] = (does,) if isinstance(does, str) else does
        self.modes[name] = Mode(name=name, positions=positions, **fields)
        if why:
            self.comments[f"modes.{name}"] = why
