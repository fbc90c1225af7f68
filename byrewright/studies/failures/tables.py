"""The tables of the failure study: ranked, matrix, what to do, pairs, out for service, shelf."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from byrewright.results import Table
from byrewright.standards.reliability import LIVES
from byrewright.studies.failures.analysis import Analysis, Case, pair_name, together
from byrewright.studies.failures.consequence import Consequence
from byrewright.studies.failures.declared import declared
from byrewright.studies.failures.maintenance import Out
from byrewright.studies.failures.paths import OperatorActions, left_to_do
from byrewright.studies.failures.script import Script
from byrewright.studies.failures.worth import Cost, Day, Gain, Worth, remedy, worst_of

Row = tuple[float | str, ...]


def short(value: float) -> str:
    """Two or three figures, never in powers of ten.

    >>> short(0.0412), short(7.27), short(1394.2)
    ('0.041', '7.3', '1394')
    """
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.2g}"


CELL_STOPS, CELL_SOME, CELL_NONE = "x", "~", "-"
"""Marks of the matrix: stops or lost, some, none."""
WARM_K = 0.5
VACUUM_KPA = 0.3
DELAY_MIN = 1.0
WASH_K = 2.0


def standing(case: Case) -> str:
    """How milking stands, in words."""
    if case.stops:
        return "stops"
    if case.answer.acts:
        return "by hand"
    return "slower" if case.answer.pace < 1.0 else "continues"


def ranked(
    worth: Worth,
    scripts: Mapping[str, Script],
    currency: str,
    price: float,
    wage: float,
    operators: int,
) -> Table:
    """Every failure, worst first, at its worst moment."""
    rows = []
    for place, cost in enumerate(worth.costs, 1):
        case, at = cost.case, cost.worst
        money = cost.litres_each * price + cost.hours_each * wage * operators
        rows.append((
            place, case.event.id, standing(case), at.moment if at else "-",
            _cows(at), _vacuum(at), "-" if case.stops else round(case.answer.spare_l_min),
            _milk(at), _out(at), round(case.hand_min, 1),
            round(cost.fallen), round(cost.again_min, 1), round(60 * cost.hours_each, 1),
            _until(at), round(cost.litres_each), round(money, 1), _few(cost.a_year),
            " to ".join(short(n) for n in cost.range_a_year),
            _few(cost.hours_year), declared(case, scripts[case.event.id]).text,
        ))  # fmt: skip
    return Table(
        "failures.ranked", "Failures, worst first, each at its worst moment",
        ("rank", "failure", "milking", "worst moment", "cows in the next hour", "least vacuum",
         "vacuum air to spare", "warmest milk in store", "warmest out of the cooler", "acts take",
         "cups fallen", "cups on again take", "last cow later by", "first milk lost after",
         "milk lost", "money at risk",
         "times in milking", "times, at low and high lives", "hours lost", "in the simulated day"),
        ("", "", "", "", "", "kPa", "L/min", "degC", "degC", "min", "", "min", "min", "min", "L",
         currency, "1/year", "1/year", "h/year", ""),
        tuple(rows),
        note="A dash: not milking at that moment, or nothing of the kind. Money: milk lost at the "
             "price of the rules, and the operators' time where a wage is stated. Last cow later: "
             "includes putting fallen cups back on.",
    )  # fmt: skip


def _cows(at: Consequence | None) -> float | str:
    return round(at.cows_h) if at and at.cows_h_before > 0 else "-"


def _vacuum(at: Consequence | None) -> float | str:
    return round(at.vacuum_kpa, 1) if at and at.vacuum_kpa < 999 else "-"


def _milk(at: Consequence | None) -> float | str:
    return round(at.milk_c, 1) if at and at.milk_c > 0 else "-"


def _out(at: Consequence | None) -> float | str:
    return round(at.out_c, 1) if at and at.out_c > 0 else "-"


def _until(at: Consequence | None) -> float | str:
    return "-" if at is None or at.loss_after_min is None else round(at.loss_after_min, 1)


def _few(value: float) -> float:
    return float(f"{value:.3g}")


COLUMNS = ("milking stands", "people act", "slower", "less vacuum reserve", "milk warmer",
           "milk lost", "wash suffers", "later")  # fmt: skip


def matrix(analysis: Analysis, worth: Worth, day: Day, scripts: Mapping[str, Script]) -> Table:
    """Failure by consequence; failures that change nothing are counted, not listed."""
    rows: list[Row] = []
    for cost in sorted(worth.costs, key=lambda c: c.case.event.id):
        cells = _cells(analysis, cost, day.get(cost.case.event.id, ()))
        if any(c != CELL_NONE for c in cells):
            rows.append((cost.case.event.id, *cells))
    shown = {r[0] for r in rows}
    quiet = [c.case for c in worth.costs if c.case.event.id not in shown]
    blind = sum(declared(c, scripts[c.event.id]).how == "not simulated" for c in quiet)
    return Table(
        "failures.matrix", "Failure by consequence", ("failure", *COLUMNS),
        ("",) * (len(COLUMNS) + 1), tuple(rows),
        note=f"x: stopped or lost; ~: some; -: none. {len(quiet)} more failures change "
             f"none of these: {len(quiet) - blind} were simulated and the plant carries them, "
             f"{blind} are not simulated and listed with what they mean.",
    )  # fmt: skip


def _cells(analysis: Analysis, cost: Cost, found: Sequence[Consequence]) -> tuple[str, ...]:
    case = cost.case
    full = analysis.base.spare_l_min

    def mark(some: bool, much: bool = False) -> str:
        return CELL_STOPS if much else CELL_SOME if some else CELL_NONE

    warmer = max((c.warmer_k for c in found), default=0.0)
    cooler = max((c.wash_before_c - c.wash_c for c in found if c.wash_before_c > 0), default=0.0)
    reserve = not case.stops and case.answer.spare_l_min < full - 1.0
    vacuum = max((c.vacuum_before_kpa - c.vacuum_kpa for c in found), default=0.0)
    return (
        mark(False, case.stops),
        mark(bool(case.answer.acts)),
        mark(not case.stops and case.answer.pace < 1.0),
        mark(reserve or vacuum > VACUUM_KPA, case.answer.spare_l_min <= 0.0 and reserve),
        mark(warmer > WARM_K, warmer > 10 * WARM_K),
        mark(False, cost.litres_each > 0),
        mark(cooler > WASH_K, cooler > 10 * WASH_K),
        mark(60 * cost.hours_each > DELAY_MIN, 60 * cost.hours_each > 30 * DELAY_MIN),
    )


def moments(analysis: Analysis, day: Day) -> Table:
    """What every failure does at each of the bad moments, where it does anything."""
    rows: list[Row] = []
    for case in analysis.cases:
        for at in day.get(case.event.id, ()):
            if at.rejoined:
                continue
            rows.append((
                case.event.id, at.moment, _cows(at), _vacuum(at), _milk(at), _out(at),
                round(at.wash_c, 1) if at.wash_c else "-", _until(at), round(at.litres),
                round(at.delay_min, 1), round(at.stood_min, 1), round(at.energy_cost, 2),
            ))  # fmt: skip
    return Table(
        "failures.moments", "Each bad moment, against the undisturbed day",
        ("failure", "moment", "cows in the next hour", "least vacuum", "warmest milk in store",
         "warmest out of the cooler", "coolest wash return", "first milk lost after",
         "milk lost", "last cow later by",
         "milking stood", "electricity"),
        ("", "", "", "kPa", "degC", "degC", "degC", "min", "L", "min", "min",
         analysis.plant.site.currency),
        tuple(rows),
        note="Failures that leave the day as it was, to the last bit, are not listed. Milk lost, "
             "later and stood: more than on the day without the failure.",
    )  # fmt: skip


def to_do(analysis: Analysis, more: Mapping[str, OperatorActions], worth: Worth) -> Table:
    """What the operator sees, and does in order; the worst failure first."""
    rows: list[Row] = []
    for case in (cost.case for cost in worth.costs):
        every = dict.fromkeys((*case.answer.acts, *more.get(case.event.id, ())))
        acts = [a.text for a in every]
        do = left_to_do(case.event.failure.do, case.event.machine, every)
        steps = "; ".join(f"{i}. {a}" for i, a in enumerate([*acts, do] if do else acts, 1))
        rows.append((case.event.id, case.event.failure.seen, steps, round(case.hand_min, 1),
                     round(analysis.rates[case.event.id].repair_h, 2)))  # fmt: skip
    return Table("failures.to_do", "What one sees and does, in order",
                 ("failure", "seen", "done", "milking again after", "repaired after"),
                 ("", "", "", "min", "h"), tuple(rows),
                 note="Lock off and prove dead before opening anything; electrical and "
                      "refrigerant work only by licensed people; emergency stops are never "
                      "bridged.")  # fmt: skip


def ones(analysis: Analysis, cases: Sequence[Case], key: str, title: str, note: str) -> Table:
    """Single failures that stop milking."""
    rows: list[Row] = [
        (c.event.id, c.answer.why, _few(analysis.rates[c.event.id].a_year),
         round(analysis.rates[c.event.id].repair_h, 2), remedy(analysis, c.event.machine))
        for c in cases
    ]  # fmt: skip
    return Table(key, title, ("failure", "why milking stops", "times", "repaired after", "remedy"),
                 ("", "", "1/year", "h", ""), tuple(rows), note)  # fmt: skip


def passive(analysis: Analysis) -> Table:
    """Parts with no second and no moving piece: what to look at instead."""
    rows: list[Row] = []
    for case in analysis.passive:
        machine = analysis.plant.equipment[case.event.machine]
        care = "; ".join(u.what for u in machine.upkeep()) or "look at it with the pipes it joins"
        rows.append((machine.id, machine.title, case.answer.why, care))
    return Table("failures.passive", "Single points: what stops milking if it is lost altogether",
                 ("tag", "machine", "then", "looked at"), ("", "", "", ""), tuple(rows),
                 note="Lives of vessels, headers and lines are very long (decades) and no figure "
                      "for them can be trusted: they are not counted in the hours a year but "
                      "inspected. Pipes stand with the machines they join.")  # fmt: skip


def twos(analysis: Analysis, worth: Worth, day: Day) -> Table:
    """Pairs that stop milking together, each at its worst moment."""
    assert analysis.pairs is not None
    rows: list[Row] = []
    for (a, b), hours in sorted(worth.pairs.items(), key=lambda p: (-p[1], p[0])):
        at = worst_of(day.get(pair_name(a, b), ()))
        rows.append((
            a, b, together(analysis, a, b).answer.why, at.moment if at else "-", _cows(at),
            round(at.delay_min) if at else "-", round(at.litres) if at else "-",
            float(f"{hours:.2g}"),
        ))  # fmt: skip
    ran = sum(1 for p in worth.pairs if pair_name(*p) in day)
    return Table("failures.pairs", "Two failures that stop milking together",
                 ("one", "other", "why milking stops", "worst moment", "cows in the next hour",
                  "last cow later by", "milk lost", "hours"),
                 ("", "", "", "", "", "min", "L", "h/year"), tuple(rows),
                 note=f"{analysis.pairs.asked} pairs were checked one by one; "
                      f"{analysis.pairs.independent} were proven independent on the graph and "
                      f"counted, not asked. {ran} of those that stop milking were run on the "
                      "simulated day.")  # fmt: skip


OUT_NOTE = (
    "Nothing: the rest of the plant needs no hand. The machine itself is locked off, shut off, "
    "vented and emptied first; where no valve of its own shuts it off, it stands still and stays "
    "closed until milk and vacuum are off."
)
"""Stands with what may be out: that milking goes on says nothing of opening a machine."""


def service(found: Sequence[Out]) -> Table:
    """What may be out during milking."""
    rows: list[Row] = [
        (o.machine, o.title, "yes" if o.goes_on else "no", o.why if not o.goes_on else
         "; ".join(a.text for a in o.acts) or "nothing", round(o.minutes, 1),
         ", ".join(o.then_stops) or ("none" if o.goes_on else "-"))
        for o in found
    ]  # fmt: skip
    return Table("failures.service", "Out for service during milking",
                 ("tag", "machine", "can be out", "before it goes out, or why not", "acts take",
                  "what would then stop milking"), ("", "", "", "", "min", ""), tuple(rows),
                 note=OUT_NOTE)  # fmt: skip


def gain_table(found: Sequence[Gain], currency: str) -> Table:
    """What each second machine would buy."""
    priced = any(g.cost is not None for g in found)
    columns: tuple[str, ...] = ("change", "for", "saves", "saves milk", "worth it")
    units: tuple[str, ...] = ("", "", "h/year", "L/year", "")
    rows: list[Row] = []
    for g in found:
        verdict = (
            "not worth it for this alone" if g.hours_year < 0.5 and g.litres_year < 200 else "yes"
        )
        row: Row = (g.what, g.machine, _few(g.hours_year), round(g.litres_year), verdict)
        rows.append((*row, g.cost if g.cost is not None else "-") if priced else row)
    if priced:
        columns, units = (*columns, "cost"), (*units, currency)
    return Table("failures.gains", "What each added redundancy would buy", columns, units,
                 tuple(rows),
                 note="Sorted by hours a year" + (" for each unit of cost." if priced else
                      "; no costs were given.") + " Half an hour or 200 L a year is taken as "
                      "the least worth a change.")  # fmt: skip


def shelf(analysis: Analysis, worth: Worth) -> Table:
    """Parts to keep, and what their lack costs."""
    parts: dict[tuple[str, str], list[Cost]] = {}
    for cost in worth.costs:
        part = cost.case.event.failure.part
        felt = cost.case.stops or cost.hours_each > 0 or cost.litres_each > 0
        if part and felt:
            kind = type(analysis.plant.equipment[cost.case.event.machine]).TITLE
            parts.setdefault((part, kind), []).append(cost)
    rows: list[Row] = []
    for (part, kind), costs in parts.items():
        tags = ", ".join(dict.fromkeys(c.case.event.machine for c in costs))
        often = sum(analysis.rates[c.case.event.id].a_year for c in costs)
        rows.append((part, kind, tags, _few(often), round(sum(c.hours_year for c in costs), 2)))
    rows.sort(key=lambda r: (-float(r[4]), -float(r[3]), str(r[0])))
    return Table("failures.shelf", "What must be on the shelf",
                 ("part", "of", "fits", "failures take", "milking time at stake"),
                 ("", "", "", "1/year", "h/year"), tuple(rows))  # fmt: skip


def lives(analysis: Analysis) -> Table:
    """The failure data used, with source and range."""
    used = dict.fromkeys(k for c in analysis.cases for k, _ in analysis.rates[c.event.id].shares)
    rows: list[Row] = []
    for key in sorted(used):
        life = LIVES[key]
        value = analysis.rules[f"life.{key}"]
        known = value.confidence.replace("_", " ")
        place = "wet" if life.wet else "damp" if life.damp else "dry"
        rows.append((f"life.{key}", life.title, life.beta, value.value, life.low_h, life.high_h,
                     place, value.source, known))  # fmt: skip
    return Table("failures.lives", "Lives used", ("rule", "part", "shape", "characteristic life",
                 "low", "high", "place", "source", "known"),
                 ("", "", "", "h", "h", "h", "", "", ""), tuple(rows),
                 note="Replace a life by writing its rule in the limits file; repair times by "
                      "`failures.repair_factor`. Wet parts have shorter lives by "
                      "`reliability.wet_divisor`, damp ones by "
                      "`reliability.damp_divisor`.")  # fmt: skip
