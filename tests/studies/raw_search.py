"""A second, separate search for wrong positions: reads the raw file, shares no code.

It knows each kind by a small table of its own, walks one position set at a time, and answers for
the harms that tests compare. Written from the stated propagation model (docs/methods/routes.md).
"""

from __future__ import annotations

import fnmatch
from collections import deque
from functools import cached_property
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML

# kind: (ports into the vessel, ports out of it, ports both ways), by pattern
VESSELS: dict[str, tuple[list[str], list[str], list[str]]] = {
    "milkline": (["units_*", "wash", "air"], ["receiver_*", "drain_*"], []),
    "receiver": (["milkline_*"], ["outlet", "drain"], ["balance"]),
    "balance_tank": (["inlet_*", "wash"], ["outlet", "drain"], []),
    "bulk_tank": (["inlet_*", "wash"], ["outlet", "sample"], []),
    "calf_feed": (["milk", "wash"], ["outlet", "drain"], []),
    "withheld_vessel": (["milk", "wash"], ["outlet"], []),
    "tanker_bay": (["inlet_*", "wash"], [], []),
    "floor_drain": (["inlet_*"], [], []),
    "wash_trough": (["supply_*", "dose_*", "return_*"], ["outlet_*", "drain"], []),
    "water_source": ([], ["outlet"], []),
    "water_tank": (["inlet_*"], ["outlet_*"], []),
    "water_heater": (["inlet"], ["outlet_*"], []),
    "distribution_tank": (["line_*"], ["pump_*", "drain"], []),
    "header": ([], [], ["way_*"]),
}
THROUGH: dict[str, list[tuple[str, str]]] = {
    "milk_filter": [("inlet", "outlet"), ("inlet", "drain")],
    "plate_cooler": [("milk_in", "milk_out"), ("water_in", "water_out")],
    "rotary_gland": [
        ("deck_milk", "fixed_milk"),
        ("deck_wash", "fixed_wash"),
        ("deck_drain", "fixed_drain"),
        ("deck_water", "fixed_water"),
    ],
    "water_filter": [("inlet", "outlet")],
    "sanitary_trap": [("receiver", "drain")],
}
PUMPS = ("milk_pump", "liquid_pump")
DRY = ("vacuum", "air", "refrigerant", "coolant")
USUAL = {
    "valve": "closed",
    "milk_pump": "stopped",
    "liquid_pump": "stopped",
    "milking_unit": "idle",
    "bulk_tank": "fills",
}
END_KINDS = (
    "bulk_tank",
    "calf_feed",
    "withheld_vessel",
    "tanker_bay",
    "floor_drain",
    "wash_trough",
)


class Raw:
    """The raw file of a plant."""

    def __init__(self, source: Path | dict[str, Any]) -> None:
        self.data: dict[str, Any] = (
            source if isinstance(source, dict) else YAML(typ="safe").load(source.read_text())
        )
        self.kind = {m: e["kind"] for m, e in self.data["equipment"].items()}
        self.kept: tuple[object, dict[str, set[str]]] = (None, {})
        self.ports: dict[str, list[str]] = {m: [] for m in self.kind}
        for pipe in self.data["pipes"]:
            for end in (pipe["from"], pipe["to"]):
                machine, _, port = end.partition(".")
                if port not in self.ports[machine]:
                    self.ports[machine].append(port)

    def position(self, mode: str, machine: str) -> str:
        """What a mode wants of a machine."""
        name: str | None = mode
        while name:
            if machine in self.data["modes"][name]:
                return str(self.data["modes"][name][machine])
            name = self.data["modes"][name].get("like")
        one = self.data["equipment"][machine]
        if "normally" in one:
            return str(one["normally"])
        if one["kind"] == "valve" and one.get("ways") == 3:
            return "to_b"
        return USUAL.get(one["kind"], "")

    def does(self, mode: str) -> set[str]:
        """What goes on in a mode."""
        does = self.data["modes"][mode]["does"]
        return {does} if isinstance(does, str) else set(does)

    def steps(self, mode: str, wrong: dict[str, str]) -> dict[str, set[str]]:
        """From each port (or body, a bare tag) the places that a liquid may go next through what a
        mode sets; `always` are the others."""
        out: dict[str, set[str]] = {}

        def go(a: str, b: str) -> None:
            out.setdefault(a, set()).add(b)

        for machine, kind in self.kind.items():
            here = wrong.get(machine) or self.position(mode, machine)
            if kind == "valve":
                three = self.data["equipment"][machine].get("ways", 2) == 3
                sides = (
                    {"b": ("to_b", "half"), "c": ("to_c", "half")}
                    if three
                    else {"b": ("open", "half")}
                )
                for side, places in sides.items():
                    if here in places and self.ports[machine]:
                        go(f"{machine}.a", f"{machine}.{side}")
                        go(f"{machine}.{side}", f"{machine}.a")
            elif kind in PUMPS:
                go(f"{machine}.inlet", f"{machine}.outlet")
                if here != "runs":
                    go(f"{machine}.outlet", f"{machine}.inlet")
            elif kind == "milking_unit" and here == "washes":
                go(f"{machine}.wash", f"{machine}.milk")
                go(f"{machine}.milk", f"{machine}.wash")
        return out

    @cached_property
    def always(self) -> dict[str, set[str]]:
        """The steps along pipes, and through machines that no mode sets."""
        out: dict[str, set[str]] = {}

        def go(a: str, b: str) -> None:
            out.setdefault(a, set()).add(b)

        for pipe in self.data["pipes"]:
            if not self._dry(pipe):
                go(pipe["from"], pipe["to"])
                go(pipe["to"], pipe["from"])
        for machine, kind in self.kind.items():
            if kind == "non_return_valve":
                go(f"{machine}.inlet", f"{machine}.outlet")
            elif kind in THROUGH:
                for a, b in THROUGH[kind]:
                    go(f"{machine}.{a}", f"{machine}.{b}")
                    go(f"{machine}.{b}", f"{machine}.{a}")
            elif kind in VESSELS:
                into, outof, both = VESSELS[kind]
                for port in self.ports[machine]:
                    if any(fnmatch.fnmatch(port, p) for p in (*into, *both)):
                        go(f"{machine}.{port}", machine)
                    if any(fnmatch.fnmatch(port, p) for p in (*outof, *both)):
                        go(machine, f"{machine}.{port}")
        return out

    def _dry(self, pipe: dict[str, Any]) -> bool:
        if pipe.get("service") in DRY:
            return True
        for end in (pipe["from"], pipe["to"]):
            machine, _, port = end.partition(".")
            if any(
                word in port
                for word in ("vacuum", "coolant", "refrigerant", "air", "pump_", "pulse")
            ):
                return True
            if self.kind[machine] in (
                "vacuum_pump",
                "regulator",
                "air_receiver",
                "air_compressor",
                "air_dryer",
            ):
                return True
        return False

    def reach(
        self, mode: str, wrong: dict[str, str], starts: list[str], ends: set[str]
    ) -> set[str]:
        """Places a liquid gets to; it does not run on out of a machine in `ends`."""
        key = (mode, tuple(sorted(wrong.items())))
        if self.kept[0] != key:
            self.kept = (key, self.steps(mode, wrong))
        steps = self.kept[1]
        seen = set(starts)
        queue = deque(starts)
        while queue:
            here = queue.popleft()
            if here in ends and here not in starts:
                continue
            for there in (*self.always.get(here, ()), *steps.get(here, ())):
                if there not in seen:
                    seen.add(there)
                    queue.append(there)
        return seen

    def of_kind(self, *kinds: str) -> list[str]:
        """Tags of machines of some kinds."""
        return [m for m, k in self.kind.items() if k in kinds]

    def open_ends(self) -> list[str]:
        """Valve ports without a pipe, where the other side has one."""
        return [f"{m}.{s}" for m in self.of_kind("valve") for s in ("a", "b") if self.ports[m]
                and s not in self.ports[m]]  # fmt: skip

    def harms(self, mode: str, wrong: dict[str, str]) -> set[tuple[str, str]]:
        """Harms among those that tests compare: (harm, where)."""
        found: set[tuple[str, str]] = set()
        ends = set(self.of_kind(*END_KINDS))
        state = {t: wrong.get(t) or self.position(mode, t) for t in self.of_kind("bulk_tank")}
        units = [u for u in self.of_kind("milking_unit") if self.position(mode, u) == "milks"]
        spouts = [f"{u}.milk" for u in units]
        milk = self.reach(mode, wrong, spouts, ends) if units else set()
        on = self.reach(mode, wrong, spouts, ends - set(self.of_kind("wash_trough")))
        for drain in self.of_kind("floor_drain"):
            if units and drain in on:
                found.add(("milk_lost", drain))
        for end in self.open_ends():
            if end in milk:
                found.add(("milk_lost", end.partition(".")[0]))
        for trough in self.of_kind("wash_trough"):
            if trough in milk:
                found.add(("milk_to_wash", trough))
        for tank, is_ in state.items():
            if tank in milk and is_ == "is washed":
                found.add(("milk_to_wash", tank))
                on = self.reach(mode, wrong, [tank], ends - {tank, *self.of_kind("wash_trough")})
                found |= {("milk_lost", f"{tank} to {d}") for d in self.of_kind("floor_drain")
                          if d in on}  # fmt: skip
                found |= {("milk_lost", f"{tank} to {e.partition('.')[0]}")
                          for e in self.open_ends() if e in on}  # fmt: skip
            elif tank in milk and is_ in ("stands", "is emptied"):
                found.add(("wrong_tank", tank))
            if is_ != "is washed":
                self._content(mode, wrong, tank, found, ends)
        self._wash(mode, wrong, state, found)
        return found

    def _content(self, mode: str, wrong: dict[str, str], tank: str, found: set[tuple[str, str]],
                 ends: set[str]) -> None:  # fmt: skip
        lost = [*self.of_kind("floor_drain"), *self.open_ends()]
        if not self.does(mode) & {"collection", "direct_load"}:
            lost += self.of_kind("tanker_bay")
        reached = self.reach(mode, wrong, [tank], ends - {tank})
        through = ends - {tank, *self.of_kind("wash_trough")}
        if set(lost) & self.reach(mode, wrong, [tank], through):
            found.add(("milk_lost", tank))
        emptied = (wrong.get(tank) or self.position(mode, tank)) == "is emptied"
        if "direct_load" in self.does(mode) and not emptied:
            found |= {("wrong_tank", f"{tank} to {b}") for b in self.of_kind("tanker_bay")
                      if b in reached}  # fmt: skip

    def _wash(
        self, mode: str, wrong: dict[str, str], state: dict[str, str], found: set[tuple[str, str]]
    ) -> None:
        starts = [t for t, is_ in state.items() if is_ == "is washed"]
        does = self.does(mode)
        if not ("rinse" in does and "wash" not in does):
            starts += self.of_kind("wash_trough")
        stops = set(self.of_kind("floor_drain", "tanker_bay", "calf_feed", "withheld_vessel"))
        stops |= {t for t, is_ in state.items() if is_ != "is washed"}
        wash = self.reach(mode, wrong, starts, stops)
        for tank, is_ in state.items():
            if is_ != "is washed" and tank in wash:
                found.add(("wash_to_milk", tank))


COMPARED = ("milk_lost", "milk_to_wash", "wrong_tank", "wash_to_milk")
