"""From a plant to rows with the share of every joint in every state of the valves."""

from __future__ import annotations

import math

from byrewright.engine.layout import Layout
from byrewright.engine.rows import (
    DRAIN,
    DUMPED,
    IDLE,
    LOST,
    MILKING,
    WASHING,
    Branch,
    DoesNotCompile,
    Lowered,
    MoverRow,
)  # fmt: skip
from byrewright.engine.shape import (
    DOSE,
    EVEN,
    FIXED,
    FLOAT,
    FOLLOW,
    LED,
    LOADING,
    ON_OFF,
    STEPPED,
    STORE,
    SUPPLY,
)  # fmt: skip
from byrewright.engine.ways import Open, Way
from byrewright.plant.graph import Node
from byrewright.plant.primitives import Exchange, Mover, Runs, Strain


class Lowering(Layout):
    """Lays out a plant and works out where each mover sends what it moves, state by state."""

    def run(self) -> Lowered:
        """Lay out everything."""
        self._vessels()
        self._exchangers()
        self.out.filters = self.all(Strain)
        self._units()
        self._milk_movers()
        self._gravity()
        self._places()
        self._water()
        self._wash()
        self._cold_and_hot()
        self._lots()
        self._shares()
        return self.out

    # Shares of flow in every state.

    def _shares(self) -> None:
        self.add_states(None)
        milk = next(m for m in self.out.movers if m.law == SUPPLY and m.bank == 0)
        apart = next(m for m in self.out.movers if m.law == SUPPLY and m.bank == 1)
        if not milk.branches:
            raise DoesNotCompile(
                f"{milk.machine}: its milk reaches no vessel in the milking mode; join "
                f"{milk.id} to a milkline or receiver, or open the valve between."
            )
        self.out.withheld_apart = bool(apart.branches)
        if not apart.branches:
            for key, b in milk.branches.items():
                apart.branches[key] = Branch(b.dst, b.exchangers, b.filter, dict(b.ways), b.passes)
        for branch in apart.branches.values():
            vessel = self.out.vessels[branch.dst]
            if self.out.withheld_apart and vessel.role == STORE and not vessel.empties:
                vessel.empties = DUMPED

    def alternatives(self) -> list[dict[str, str]]:
        """Positions of the fill (and calf) valves for each place that milk may be sent to."""
        outs = [m for m in self.out.movers if m.law in (FIXED, ON_OFF, STEPPED, LED) and m.kw >= 0]
        gates: dict[str, dict[str, str]] = {}
        wanted = [*self.out.places, *([self.out.calf] if self.out.calf else [])]
        for tag, one in self.all(Mover):
            if not any(m.machine == tag for m in outs):
                continue
            for way in self._reaches(tag, one.outlet):
                if way.vessel in wanted:
                    gates.setdefault(way.vessel, {}).update(way.gates)
        fills: list[dict[str, str]] = []
        for place in self.out.places or [""]:
            own = gates.get(place, {})
            fills.append({**self._others(place, gates, own), **own})
        if not self.out.calf:
            return fills
        draw = gates.get(self.out.calf, {})
        return fills + [{**one, **draw} for one in fills]

    def _others(self, place: str, gates: dict[str, dict[str, str]],
                own: dict[str, str]) -> dict[str, str]:  # fmt: skip
        """Gates that lead elsewhere, put so that they do not."""
        shut: dict[str, str] = {}
        for other, theirs in gates.items():
            if other == place:
                continue
            for machine, position in theirs.items():
                if machine in own:
                    continue
                states = self.plant.equipment[machine].states()
                shut[machine] = next((s for s in states if s != position), position)
        return shut

    def add_states(self, wrong: dict[str, str] | None) -> None:
        """Append three modes times all alternatives, with some positions wrong."""
        alts = self.alternatives()
        for what in (MILKING, WASHING, IDLE):
            for alt in alts:
                mode = self.modes[what]
                base = dict(alt) if what == MILKING else {}
                is_open = self.ways.openness(mode, {**base, **(wrong or {})})
                self._state(self.out.states, what, is_open)
                self.out.states += 1

    def _state(self, state: int, what: str, is_open: Open) -> None:
        runs = {(tag, one.port): one for tag, one in self.all(Runs)}
        outlets = {tag: one.outlet for tag, one in self.all(Mover)}
        for mover in self.out.movers:
            if mover.law in (FOLLOW, FLOAT, DOSE, LOADING) or mover.id == self.out.trough_drain:
                for branch in mover.branches.values():
                    branch.ways[state] = 1.0
            elif mover.law == SUPPLY:
                port = mover.id.partition(".")[2]
                if what == MILKING:
                    self._branch(mover, state, self._from(mover.machine, port, is_open, False))
            elif mover.law == EVEN:
                ways = self._from(mover.machine, "balance", is_open, False)
                self._branch(mover, state, [w for w in ways if w.vessel == mover.led])
            elif "." in mover.id and (mover.machine, mover.id.partition(".")[2]) in runs:
                port = mover.id.partition(".")[2]
                self._branch(mover, state, self._from(mover.machine, port, is_open, False))
            elif what == MILKING:
                drawn = self._reaches(mover.machine, _inlet(self, mover.machine), back=True,
                                      is_open=is_open)  # fmt: skip
                if any(w.vessel == mover.src for w in drawn):
                    self._branch(
                        mover, state,
                        self._from(mover.machine, outlets[mover.machine], is_open, True),
                    )  # fmt: skip

    def _from(self, tag: str, declared: str, is_open: Open, movers: bool) -> list[Way]:
        """Ways onward; each filter in turn stands alone, so that twin filters are two ways."""
        strains = [t for t, _ in self.out.filters]
        found: dict[tuple[str, str], Way] = {}
        for name in self.ways.used(tag, declared):
            for alone in ["", *strains]:
                blocked = [s for s in strains if s != alone]
                for way in self.ways.onward(Node(tag, name), is_open, movers=movers,
                                            blocked=blocked):  # fmt: skip
                    if way.vessel == tag or (alone and alone not in way.passes):
                        continue
                    key = (way.vessel, alone)
                    if key not in found or way.resistance < found[key].resistance:
                        found[key] = way
        return [found[key] for key in sorted(found)]

    def _branch(self, mover: MoverRow, state: int, ways: list[Way]) -> None:
        hot = {t: [] for t, _ in self.all(Exchange)}  # type: dict[str, list[str]]
        for row in self.out.exchangers:
            hot[row.machine].append(row.id)
        strains = {t for t, _ in self.out.filters}
        for way in ways:
            chain = tuple(x for tag in way.passes if tag in hot for x in hot[tag])
            if len(chain) > 2:
                raise DoesNotCompile(
                    f"{mover.id}: milk passes {len(chain)} cooling stages on its way to "
                    f"{way.vessel}; the day holds two at most."
                )
            strain = next((t for t in way.passes if t in strains), "")
            key = (way.vessel, chain, strain)
            branch = mover.branches.setdefault(key, Branch(way.vessel, chain, strain))
            branch.passes = way.passes
            branch.ways[state] = 1.0 / math.sqrt(way.resistance)


def _inlet(lowering: Lowering, machine: str) -> str:
    return next(one.inlet for tag, one in lowering.all(Mover) if tag == machine)


__all__ = ["DRAIN", "LOST", "DoesNotCompile", "Lowering"]
