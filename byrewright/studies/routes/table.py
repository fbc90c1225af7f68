"""From verdicts to the cause-and-effect table: rows, contacts, effects, why each is needed."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from byrewright.engine.interlocks import PRIORITIES, Effect, Priority, Row, Signal, Table, Told
from byrewright.plant.plant import Plant
from byrewright.plant.roles import FiltersMilk, IsValve, Senses, TellsPeople
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.routes.brute import Case, FoundHarm
from byrewright.studies.routes.classes import HARMS
from byrewright.studies.routes.network import FULL, HALF, READY, RUNS
from byrewright.studies.routes.propagation import Combination
from byrewright.studies.routes.prove import Prover
from byrewright.studies.routes.questions import WASHING
from byrewright.studies.routes.scene import Scene
from byrewright.studies.routes.sensors import fitted
from byrewright.studies.routes.words import mode_by_mode, moves, said

SOUND = "Sound_alarm"
TRAVEL_MARGIN_S = 1.0
"""A valve that is moving is not wrong yet: its alarm waits at least this long after its travel."""
PROCESS: Mapping[str, str] = {"flow": "flow", "level": "high", "conductivity": "wash"}
"""What a process sensor's contact says, by what it measures."""


def tag_of(machine: str, says: str) -> str:
    """A tag that a controller accepts: letters, digits and single underscores only.

    >>> tag_of("V-46", "not to_b")
    'V_46_not_to_b'
    """
    return re.sub(r"[\W_]+", "_", f"{machine}_{says}").strip("_")


def cause_and_effect(plant: Plant, scenes: Mapping[str, Scene], hits: Sequence[FoundHarm],
                     sensed: Collection[str], rules: Rulebook | None = None) -> Table:  # fmt: skip
    """The table of a plant whose machines in `sensed` have position sensors.

    Machines that the file already senses and that can do harm have rows too.
    """
    return _Builder(plant, scenes, hits, sensed, rules or Rulebook()).table()


@dataclass
class _Builder:
    plant: Plant
    scenes: Mapping[str, Scene]
    hits: Sequence[FoundHarm]
    sensed: Collection[str]
    rules: Rulebook

    def table(self) -> Table:
        """The table; rows are added until the prover finds nothing that they do not see."""
        self.have = fitted(self.plant)
        self.tags: dict[tuple[str, str], str] = {}
        self.hits = list(self.hits)
        milked = {n for n, s in self.scenes.items() if s.milked}
        washed = {n for n, s in self.scenes.items() if s.does & WASHING} - milked
        self.kinds = {"milking": milked, "washing": washed}
        while True:
            self.by_machine: dict[str, list[FoundHarm]] = {}
            for hit in self.hits:
                for machine in hit.machines:
                    self.by_machine.setdefault(machine, []).append(hit)
            self.watched = [
                m
                for m in self.plant.equipment
                if m in self.sensed or (m in self.have and m in self.by_machine)
            ]
            self.signals: dict[str, Signal] = {}
            self.effects: dict[str, Effect] = {SOUND: Effect(SOUND, self._sounder())}
            rows = [row for m in self.watched for row in self._rows(m)]
            known = {(h.mode, h.question.name, h.wrong) for h in self.hits}
            missed = list(self._missed(rows))
            new = [h for h in missed if (h.mode, h.question.name, h.wrong) not in known]
            if not new:  # what is left needs a contact that its machine does not have
                break
            self.hits += new
        rows = [self._proven(r) for r in rows]
        rows += self._process_rows()
        titles = {m: one.title for m, one in self.plant.equipment.items()}
        return Table(self.plant.site.name, tuple(self.scenes), tuple(self.signals.values()),
                     tuple(self.effects.values()), tuple(rows), titles,
                     tuple(self._unseen(missed)), tuple(self._runs()))  # fmt: skip

    def _runs(self) -> Iterable[Signal]:
        """Contacts of single machines that run and stand in no row: they count hours and starts."""
        told = {s.machine for s in self.signals.values() if s.says == RUNS}
        for one in self.plant.equipment.values():
            counts = one.can("runs") or (
                one.can("stands by") and any(u.every_h is not None for u in one.upkeep())
            )
            if counts and one.count == 1 and one.id not in told:
                label = f"{one.id} {one.title}: {said(RUNS)}"
                yield Signal(self._tag(one.id, RUNS), one.id, RUNS, label, one.id in self.have)

    def _unseen(self, missed: Sequence[FoundHarm]) -> Iterable[str]:
        """What no row sees, a sentence for each wrong position."""
        by_wrong: dict[Combination, list[FoundHarm]] = {}
        for hit in missed:
            by_wrong.setdefault(hit.wrong, []).append(hit)
        for wrong, hits in by_wrong.items():
            harms = [f"{HARMS[h.question.harm].title} ({h.question.subject})" for h in hits]
            what = ", ".join(dict.fromkeys(harms))
            where = ", ".join(dict.fromkeys(h.mode for h in hits))
            yield (
                f"{moves(self.plant, wrong)}: {what} in {where}. No contact shows this "
                "position, so no row can detect it; let the mode ask `runs` or `stopped` of it, "
                "not `ready`."
            )

    def _missed(self, rows: Sequence[Row]) -> Iterable[FoundHarm]:
        """Harmful combinations, of any number of wrong positions, that no row sees though one of
        the machines is sensed."""
        at_rest = {(h.mode, h.question.name) for h in self.hits if not h.order}
        for mode, scene in self.scenes.items():
            covered = {r.machine for r in rows if mode in r.modes}
            free = [m for m in scene.others if m not in covered]
            prover = Prover(scene)
            for question in scene.questions:
                if (mode, question.name) not in at_rest:
                    wrong = prover.first(question, free)
                    if wrong and any(m in self.watched for m, _ in wrong):
                        yield FoundHarm(mode, question, wrong)

    def _sounder(self) -> str:
        tags = [m.id for m in self.plant.machines(TellsPeople)]
        return f"sounder and lamp {', '.join(tags)}" if tags else "sounder and lamp (to be fitted)"

    def _tag(self, machine: str, says: str) -> str:
        """A tag of its own for each machine and word, also where capitals are all one."""
        key = (machine, says)
        if key not in self.tags:
            first = tag = tag_of(machine, says)
            taken = {t.lower() for t in self.tags.values()}
            number = 2
            while tag.lower() in taken:
                tag, number = f"{first}_{number}", number + 1
            self.tags[key] = tag
        return self.tags[key]

    # contacts --------------------------------------------------------------------------------

    def _contact(self, machine: str, says: str, process: bool = False) -> str:
        tag = self._tag(machine, says)
        if tag not in self.signals:
            label = self.plant.equipment[machine].title
            have = process or machine in self.have
            self.signals[tag] = Signal(
                tag, machine, says, f"{machine} {label}: {said(says)}", have, process
            )
        return tag

    def _ends(self, machine: str, positions: Iterable[str]) -> list[str]:
        """The positions that have a contact of their own."""
        return [p for p in dict.fromkeys(positions) if p not in (HALF, READY)]

    # rows ------------------------------------------------------------------------------------

    def _rows(self, machine: str) -> Iterable[Row]:
        wanted: dict[tuple[str, str], list[str]] = {}
        others: dict[tuple[str, str], set[str]] = {}
        for mode, scene in self.scenes.items():
            could = scene.others.get(machine, ())
            if not could:
                continue
            place = scene.wanted[machine] or ""
            if FULL in could:
                place = f"not {FULL}"
            elif place == READY:
                continue
            key = (place, self._beside(machine, mode))
            wanted.setdefault(key, []).append(mode)
            others.setdefault(key, set()).update(could)
        for (place, beside), modes in wanted.items():
            harms = [h for h in self.by_machine.get(machine, ()) if h.mode in modes]
            if harms:
                modes = [m for m in modes if any(h.mode == m for h in harms)]
                row = self._row(machine, place, modes, harms, others[place, beside])
                yield self._spared(row, beside) if beside else row

    def _beside(self, machine: str, mode: str) -> str:
        """Another filter that may be put to use in a mode while this valve's own is changed: with
        its valves open, nothing that the valve does harms any more; "" where there is none."""
        mine = [f for f in self._changed() if machine in self._valves(f)]
        scene = self.scenes[mode]
        hits = [h for h in self.by_machine.get(machine, ()) if h.mode == mode]
        for other in self._changed() if mine and hits else ():
            ways = self._valves(other)
            if other in mine or not ways or not self.have.issuperset(ways):
                continue
            shut = all("open" in scene.others.get(v, ()) for v in ways)
            opened = [(v, "open") for v in ways]
            if shut and not any(Case(scene, (*h.wrong, *opened)).holds(h.question) for h in hits):
                return other
        return ""

    def _changed(self) -> list[str]:
        return [f.id for f in self.plant.machines(FiltersMilk) if f.while_running]

    def _valves(self, filter_: str) -> tuple[str, ...]:
        """The valves next to a filter, where there is one on either side."""
        ends = [p.end if p.start.startswith(f"{filter_}.") else p.start
                for p in self.plant.pipes_at(filter_)]  # fmt: skip
        near = [e.partition(".")[0] for e in ends]
        valves = [t for t in near if isinstance(self.plant.equipment[t], IsValve)]
        return tuple(valves) if len(valves) == len(near) >= 2 else ()

    def _spared(self, row: Row, other: str) -> Row:
        """A row that stays quiet while the other filter stands open."""
        ways = self._valves(other)
        before = f"{self.plant.equipment[row.machine].title} not {said(row.wanted)}"
        after = f"{before}, nor {' and '.join(ways)} of {other}"
        return replace(
            row,
            tag=self._tag(row.machine, f"not {row.wanted} nor {other}"),
            text=row.text.replace(before, after, 1),
            told=tuple(replace(t, text=t.text.replace(before, after, 1)) for t in row.told),
            unless=tuple(self._contact(v, "open") for v in ways),
        )

    def _row(
        self, machine: str, place: str, modes: list[str], hits: list[FoundHarm], could: set[str]
    ) -> Row:
        states = self.plant.equipment[machine].states()
        gates = [
            p
            for w in self.plant.equipment[machine].inside()
            if w.how == "gate"
            for p in w.positions
        ]
        on: tuple[str, ...] = ()
        off: tuple[str, ...] = ()
        if place == f"not {FULL}":
            on, off = (), (self._contact(machine, FULL),)
        elif place in (RUNS, "stopped"):
            run = self._contact(machine, RUNS)
            on, off = ((run,), ()) if place == RUNS else ((), (run,))
        else:
            ends = self._ends(
                machine, (*states, *(p for p in gates if p not in states and p in could))
            )
            on = (self._contact(machine, place),)
            off = tuple(
                self._contact(machine, e)
                for e in ends
                if e != place and not self._like(machine, e, place)
            )
        title = self.plant.equipment[machine].title
        is_said = place if place.startswith("not ") else f"not {said(place)}"
        if place == f"not {FULL}":
            is_said = FULL
        delay = self.rules.number("alarm.valve_on_delay_s")
        travel = getattr(self.plant.equipment[machine], "travel_s", 0.0)
        says = f"{machine} {title} {is_said}"
        told = self._told(machine, modes, hits)
        kinds = {k: m & set(modes) for k, m in self.kinds.items()}
        return Row(
            tag=self._tag(machine, f"is {FULL}" if place.startswith("not ") else f"not {place}"),
            machine=machine,
            wanted=place,
            modes=tuple(modes),
            on=on,
            off=off,
            priority=min((self._priority(hits, m) for m in modes), key=PRIORITIES.index),
            text=f"{says}: {'; '.join(mode_by_mode([(t.text, t.modes) for t in told], kinds))}",
            do=" ".join(
                p[0].upper() + p[1:] for p in mode_by_mode([(t.do, t.modes) for t in told], kinds)
            ),
            told=tuple(replace(t, text=f"{says}: {t.text}") for t in told),
            on_delay_s=max(delay, travel + TRAVEL_MARGIN_S),
            off_delay_s=delay,
            effects=self._effects(machine, hits),
            before=place not in (RUNS,),
        )

    def _told(
        self, machine: str, modes: Sequence[str], hits: Sequence[FoundHarm]
    ) -> tuple[Told, ...]:
        """The worst that comes of it in each mode, modes alike together, the worst of all first.

        Of several alike in a mode, that which most modes have: the alarm then changes least.
        """
        worst = {m: _worst([h for h in hits if h.mode == m]) for m in modes}
        could = {m: {self._then(machine, h): h for h in some} for m, some in worst.items()}
        shared = Counter(then for some in could.values() for then in some)
        found: dict[tuple[str, str, str], list[str]] = {}
        for mode, some in could.items():
            then = max(some, key=shared.__getitem__)
            harm = self.scenes[mode].harm(some[then].question.harm)
            found.setdefault((harm.key, then, harm.do), []).append(mode)

        def badness(one: Told) -> tuple[int, int, int]:
            mode = one.modes[0]
            return (PRIORITIES.index(self._priority(hits, mode)), *_rank(worst[mode][0]))

        every = (Told(tuple(m), *key) for key, m in found.items())
        return tuple(sorted(every, key=badness))

    def _then(self, machine: str, hit: FoundHarm) -> str:
        """The harm; where it takes more than this machine, with what else is out of place."""
        title = self.scenes[hit.mode].harm(hit.question.harm).title
        others = [(m, p) for m, p in hit.wrong if m != machine]
        return f"{title} if also {moves(self.plant, others)}" if others else title

    def _like(self, machine: str, position: str, place: str) -> bool:
        """Whether two positions open the same ways."""
        ways = [w.positions for w in self.plant.equipment[machine].inside() if w.how == "gate"]
        return all((position in p) == (place in p) for p in ways)

    def _priority(self, hits: Sequence[FoundHarm], mode: str) -> Priority:
        """In a mode: the most urgent of what it does alone; a step lower where it takes two."""
        here = [h for h in hits if h.mode == mode]
        alone: list[Priority] = [HARMS[h.question.harm].priority for h in here if h.order <= 1]
        if alone:
            return min(alone, key=PRIORITIES.index)
        return "medium" if HARMS[_worst(here)[0].question.harm].priority == "high" else "low"

    def _effects(self, machine: str, hits: Sequence[FoundHarm]) -> tuple[str, ...]:
        effects = [SOUND]
        harms = {h.question.harm for h in hits if h.order <= 1}
        if harms & {"wash_to_milk", "water_to_milk"}:
            effects += self._wash_stopped()
        if "closed_line" in harms:
            pumps = {
                h.question.subject
                for h in hits
                if h.question.harm == "closed_line" and h.order <= 1
            }
            effects += [self._stop(p) for p in sorted(pumps)]
        return tuple(dict.fromkeys(effects))

    def _wash_stopped(self) -> list[str]:
        """Stops of every pump that moves wash."""
        pumps = self.plant.able("moves liquid")
        return [self._stop(p.id) for p in pumps if self._moves_wash(p.id)]

    def _stop(self, pump: str) -> str:
        tag = self._tag("Stop", pump)
        self.effects.setdefault(tag, Effect(tag, f"stop {pump} {self.plant.equipment[pump].title}"))
        return tag

    def _moves_wash(self, pump: str) -> bool:
        """Whether a pump's suction comes straight from a wash trough."""
        ids = {m.id for m in self.plant.able("gives wash")}
        return any(
            p.end == f"{pump}.inlet" and p.start.partition(".")[0] in ids for p in self.plant.pipes
        )

    # why a row is needed ---------------------------------------------------------------------

    def _proven(self, row: Row) -> Row:
        """The row with a wrong position that only it sees, where there is one."""
        hit = self._only_here(row)
        if hit is None:
            return row
        harm = self.scenes[hit.mode].harm(hit.question.harm).title
        text = f"{moves(self.plant, hit.wrong)} in {hit.mode}: {harm} ({hit.question.subject})"
        return replace(row, proof=text, proof_mode=hit.mode, proof_wrong=hit.wrong)

    def _only_here(self, row: Row) -> FoundHarm | None:
        watched = set(self.watched)
        for hit in sorted(self.by_machine.get(row.machine, ()), key=lambda h: h.order):
            if hit.mode in row.modes and hit.machines & watched == {row.machine}:
                return hit
        harms = {h.question.name for h in self.by_machine.get(row.machine, ())}
        for mode in row.modes:
            scene = self.scenes[mode]
            free = [m for m in scene.others if m not in watched or m == row.machine]
            prover = Prover(scene)
            for question in scene.questions:
                if harms and question.name not in harms:
                    continue
                wrong = prover.first(question, free)
                if wrong and any(m == row.machine for m, _ in wrong):
                    return FoundHarm(mode, question, wrong)
        return None

    # process sensors as a second look --------------------------------------------------------

    def _process_rows(self) -> Iterable[Row]:
        """Rows of process sensors, in the modes of milking in which they are quiet when all is in
        place: milk comes past what proves its flow, and no wash past what would show it."""
        proof_s = self.rules.number("alarm.valve_proof_min") * 60
        milking = {m: Case(s, ()) for m, s in self.scenes.items() if s.milked}
        for sensor in self.plant.machines(Senses):
            says = PROCESS.get(sensor.measures)
            if says == "high" and sensor.on in _receivers(self.scenes):
                yield self._process(sensor, says, tuple(milking), "flooded", 3.0, False)
            if says not in ("flow", "wash"):
                continue
            modes = []
            for mode, case in milking.items():
                at = _stands_at(sensor, case.scene)
                milk, wash = (bool(at & set(case.walk(x))) for x in ("milk", "wash"))
                if milk and (says == "flow" or not wash):
                    modes.append(mode)
            if modes and says == "flow":
                yield self._process(sensor, says, tuple(modes), "milk_lost", proof_s, True)
            elif modes:
                yield self._process(sensor, says, tuple(modes), "wash_to_milk", 3.0, False)

    def _process(self, sensor: Senses, says: str, modes: tuple[str, ...], harm: str, delay_s: float,
                 must_be: bool) -> Row:  # fmt: skip
        tag = self._contact(sensor.id, says, process=True)
        what = f"no {says}" if must_be else said(says)
        text = f"{sensor.id} {sensor.title} shows {what}: {HARMS[harm].title}"
        return Row(
            tag=self._tag(sensor.id, f"no {says}" if must_be else f"is {says}"),
            machine=sensor.id,
            wanted=says if must_be else f"not {says}",
            modes=modes,
            on=(tag,) if must_be else (),
            off=() if must_be else (tag,),
            priority=HARMS[harm].priority,
            text=text,
            do=HARMS[harm].do,
            told=(Told(modes, harm, text, HARMS[harm].do),),
            on_delay_s=delay_s,
            off_delay_s=3.0,
            effects=(SOUND, *(self._wash_stopped() if harm == "wash_to_milk" else ())),
            before=False,
        )


def _rank(hit: FoundHarm) -> tuple[int, int]:
    """The fewer wrong positions it takes the worse, then by class."""
    return hit.order, list(HARMS).index(hit.question.harm)


def _worst(hits: Iterable[FoundHarm]) -> list[FoundHarm]:
    """Those that nothing is worse than."""
    every = sorted(hits, key=_rank)
    return [h for h in every if _rank(h) == _rank(every[0])]


def _receivers(scenes: Mapping[str, Scene]) -> set[str]:
    return {q.subject for s in scenes.values() for q in s.questions if q.harm == "flooded"}


def _stands_at(sensor: Senses, scene: Scene) -> set[int]:
    """The nodes of the network at which a sensor sees what comes past."""
    port = sensor.at_port
    nodes = enumerate(scene.net.nodes)
    return {i for i, n in nodes if n.machine == sensor.on and port in (None, n.port)}


def process_contacts(
    table: Table, scene: Scene, wrong: Iterable[tuple[str, str]]
) -> dict[str, bool]:
    """What the process contacts show with some positions wrong, by the spread."""
    case = Case(scene, wrong)
    plant = scene.net.plant
    shown: dict[str, bool] = {}
    for signal in table.signals:
        if not signal.process:
            continue
        sensor = plant.equipment[signal.machine]
        assert isinstance(sensor, Senses)
        nodes = _stands_at(sensor, scene)
        if signal.says == "high":
            shown[signal.tag] = any(
                q.harm == "flooded" and q.subject == sensor.on and case.holds(q)
                for q in scene.questions
            )
        else:
            found = case.walk("milk" if signal.says == "flow" else "wash")
            shown[signal.tag] = bool(nodes & set(found))
    return shown
