"""The routes study: every wrong position tried, proven and told in plain words."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from byrewright.engine.interlocks import Table as Interlocks
from byrewright.plant.plant import Plant
from byrewright.plant.roles import IsValve
from byrewright.results import Assumption, Finding, Remedy, Result, ResultBuilder, Sense, judge
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.routes import litres, sensors, tables
from byrewright.studies.routes.brute import FoundHarm, search, tried
from byrewright.studies.routes.classes import HARMS
from byrewright.studies.routes.network import Network, network
from byrewright.studies.routes.orders import Order, safe_order, via
from byrewright.studies.routes.propagation import walk
from byrewright.studies.routes.prove import Prover, road
from byrewright.studies.routes.questions import all_scenes, no_tanker
from byrewright.studies.routes.scene import Reaches, Scene
from byrewright.studies.routes.table import cause_and_effect, process_contacts
from byrewright.studies.routes.words import moves, said

STUCK_SHOWN = 6
METHOD = (
    "routes: propagation in the plant's graph, exhaustive and by solver (docs/methods/routes.md)"
)

Proven = tuple[bool, int, int, tuple[tuple[str, str], ...]]


@dataclass
class Routes:
    """Everything the study knows of a plant, worked out when first asked for."""

    plant: Plant
    rules: Rulebook
    order: int = 2
    loss_of: litres.LossOf | None = None
    by_day: bool = True
    """Whether litres come from the simulated day (a second or two) or from the duty at once."""
    like: Routes | None = None
    """The study of a plant that differs in sensors and sizes alone: what wrong positions do there,
    and that there is no other, they do here."""

    @cached_property
    def net(self) -> Network:
        """The plant's network."""
        return network(self.plant)

    @cached_property
    def scenes(self) -> dict[str, Scene]:
        """One scene a mode."""
        return self.like.scenes if self.like else all_scenes(self.plant, self.net)

    @cached_property
    def hits(self) -> list[FoundHarm]:
        """Every harmful combination up to `order`, by exhaustive search."""
        if self.like and self.like.order == self.order:
            return self.like.hits
        return [h for s in self.scenes.values() for h in search(s, self.order)]

    @cached_property
    def at_rest(self) -> list[FoundHarm]:
        """Harm a mode does with everything in its wanted position."""
        return [h for h in self.hits if not h.order]

    @cached_property
    def fitted(self) -> frozenset[str]:
        """Machines whose position is sensed as the file stands."""
        return sensors.fitted(self.plant)

    @cached_property
    def best(self) -> sensors.SensorSet:
        """The smallest set of sensors with which nothing stays unseen."""
        found = sensors.smallest(list(self.scenes.values()), self.hits)
        assert found is not None
        return found

    @cached_property
    def next_best(self) -> dict[str, tuple[str, ...] | None]:
        """For each sensor of the smallest set: the smallest set without it."""
        return sensors.next_best(list(self.scenes.values()), self.best, self.hits)

    @cached_property
    def table(self) -> Interlocks:
        """The cause-and-effect table with the smallest set of sensors."""
        return cause_and_effect(self.plant, self.scenes, self.hits, self.best.machines, self.rules)

    @cached_property
    def right(self) -> dict[str, dict[str, bool]]:
        """What the process contacts show in each mode with everything in its wanted position."""
        return {m: process_contacts(self.table, s, ()) for m, s in self.scenes.items()}

    @cached_property
    def loss(self) -> litres.LossOf:
        """What a hit loses: by the simulated day where the engine takes the plant, else by duty."""
        if self.loss_of is not None:
            return self.loss_of
        by_duty = litres.from_duty(self.plant, litres.milk_rate(self.plant, self.rules), self.rules)
        if not self.by_day:
            return by_duty
        from byrewright.engine.lowering import DoesNotCompile
        from byrewright.studies.routes.ledger import DayLedger, from_day

        try:
            ledger = DayLedger(self.plant, self.rules)
            told = [x.hit for n in range(1, self.order + 1) for x in tables.lines(self, n)]
            return from_day(self.plant, ledger, by_duty, told)
        except DoesNotCompile:
            return by_duty

    @cached_property
    def _proofs(self) -> dict[int, Proven]:
        return {}

    def orders(self) -> list[Order]:
        """The change between each two modes."""
        return [
            safe_order(self.plant, a, b, self.net)
            for a in self.plant.modes for b in self.plant.modes if a != b
        ]  # fmt: skip

    def proof(self, order: int) -> Proven:
        """Solver against exhaustive search: whether they agree, hits, solver calls, and the (mode,
        question) pairs that the budget left undecided and the comparison leaves out."""
        if self.like:
            return self.like.proof(order)
        if order in self._proofs:
            return self._proofs[order]
        open_ones: dict[tuple[str, str], None] = {}
        by_solver: set[tuple[str, str, frozenset[tuple[str, str]]]] = set()
        calls = 0
        for scene in self.scenes.values():
            prover = Prover(scene)
            for question in scene.questions:
                for hit in prover.all_hits(question, order).hits:
                    by_solver.add((scene.name, question.name, frozenset(hit.wrong)))
            calls += prover.calls
            open_ones |= {(scene.name, name): None for name in prover.undecided}
        by_hand = {
            (h.mode, h.question.name, frozenset(h.wrong)) for h in self.hits if h.order <= order
        }
        by_hand, by_solver = (
            {h for h in found if h[:2] not in open_ones} for found in (by_hand, by_solver)
        )
        told = by_hand == by_solver, len(by_solver), calls, tuple(open_ones)
        self._proofs[order] = told
        return told


def routes(plant: Plant, rules: Rulebook | None = None, *, order: int = 2, orders: bool = True,
           loss_of: litres.LossOf | None = None,
           say: Callable[[str], None] = lambda text: None) -> Result:  # fmt: skip
    """Where fluids go and what each wrong position does, up to `order` wrong positions at once.

    `loss_of` replaces the losses by the duty, for instance with the simulated day's ledger.
    """
    return report(Routes(plant, rules or Rulebook(), order, loss_of), orders=orders, say=say)


def report(study: Routes, *, orders: bool = True,
           say: Callable[[str], None] = lambda text: None) -> Result:  # fmt: skip
    """The study as findings and tables."""
    book = ResultBuilder("routes", study.plant.site.name)
    book.findings += judged(study, say)
    say("counting what each loses")
    book.tables += [tables.where(study), *tables.wrong_positions(study)]
    book.tables += [tables.sensor_set(study), tables.interlocks(study)]
    if orders:
        say("searching safe orders between modes")
        every = study.orders()
        book.findings.append(_orders(study, every))
        book.tables.append(tables.safe_orders(study, every))
    _assume(study, book)
    return book.result()


def judged(study: Routes, say: Callable[[str], None] = lambda text: None) -> list[Finding]:
    """The findings alone, without the tables and their litres: all that a draft is held to."""
    say("trying every wrong position")
    found = [*_at_rest(study), *_harms(study)]
    say("proving that there is no other")
    found.append(_proof(study))
    say("choosing sensors")
    return [*found, *_sensors(study)]


def _find(key: str, title: str, value: float | None, unit: str, sentence: str, *, subject: str = "",
          limit: float | None = None, remedies: tuple[Remedy, ...] = ()) -> Finding:  # fmt: skip
    sense: Sense = "informational" if limit is None else "at_most"
    verdict, margin = judge(value, limit, sense)
    return Finding(
        key=f"routes.{key}",
        subject=subject,
        title=title,
        value=value,
        unit=unit,
        sentence=sentence,
        verdict=verdict,
        sense=sense,
        limit=limit,
        margin=margin,
        source=METHOD,
        confidence="derived",
        remedies=remedies,
    )


def _at_rest(study: Routes) -> Iterable[Finding]:
    """Modes that do harm as they are written."""
    for hit in study.at_rest:
        harm = study.scenes[hit.mode].harm(hit.question.harm)
        way = _way(study, hit)
        sentence = f"Mode {hit.mode} as written: {harm.title} ({hit.question.subject})"
        sentence += f" by way of {way}." if way else "."
        yield _find(
            "at_rest",
            harm.title,
            1,
            "",
            f"{sentence} Change the mode's positions or the pipes.",
            subject=f"{hit.mode} {hit.question.name}",
            limit=0,
        )
    if not study.at_rest:
        yield _find(
            "at_rest",
            "harm with everything in place",
            0,
            "",
            "No mode does harm while every valve and pump is where the mode wants it.",
            limit=0,
        )


def _harms(study: Routes) -> Iterable[Finding]:
    """For each class: how many wrong positions do it unseen by the sensors in the file."""
    for harm in HARMS.values():
        here = [h for h in study.hits if h.question.harm == harm.key and h.order]
        if not here:
            continue
        alone = {h.wrong for h in here if h.order == 1}
        pairs = {h.wrong for h in here if h.order == 2}
        blind = {h.wrong for h in here if not h.machines & study.fitted}
        sentence = f"{_counted(len(alone), len(pairs))} to this: {harm.title}. " + (
            f"No sensor in the file detects {len(blind)} of them, such as "
            f"{moves(study.plant, sorted(blind, key=lambda w: (len(w), w))[0])}. Fit the "
            "position sensors of the smallest set."
            if blind
            else "The sensors in the file detect every one."
        )
        yield _find("unseen", harm.title, len(blind), "", sentence, subject=harm.key, limit=0)


def _counted(single: int, double: int) -> str:
    """How many wrong positions lead to something; nothing is said of what there is none of."""
    parts = [f"{n} {word}" for n, word in ((single, "single"), (double, "double")) if n]
    one = single + double == 1
    return f"{' and '.join(parts)} wrong position{' leads' if one else 's lead'}"


def _proof(study: Routes) -> Finding:
    agree, count, calls, left = study.proof(study.order)
    total = sum(tried(s, study.order) for s in study.scenes.values())
    sentence = (
        f"All {total:,} combinations of up to {study.order} wrong positions were tried in "
        f"{len(study.scenes)} modes; the solver, asked {calls:,} times, finds the same {count:,} "
        "and shows that there is no other."
        if agree
        else "Exhaustive search and solver disagree: do not use this answer; report the plant file."
    )
    found = _find("proof", "combinations on which search and solver differ", 0 if agree else 1, "",
                  sentence, limit=0)  # fmt: skip
    if not agree or not left:
        return found
    asked = sum(len(s.questions) for s in study.scenes.values())
    return replace(
        found,
        value=None,
        verdict="unknown",
        margin=None,
        missing=tuple(f"proof of {name} in {mode}" for mode, name in left),
        sentence=f"{asked - len(left)} of {asked} questions are proven: the solver finds the same "
        f"{count:,} combinations as the search of all {total:,}. {_left(left)}",
    )


LEFT_NAMED = 3


def _left(left: Sequence[tuple[str, str]]) -> str:
    """What the budget did not suffice for."""
    named = ", ".join(f"{name} in {mode}" for mode, name in left[:LEFT_NAMED])
    more = f" and {len(left) - LEFT_NAMED} more" if len(left) > LEFT_NAMED else ""
    return f"Not settled within the solver's budget: {named}{more}."


def _sensors(study: Routes) -> Iterable[Finding]:
    best, plant = study.best, study.plant
    missing = [m for m in best.machines if m not in study.fitted]
    swapped = sensors.unseen(study.scenes.values(), study.fitted)
    swapped = [h for h in swapped if (h.mode, h.question.name) not in
               {(r.mode, r.question.name) for r in study.at_rest}]  # fmt: skip
    least = _find(
        "sensors_least",
        "fewest position sensors that see every wrong position",
        len(best.machines),
        "",
        f"{len(best.machines)} machines need their position sensed so that no number of wrong "
        "positions does harm unseen; the solver shows that no smaller set does.",
    )
    if not best.proven or best.least < len(best.machines):
        all_seen = "every wrong position" + ("" if best.proven else " that was found")
        least = replace(
            least,
            value=None,
            verdict="unknown",
            missing=("proof that no wrong position stays unseen" if not best.proven else
                     "proof that no smaller set does",),
            sentence=f"Sensors at {len(best.machines)} machines see {all_seen}; "
            f"{best.least} at least are needed. "
            + ("Whether fewer would do" if best.proven else "Whether they see all")
            + " was not settled within the solver's budget.",
        )  # fmt: skip
    yield least
    for text in study.table.unseen:
        yield _find("no_contact", "harm that no contact can show", 1, "", text, limit=0,
                    subject=text.partition(":")[0])  # fmt: skip
    text = (
        "Every harmful combination, of any number of wrong positions, is seen by a sensor."
        if not swapped
        else f"Without more sensors {len(swapped)} kinds of harm can pass unseen. To be fitted: "
        + "; ".join(_title(plant, m) for m in missing)
        + "."
    )
    yield _find("sensors_missing", "harm that can pass unseen", len(swapped), "", text, limit=0,
                remedies=tuple(_sensed(plant, m) for m in missing) if swapped else ())  # fmt: skip


def _sensed(plant: Plant, machine_id: str) -> Remedy:
    """The sensor that shows how a machine stands."""
    machine, why = plant.equipment[machine_id], "in the smallest set that sees every wrong position"
    if isinstance(machine, IsValve):
        return Remedy(machine_id, "sensed", True, why)
    measures = "current" if machine.can("runs") else "level"
    return Remedy(machine_id, "sensor", "presence" if machine.can("injects air") else measures, why)


def _orders(study: Routes, orders: list[Order]) -> Finding:
    stuck = [o for o in orders if not o.safe]
    risky = sum(1 for o in orders if o.dangers)
    text = f"{len(orders)} changes between two modes: in {risky} of them some order is dangerous; "
    text += (
        "a safe order is proposed for every one."
        if not stuck
        else f"{len(stuck)} {'has' if len(stuck) == 1 else 'have'} no safe direct order: "
        + "; ".join(f"{o.before} to {o.after}{_by_way_of(o, orders)}" for o in stuck[:STUCK_SHOWN])
        + (f"; {len(stuck) - STUCK_SHOWN} more in the table" if len(stuck) > STUCK_SHOWN else "")
        + "."
    )
    found = _find(
        "orders",
        "changes with no safe way",
        sum(1 for o in stuck if not via(o, orders)),
        "",
        text,
        limit=0,
    )
    left = [f"{o.before} to {o.after}" for o in stuck if not o.decided]
    if not left:
        return found
    text += f" Not settled within the solver's budget: {', '.join(left[:STUCK_SHOWN])}."
    return replace(found, value=None, verdict="unknown", margin=None, sentence=text,
                   missing=tuple(f"order of {one}" for one in left))  # fmt: skip


def _by_way_of(order: Order, orders: Iterable[Order]) -> str:
    mode = via(order, orders)
    return f" (go by way of {mode})" if mode else ""


def _title(plant: Plant, machine_id: str) -> str:
    return f"{machine_id} {plant.equipment[machine_id].title}"


def _way(study: Routes, hit: FoundHarm) -> str:
    """The valves and pumps that stand open on the way, in words."""
    scene = study.scenes[hit.mode]
    found: dict[str, str] = {}
    for condition in hit.question.all_of:
        if isinstance(condition, Reaches) and condition.wanted:
            propagation = scene.propagations[condition.propagation]
            reached = walk(propagation, scene.wanted)
            end = next(n for n in condition.nodes if n in reached)
            for machine, _ in road(propagation, reached, end, scene.wanted):
                if not study.plant.equipment[machine].can("gives milk"):
                    found[machine] = said(scene.wanted[machine] or "")
    return ", ".join(f"{_title(study.plant, m)} {p}" for m, p in found.items())


def _assume(study: Routes, book: ResultBuilder) -> None:
    rate = litres.milk_rate(study.plant, study.rules) if study.loss_of is None else None
    if rate is not None:
        book.assumptions.append(
            Assumption(
                "routes",
                "milk lost while a way is open",
                round(rate.mean_l_min, 1),
                "L/min",
                rate.basis,
            )
        )
    book.assumptions += [
        Assumption(
            "routes",
            "level of vessels that lose milk, share of their height",
            study.rules.number("vessel.level_share"),
            "",
            "a part-filled tank",
        ),
    ]
    for name, scene in study.scenes.items():
        book.assumptions += [
            Assumption(f"modes.{name}", f"tankers coupled at {bay}", 0, "", why)
            for bay, why in no_tanker(scene).items()
        ]
    book.assumptions.append(Assumption(
        "routes", "valves of chilled liquid, refrigerant and compressed air", "not tried", "",
        "what their failures do is shown by the failures study; a stage that a mode leaves without "
        "liquid, and a maker of cold that is shut off, by sizing"))  # fmt: skip
    if study.loss_of is None and study.by_day:
        words = study.plant.site.month_words(study.plant.site.study_month)
        book.notes.append(f"Litres lost are those of {words}.")
    book.notes.append("The proof covers the stated propagation model: " + METHOD + ". It is a "
                      "draft for review by the responsible engineer, "
                      "not a safety function.")  # fmt: skip
