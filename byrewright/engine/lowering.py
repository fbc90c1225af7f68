"""From a plant to rows with the share of every branch in every state of the valves."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import pairwise

from byrewright.engine.layout import MODES, Layout
from byrewright.engine.liquidgraph import Situation
from byrewright.engine.liquids import LiquidsUnsolved
from byrewright.engine.liquidstreams import Stream, upstream
from byrewright.engine.milkmaps import TOGETHER, Given
from byrewright.engine.rows import (
    DRAIN,
    DRAINING,
    DUMPED,
    LOST,
    MILKING,
    RINSING,
    WASHING,
    Branch,
    DoesNotCompile,
    LineRow,
    Lowered,
    TransferRow,
)  # fmt: skip
from byrewright.engine.shape import (
    BY_ITSELF,
    DIRTS,
    EVEN,
    RUNS,
    SLOWED,
    STAGES,
    STORE,
    SUPPLY,
)  # fmt: skip
from byrewright.engine.standing import standing
from byrewright.plant.primitives import Units
from byrewright.plant.roles import MovesMilk

FULL_SHARE = 0.9
"""Level at which a pump's flow is solved besides the usual one (our choice)."""


class Lowering(Layout):
    """Lays out a plant and works out where each transfer sends what it moves, state by state."""

    def run(self) -> Lowered:
        """Lay out everything; the states come when it is known which positions may be wrong."""
        self._vessels()
        self._exchangers()
        self._units()
        self._gravity()
        self._places()
        self._water()
        self._wash()
        self._cold_and_hot()
        self._lots()
        self.states: list[tuple[str, dict[str, str | None]]] = []
        self.fills = self.alternatives()
        self.add_states(None)
        return self.out

    def finish(self) -> Lowered:
        """Solve all states and work out the shares of every branch."""
        self._pumps()
        self._order_stages()
        for state, (what, at) in enumerate(self.states):
            self._by_itself(state, what, at)
        self._chilled()
        self.out.states = len(self.states)
        given = [m for m in self.out.transfers if m.law == SUPPLY]
        for milk, apart in zip(given[::2], given[1::2], strict=True):
            self._spouts(milk, apart)
        self.out.notes += self.maps.notes
        return self.out

    def _spouts(self, milk: TransferRow, apart: TransferRow) -> None:
        """Where the milk of one set of units goes, and that of marked cows."""
        if not milk.branches:
            raise DoesNotCompile(
                f"{milk.machine}: its milk reaches no vessel in the milking mode; join "
                f"{milk.id} to a milkline or receiver, or open the valve between."
            )
        own = bool(apart.branches)
        self.out.withheld_apart &= own
        if not own:
            for key, b in milk.branches.items():
                apart.branches[key] = Branch(b.dst, b.exchangers, b.filter, dict(b.ways), b.passes)
        for branch in apart.branches.values():
            vessel = self.out.vessels[branch.dst]
            if own and vessel.role == STORE and not vessel.empties:
                vessel.empties = DUMPED

    # Shares of flow in every state.

    def alternatives(self) -> list[dict[str, str]]:
        """Positions of the valves for each place that milk may be sent to, and for the calves.

        A mode that sends milk there says how; where none does, as few valves as can be are moved.
        """
        base = self.usual[MILKING]
        by_mode = self._sent_by_modes()
        fills: list[dict[str, str]] = []
        for place in self.out.places or [""]:
            mode = by_mode.get(place)
            fills.append(self._moved(base, mode) if mode is not None or not place
                         else self._fewest(place))  # fmt: skip
        if not self.out.calf:
            return fills
        named = {tag for one in fills for tag in one}
        mode = by_mode.get(self.out.calf)
        draw = self._moved(base, mode) if mode is not None else self._fewest(self.out.calf)
        draw = {tag: position for tag, position in draw.items() if tag not in named}
        return fills + [{**one, **draw} for one in fills]

    def _sent_by_modes(self) -> dict[str, str]:
        """Place that milk may be sent to: the plainest mode that sends it there."""
        wanted = {*self.out.places, self.out.calf} - {""}
        found: dict[str, tuple[int, str]] = {}
        for name, mode in sorted(self.plant.modes.items()):
            if not {"milking", "direct_load", "calf_draw"} & set(mode.does):
                continue
            given = self.maps.given(self._positions(name), frozenset(self.maps.pumps))
            reached = {
                s.target for every in given.values() for one in every for s in one.streams
                if self._gives_milk(one.source)
            }  # fmt: skip
            for place in reached & wanted:
                plain = (len(reached & wanted) + len(mode.does), name)
                found[place] = min(found.get(place, plain), plain)
        return {place: name for place, (_, name) in found.items()}

    def _positions(self, mode: str) -> dict[str, str | None]:
        return {tag: self.plant.position(mode, tag) for tag in self.plant.equipment}

    def _moved(self, base: dict[str, str | None], mode: str | None) -> dict[str, str]:
        """Gates that a mode has otherwise than the usual milking mode."""
        if mode is None:
            return {}
        return {
            tag: position for tag, position in self._positions(mode).items()
            if position is not None and position != base[tag] and tag in self.net.valves
        }  # fmt: skip

    def _fewest(self, place: str) -> dict[str, str]:
        """The fewest gates to move so that milk comes to a place, and those to others shut."""
        gates: dict[str, dict[str, str]] = {}
        s = Situation(self.usual[MILKING])
        for tag in self.maps.pumps:
            for node in self.net.ports(tag, self.net.pumps[tag].outlet):
                for vessel, own in self.net.fewest(s, node).items():
                    if vessel in (*self.out.places, self.out.calf):
                        gates.setdefault(vessel, {}).update(own)
        own = gates.get(place, {})
        return {**self._others(place, gates, own), **own}

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
        """Append every mode times all alternatives, with some positions wrong."""
        for what in MODES:
            for alt in self.fills:
                base = dict(alt) if what == MILKING else {}
                self.states.append((what, {**self.usual[what], **base, **(wrong or {})}))

    # What no milk pump moves, from the solved network.

    def _by_itself(self, state: int, what: str, at: dict[str, str | None]) -> None:
        """Shares and flows of one state; they do not depend on which milk pumps run."""
        here = (state, 0)
        rows = {m.id: m for m in self.out.transfers}
        falls = self.maps.by_itself(at, what)
        for transfer in self.out.transfers:
            if transfer.law == SUPPLY and what == MILKING:
                units = dict(self.all(Units))[transfer.machine]
                node = self.net.port(transfer.machine, transfer.id.partition(".")[2])
                for tag, l_min in self.maps.spout(at, node, units.count).items():
                    transfer.branches.setdefault((tag, (), ""), Branch(tag)).ways[here] = l_min
            elif transfer.law == EVEN:
                if transfer.led in self.net.joined(Situation(at), self.levels[transfer.id]):
                    branch = transfer.branches.setdefault(
                        (transfer.led, (), ""), Branch(transfer.led)
                    )
                    branch.ways[here] = 1.0
            elif transfer.law == RUNS:
                for x in falls:
                    if x.source == transfer.machine:
                        self._take(transfer, x, here)
            elif transfer.law not in (BY_ITSELF, SUPPLY) and not transfer.leader:
                for branch in transfer.branches.values():
                    branch.ways[here] = branch.ways.get((0, 0), 1.0)
        for x in falls:
            couples = self.out.tanker in (x.source, x.target)  # no tanker, no hose
            if x.source not in self.falls or couples:
                continue
            waits = self.out.vessels[x.source].washed and (
                what in (WASHING, RINSING) and self.net.vessels[x.target].role != "sink"
            )
            name = f"{x.source} {'wash' if waits else 'by itself'}"
            if name not in rows:
                pumps = [p for p in x.passes if p in self.net.pumps]
                rows[name] = TransferRow(
                    name, pumps[0] if pumps else x.source, x.source, BY_ITSELF, 0.0,
                    bank=int(waits), kw=sum(self.net.pumps[p].motor_kw for p in pumps),
                )  # fmt: skip
                self.out.transfers.append(rows[name])
            row = rows[name]
            row.most[here] = row.most.get(here, 0.0) + x.l_min / 60 * self.out.vessels[row.src].kg_l
            row.part[here] = 1.0
            row.most_kg_s = max(row.most_kg_s, row.most[here])
            self._take(row, x, here)

    def _take(self, row: TransferRow, x: Stream, here: tuple[int, int]) -> None:
        branch = row.branches.setdefault((x.target, (), ""), Branch(x.target, passes=x.through))
        branch.ways[here] = branch.ways.get(here, 0.0) + x.l_min

    # Milk pumps, from the solved network.

    def _pumps(self) -> None:
        """Rows of the milk pumps with their flows in every state and set of pumps that run."""
        moving = [(i, what, at) for i, (what, at) in enumerate(self.states)
                  if what in (MILKING, WASHING, RINSING)]  # fmt: skip
        groups = self._groups(moving)
        rows: dict[tuple[str, str], TransferRow] = {}
        usual = self.number("vessel.level_share")
        for state, what, at in moving:
            stand = self._held_off(what, at)
            for group in groups:
                for index, asked in _sets(group):
                    running = asked - stand
                    given = self.maps.given(at, running, what)
                    full = self.maps.given(at, running, what, level=FULL_SHARE)
                    for tag in group:
                        mine = [g for g in given.get(tag, []) if self._gives_milk(g.source)]
                        whole = sum(g.l_min for g in mine)
                        for one in mine:
                            key = (tag, one.source)
                            if key not in rows:
                                rows[key] = self._milk_row(*key)
                            self._fill_row(rows[key], one, (state, index), whole, what)
                            high = [g.l_min for g in full.get(tag, []) if g.source == one.source]
                            if what == MILKING and self._slows(tag) and _parts(one):
                                self._fill_slow(rows[key], at, running, (state, index))
                            more = (sum(high) / one.l_min - 1) if high else 0.0
                            rows[key].lift[state, index] = more / (FULL_SHARE - usual)
        for group in groups:
            self._name(group, [rows[k] for k in sorted(rows) if k[0] in group])
            self._line(group, [rows[k] for k in sorted(rows) if k[0] in group])
        self.out.transfers += [rows[k] for k in sorted(rows)]
        self.out.running = max((len(_sets(g)) + 1 for g in groups), default=1)
        self._filter_losses([at for _, what, at in moving if what == MILKING])

    def _held_off(self, what: str, at: Mapping[str, str | None]) -> frozenset[str]:
        """Milk pumps that the mode of what goes on states to stand, whatever their level asks."""
        mode = self.modes[what]
        return frozenset(
            t for t in self.maps.pumps
            if mode is not None and at.get(t) == "stopped" and self.plant.states(mode, t)
        )  # fmt: skip

    def _fill_row(self, row: TransferRow, one: Given, at: tuple[int, int], whole: float,
                  what: str) -> None:  # fmt: skip
        row.most[at] = one.l_min / 60 * self.out.vessels[row.src].kg_l
        row.part[at] = one.l_min / whole
        row.most_kg_s = max(row.most_kg_s, row.most[at])
        for stream in one.streams:
            if what == MILKING:
                branch = self._stream_branch(row, stream)
                branch.ways[at] = branch.ways.get(at, 0.0) + stream.l_min
            else:  # socks are out, and the cooler's water is off
                self._take(row, stream, at)

    def _slows(self, tag: str) -> bool:
        """Whether a pump follows a level with its speed."""
        machine = self.plant.equipment[tag]
        return isinstance(machine, MovesMilk) and machine.control != "on_off"

    def _fill_slow(self, row: TransferRow, at: Mapping[str, str | None], running: frozenset[str],
                   here: tuple[int, int]) -> None:  # fmt: skip
        """Where a pump with two open ends sends less than its full flow: a slower pump lifts less,
        so that more of it goes to the lower end."""
        for k, share in enumerate(SLOWED):
            for one in self.maps.slowed(at, running, row.machine, share):
                if one.source == row.src:
                    for stream in one.streams:
                        slow = self._stream_branch(row, stream).slow
                        slow.setdefault(here, [0.0] * len(SLOWED))[k] += stream.l_min

    def _stream_branch(self, row: TransferRow, stream: Stream) -> Branch:
        stages: dict[str, list[str]] = {}
        for x in self.out.exchangers:
            stages.setdefault(x.machine, []).append(x.id)
        chain = tuple(x for tag in stream.passes for x in stages.get(tag, []))
        if len(chain) > STAGES:
            raise DoesNotCompile(
                f"{row.machine}: milk passes {len(chain)} cooling stages on its way to "
                f"{stream.target}; the day holds {STAGES} at most."
            )
        filters = {t for t, _ in self.out.filters}
        filter_id = next((t for t in stream.passes if t in filters), "")
        key = (stream.target, chain, filter_id)
        if key not in row.branches:
            row.branches[key] = Branch(stream.target, chain, filter_id, passes=stream.through)
        return row.branches[key]

    def _groups(self, every: list[tuple[int, str, dict[str, str | None]]],
                ) -> list[tuple[str, ...]]:  # fmt: skip
        """Pumps that share a section in any state, joined."""
        joined = {tag: frozenset([tag]) for tag in self.maps.pumps}
        for _, what, at in every:
            for group in self.maps.groups(at, what):
                whole = frozenset().union(*(joined[t] for t in group))
                for tag in whole:
                    joined[tag] = whole
        return [tuple(sorted(g)) for g in sorted(set(joined.values()), key=min)]

    def _name(self, group: tuple[str, ...], rows: list[TransferRow]) -> None:
        """The place of each row in its group, and its plain name where a pump has one source."""
        for row in rows:
            first = next(r for r in rows if r.machine == row.machine)
            many = any(r.machine == row.machine and r is not row for r in rows)
            if len(group) <= TOGETHER:
                row.bit = group.index(row.machine)
            else:
                row.bit = -1 if first is row else -2
            if not many:
                row.id = row.machine
        for row in rows:
            row.leader = rows[0].id
        if len(group) > TOGETHER:
            self.out.notes.append(
                f"{', '.join(group)}: one section; what each gives follows from how many run, as "
                "if all were alike."
            )

    def _washed(self) -> set[str]:
        """Pipes that the washes of the day pass; a branch that they do not holds none of it."""
        modes = {m for what in (WASHING, RINSING) if (m := self.modes[what]) is not None}
        found = set[str]()
        for mode in modes:
            flows = self.net.solve(self.net.situation(mode), broken=[]).l_min
            found |= {pipe for pipe, q in flows.items() if q}
        return found

    def _line(self, group: tuple[str, ...], rows: list[TransferRow]) -> None:
        """The line that a group of pumps fills in milking, to the first place that milk is sent.
        What leaves it before a stage that cools, as for calves, is not held up by it."""
        pipes = self.maps.delivers({**self.usual[MILKING], **self.fills[0]}, frozenset(group))
        if not pipes or not rows:
            return
        drain = self.modes[DRAINING]
        states = [] if drain is None else [self.net.situation(drain)]
        held = standing(self.net, states, pipes)
        kg_l = self.out.vessels[rows[0].src].kg_l
        passed = self._washed()
        stays = sum(x.litres for x in held if x.pipe in passed) if states else 0.0
        self.out.lines[rows[0].leader] = LineRow(pipes, sum(x.holds_l for x in held) * kg_l, stays)
        every = [b for row in rows for b in row.branches.values()]
        main = max(
            every, key=lambda b: max((q for (s, _), q in b.ways.items() if s == 0), default=0)
        )
        for b in every:
            milks = any(self.states[s][0] == MILKING for s, _ in b.ways)
            b.line = not milks or b.exchangers == main.exchangers

    def _filter_losses(self, every: list[dict[str, str | None]]) -> None:
        """Share of flow lost through a sock as it fills, in the first state that meets it; those
        in use fill alike."""
        for tag, _ in self.out.filters:
            self.out.filter_loss[tag] = [0.0] * DIRTS
            for at in every:
                running = frozenset(self._usual(self.maps.pumps))
                clean = self._through(tag, self.maps.given(at, running))
                if clean > 0.0:
                    socks = self.net.socks
                    dirty = (
                        self._through(tag, self.maps.given(
                            at, running, dirt=dict.fromkeys(socks, d / DIRTS)))
                        for d in range(1, DIRTS + 1)
                    )  # fmt: skip
                    self.out.filter_loss[tag] = [1.0 - q / clean for q in dirty]
                    break

    def _usual(self, pumps: Iterable[str]) -> list[str]:
        mode = self.modes[MILKING]
        runs = [t for t in pumps if mode is None or self.plant.position(mode, t) == "runs"]
        return runs or list(pumps)

    @staticmethod
    def _through(tag: str, given: Mapping[str, list[Given]]) -> float:
        return sum(s.l_min for every in given.values() for one in every for s in one.streams
                   if tag in s.passes)  # fmt: skip

    def _order_stages(self) -> None:
        """Stages in the order in which milk passes them."""
        after: dict[str, set[str]] = {x.id: set() for x in self.out.exchangers}
        for transfer in self.out.transfers:
            for branch in transfer.branches.values():
                for a, b in pairwise(branch.exchangers):
                    after[b].add(a)
        left = {x.id: x for x in self.out.exchangers}
        ordered = []
        while left:
            free = next((i for i in left if not after[i] & left.keys()), None)
            if free is None:
                raise DoesNotCompile(
                    f"{', '.join(sorted(left))}: milk passes these cooling stages in one order by "
                    "one way and in another by another; the day cannot tell which comes first."
                )
            ordered.append(left.pop(free))
        self.out.exchangers = ordered

    # Chilled liquid, from the solved network.

    def _chilled(self) -> None:
        """Where each consumer's chilled liquid comes from, and how much flows, in every state."""
        kept: dict[object, dict[int, tuple[dict[str, float], float]]] = {}
        ends = [self.net.port(tag, port) for tag, port, _ in self.out.chilled]
        for state, (_, at) in enumerate(self.states):
            mine = self.net.touched(Situation(at), ends)
            key = tuple((tag, at.get(tag)) for tag in self.net.gated if tag in mine)
            if key not in kept:
                kept[key] = self._rings(at)
            for consumer, found in kept[key].items():
                self.out.cold[state, consumer] = found

    def _rings(self, at: dict[str, str | None]) -> dict[int, tuple[dict[str, float], float]]:
        found: dict[int, tuple[dict[str, float], float]] = {}
        # The kernel takes chilled liquid as the water that carries as much heat.
        water_kg_l = self.net.laws.chilled.kj_l_k / self.number("water.cp_kj_kgk")
        for i, (tag, port, baths) in enumerate(self.out.chilled):
            node = self.net.port(tag, port)
            try:
                flows = self.net.solve(Situation(at), frozenset([node]))
            except LiquidsUnsolved as bad:
                self.out.notes.append(str(bad))
                continue
            shares, l_min = upstream(self.net, flows, node, baths)
            if shares:
                found[i] = (shares, l_min / 60 * water_kg_l)
            elif not self._pumped(tag, port):
                even = 1.0 / len(baths)
                found[i] = (dict.fromkeys(baths, even), 1e9)
                self.out.notes.append(
                    f"{tag}: there is no pump in its chilled ring; its liquid is taken to be moved "
                    f"by {' and '.join(baths)} as fast as the milk asks."
                )
        return found

    def _pumped(self, tag: str, port: str) -> bool:
        """Whether any pump stands in a ring, whatever it does."""
        ring = self.net.ring(self.net.port(tag, port))
        return any(t in self.net.pumps for t in ring)


def _parts(one: Given) -> bool:
    """Whether what a pump draws goes to more than one place."""
    return len({stream.target for stream in one.streams}) > 1


def _sets(group: tuple[str, ...]) -> list[tuple[int, frozenset[str]]]:
    """Sets of pumps that may run together, with their number: a bit each, or how many run."""
    if len(group) > TOGETHER:
        return [(n, frozenset(group[:n])) for n in range(1, len(group) + 1)]
    return [
        (bits, frozenset(t for i, t in enumerate(group) if bits >> i & 1))
        for bits in range(1, 1 << len(group))
    ]


__all__ = ["DRAIN", "LOST", "DoesNotCompile", "Lowering"]
