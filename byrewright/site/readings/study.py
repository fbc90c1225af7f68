"""What the readings say of the plant: measured, predicted, limit, and a verdict with its doubt.

Each figure is worked out by `byrewright.traces`, its limit is the rulebook's, and what the plant
should read is the finding of the study that owns it. The instrument's uncertainty is taken in: a
figure that may lie on either side of its limit is `unknown`, and says which reading would decide.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from itertools import pairwise
from statistics import median

from byrewright.errors import ByrewrightError
from byrewright.plant.machine import Machine
from byrewright.plant.plant import Plant
from byrewright.plant.problems import nearest
from byrewright.results import Result, ResultBuilder, Table
from byrewright.site.readings.figure import Figure, Mark, Measured, unfit
from byrewright.site.readings.files import ReadFile, Reading, ReadingsError
from byrewright.site.readings.wash import study_wash
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import duty_of
from byrewright.studies.sizing.tank_cooling import wanted_of
from byrewright.traces.hidden import HUNTS_SHARE, STIR_K, STIR_S, hunting, stirs
from byrewright.traces.level import dips, let_in, level, share_within
from byrewright.traces.milk import CowMilking, cow_milkings, herd_figures
from byrewright.traces.pulsation import Pulsation, limping_points, pulsation
from byrewright.traces.temperature import fillings
from byrewright.traces.trace import Swapped, TraceUnfit
from byrewright.traces.work import running

LEAST_PHASE_MS = 2.0
STEP_SHARE = 0.4
"""Doubt of a phase: 2 ms, or so much of a sample's step (tests/traces)."""
WASH_RETURNS = ("wash_return_temperature", "wash_return_conductivity")
"""What only a record of a wash holds."""
TIMED_S = 60.0
DIPS_SHOWN = 12
EVENTS = "vacuum.events"
"""The table of the transient study that tells how far the vacuum falls at each event."""
ALIKE_KPA, ALIKE_SHARE = 0.3, 0.3
"""A dip is as deep as an event of the model within this (byrewright's own choice)."""
NO_VACUUM_KPA = 10.0
"""A record of working vacuum goes higher than this, whatever the plant."""


def study_readings(plant: Plant, rules: Rulebook, files: Sequence[ReadFile], predicted: Result,
                   marks: Sequence[Mark] = ()) -> Result:  # fmt: skip
    """The figures of all files as a result; see `worked_out`."""
    return worked_out(plant, rules, files, predicted, marks)[0]


def worked_out(
    plant: Plant,
    rules: Rulebook,
    files: Sequence[ReadFile],
    predicted: Result,
    marks: Sequence[Mark] = (),
) -> tuple[Result, list[Figure]]:
    """The figures of all files, as a result and one by one.

    `predicted` holds the findings of the studies asked beforehand.

    Raises:
        ByrewrightError: a tag that the plant has not, or a file given twice.
    """
    _refuse_doubles(files)
    ctx = StudyContext(plant, rules, ResultBuilder("readings", plant.site.name))
    measured = Measured(ctx, predicted)
    for file in files:
        ctx.notes.notes.extend(file.notes)
        for one in file.readings:
            _tag(plant, one)
    every = [r for f in files for r in f.readings]
    _pulsation(measured, [r for r in every if r.channel.quantity == "chamber_vacuum"])
    washes = {r.file for r in every if r.channel.quantity in WASH_RETURNS}
    _vacuum(measured, [r for r in every if r.channel.quantity == "vacuum"], marks, washes)
    for file in files:
        _milkline(measured, file)
    _tanks(measured, [r for r in every if r.channel.quantity == "tank_temperature"])
    study_wash(measured, files)
    _machines(measured, [r for r in every if r.channel.quantity in ("power", "current")])
    _milk(measured, [r for r in every if r.channel.quantity == "milk_flow"])
    ctx.notes.tables.insert(
        0,
        Table(
            "measured",
            "Measured beside predicted",
            ("figure", "at", "measured", "plus or minus", "unit", "predicted", "difference",
             "limit", "verdict", "file"),
            ("",) * 10,
            tuple(measured.rows),
            "The verdict takes the uncertainty in; near a limit it is unknown. A figure without a "
            "limit has no verdict.",
        ),
    )  # fmt: skip
    return ctx.notes.result(), measured.figures


READ_AT: Mapping[str, str] = {"chamber_vacuum": "pulsates", "tank_temperature": "stores milk"}
"""What a machine must do for a quantity to be read at it, where that is sure."""


def _refuse_doubles(files: Sequence[ReadFile]) -> None:
    seen: dict[str, ReadFile] = {}
    for one in files:
        if one.sha256 in seen:
            raise ByrewrightError(
                f"{one.path}: holds the same readings as {seen[one.sha256].path}; give it once"
            )
        seen[one.sha256] = one


def _tag(plant: Plant, one: Reading) -> Machine:
    machine = plant.equipment.get(one.channel.at)
    if machine is None:
        raise ByrewrightError(
            f"{one.file}: column {one.heading}: the plant has no machine "
            f"{one.channel.at}{nearest(one.channel.at, plant.equipment)}"
        )
    needed = READ_AT.get(one.channel.quantity)
    if needed is not None and not machine.can(needed):
        there = ", ".join(m.id for m in plant.able(needed)) or "none"
        quantity = one.channel.quantity.replace("_", " ")
        raise ByrewrightError(
            f"{one.file}: column {one.heading}: no {quantity} is read at {machine.id}, "
            f"{machine.title}; the plant has {there}"
        )
    if one.number is not None and not 1 <= one.number <= machine.count:
        raise ByrewrightError(
            f"{one.file}: is number {one.number} by its name, but {machine.id} stands for "
            f"{machine.count} machines"
        )
    return machine


def _pulsation(measured: Measured, chambers: Sequence[Reading]) -> None:
    halves: dict[tuple[str, str], list[tuple[Reading, Pulsation]]] = {}
    edge = measured.ctx.number("vacuum.test.phase_d_vacuum_kpa")
    for one in chambers:
        try:
            found = pulsation(one.trace, edge)
        except TraceUnfit as error:
            unfit(measured, one, error, "pulsation")
            continue
        halves.setdefault((one.file, one.channel.at), []).append((one, found))
        _one_half(measured, one, found)
    for pair in halves.values():
        if len({r.channel.half for r, _ in pair}) == 2:
            (one, a), (_, b) = pair[:2]
            whole = one.where.partition(",")[0]
            points = limping_points(a, b)
            measured.add(
                "limping", "Limping", points, "%", 2 * _doubt_pct(one, a),
                f"The halves at {whole} have ratios of {a.ratio_pct:.1f} and "
                f"{b.ratio_pct:.1f} %.",
                of=one, rule="vacuum.test.limping_points", sense="at_most",
                formula="|ratio 1 - ratio 2|", decides="a quicker instrument", where=whole,
            )  # fmt: skip


def _doubt_ms(one: Reading) -> float:
    return max(LEAST_PHASE_MS, STEP_SHARE * 1000.0 * one.trace.step_s)


def _doubt_pct(one: Reading, found: Pulsation) -> float:
    return 100.0 * _doubt_ms(one) / found.cycle_ms


def _one_half(measured: Measured, one: Reading, found: Pulsation) -> None:
    machine = measured.ctx.plant.equipment[one.channel.at]
    rate = getattr(machine, "rate_per_min", None)
    ratio = getattr(machine, "ratio_pct", None)
    points, ms = _doubt_pct(one, found), _doubt_ms(one)
    shares = ", ".join(
        f"{n} {t:.0f} ms"
        for n, t in zip("abcd", (found.a_ms, found.b_ms, found.c_ms, found.d_ms), strict=True)
    )
    says = f"{one.where}: {found.rate_per_min:.2f} a minute over {found.cycles} cycles; {shares}."
    if rate:
        measured.add(
            "pulsation_rate", "Pulsation rate away from its setting",
            100.0 * abs(found.rate_per_min - rate) / rate, "%", 0.1, says, of=one,
            rule="vacuum.test.pulsation_rate_pct", sense="at_most",
            formula="|rate - setting| / setting",
        )  # fmt: skip
    if ratio:
        measured.add(
            "pulsator_ratio", "Pulsator ratio away from its setting",
            abs(found.ratio_pct - ratio), "%", points, says, of=one,
            rule="vacuum.test.pulsator_ratio_points", sense="at_most",
            predicts="vacuum.test.pulsator_ratio", formula="|(a + b) / (a + b + c + d) - setting|",
            decides="a quicker instrument",
        )  # fmt: skip
    for key, title, value, unit, doubt in (
        ("phase_b", "Phase b", found.b_pct, "%", points),
        ("phase_d", "Phase d", found.d_pct, "%", points),
        ("phase_d_ms", "Phase d, time", found.d_ms, "ms", ms),
    ):
        rule = f"vacuum.test.{key.removesuffix('_ms')}_least_{'ms' if unit == 'ms' else 'pct'}"
        measured.add(
            key, title, value, unit, doubt, says, of=one, rule=rule, sense="at_least",
            predicts=f"vacuum.test.{key}", formula="phases at 4 kPa from both ends",
            decides="a quicker instrument",
        )  # fmt: skip


def _vacuum(
    measured: Measured, channels: Sequence[Reading], marks: Sequence[Mark], washes: Collection[str]
) -> None:
    """The vacuum's level and events; `washes` are the files that record a wash."""
    limit = measured.ctx.number("vacuum.cups_fall_kpa")
    events: list[tuple[float | str, ...]] = []
    for one in channels:
        doubt = one.channel.uncertainty or 0.0
        found = level(one.trace, limit)
        if found.most_kpa < NO_VACUUM_KPA:
            unfit(measured, one, TraceUnfit(
                f"it never reaches {NO_VACUUM_KPA:g} kPa: the plant stood still, or its unit is "
                "another"), "vacuum")  # fmt: skip
            continue
        measured.add(
            "vacuum", "Vacuum, mean", found.mean_kpa, "kPa", doubt,
            f"{one.channel.at} stood at {found.mean_kpa:.2f} kPa on average, between "
            f"{found.least_kpa:.1f} and {found.most_kpa:.1f}.",
            of=one, predicts="vacuum.steady.milking", formula="mean over time",
        )  # fmt: skip
        measured.add(
            "under_limit", f"Longest time under {limit:g} kPa", found.longest_under_limit_s, "s",
            one.trace.step_s,
            f"{one.channel.at} lay under {limit:g} kPa for {found.under_limit_s:.1f} s in all.",
            of=one, rule="vacuum.cups_fall_after_s", sense="at_most",
            formula="longest stretch below the vacuum at which cups fall",
            decides="a quicker instrument",
        )  # fmt: skip
        # Slugs of a wash come as regularly as a control hunts.
        if not marks and one.file not in washes:
            _hunting(measured, one)
        for mark in marks:
            _mark(measured, one, mark)
        if one.trace.lasts_s > TIMED_S and not marks:
            events += [
                (one.file, one.channel.at, round(d.start_s, 1), round(d.lasts_s, 1),
                 round(d.away_kpa, 2), _like(measured, d.away_kpa))
                for d in sorted(dips(one.trace), key=lambda d: d.away_kpa)[:DIPS_SHOWN]
            ]  # fmt: skip
    if events:
        measured.ctx.notes.tables.append(
            Table(
                "dips", "When the vacuum left its level by 1 kPa or more",
                ("file", "at", "from", "lasts", "away", "as deep as the model has it for"),
                ("", "", "s", "s", "kPa", ""),
                tuple(events), f"The deepest {DIPS_SHOWN} of each channel.",
            )
        )  # fmt: skip


def _hunting(measured: Measured, one: Reading) -> None:
    """A control that hunts, where the spectrum shows it."""
    found = hunting(one.trace)
    if found is not None:
        measured.add(
            "hunting", "Swing of the vacuum at one period", found.swing_kpa, "kPa",
            0.1, f"The vacuum at {one.channel.at} swings by {found.swing_kpa:.2f} kPa either way "
            f"every {found.period_s:.3g} s, {100 * found.share:.0f} % of all its swing: its "
            "control hunts, or something runs at that pace.",
            of=one, formula="strongest line of the spectrum, at "
            f"{100 * HUNTS_SHARE:.0f} % of all swing or more (our choice)",
        )  # fmt: skip


def _like(measured: Measured, away_kpa: float) -> str:
    """The event of the transient study that goes as deep; "" where none does."""
    near: list[tuple[float, str]] = []
    for table in measured.predicted.tables:
        if table.key == EVENTS:
            at, drop = table.columns.index("event"), table.columns.index("drop")
            for row in table.rows:
                off = abs(-away_kpa - float(row[drop]))
                if off <= max(ALIKE_KPA, ALIKE_SHARE * float(row[drop])):
                    near.append((off, str(row[at])))
    return min(near)[1] if near else ""


def _mark(measured: Measured, one: Reading, mark: Mark) -> None:
    try:
        found = let_in(one.trace, mark.opened_s, mark.shut_s)
    except TraceUnfit as error:
        unfit(measured, one, error, f"{mark.what}_test")
        return
    # A difference of two readings of one instrument: its zero cancels, its noise does not.
    doubt = 0.1
    what = "fall-off" if mark.what == "fall_off" else "attachment"
    says = (
        f"{what.capitalize()} at {mark.opened_s:g} s: from {found.before_kpa:.2f} kPa down to "
        f"{found.least_kpa:.2f}, settled at {found.during_kpa:.2f}, highest after "
        f"{found.most_kpa:.2f}."
    )
    for key, title, value in (
        (f"{mark.what}_drop", f"Drop by {what}", found.drop_kpa),
        ("undershoot", "Regulation undershoot", found.undershoot_kpa),
        ("overshoot", "Regulation overshoot", found.overshoot_kpa),
    ):
        measured.add(
            key, title, value, "kPa", doubt, says, of=one, rule=f"vacuum.test.{key}_kpa",
            sense="at_most", predicts=f"vacuum.test.{key}", formula="means over half a second",
        )  # fmt: skip


def _milkline(measured: Measured, file: ReadFile) -> None:
    receiver = next((r for r in file.readings if r.channel.quantity == "vacuum"), None)
    most = measured.ctx.number("milkline.drop_limit_kpa")
    for one in file.readings:
        claw = one.channel.quantity == "claw_vacuum"
        if not claw and one.channel.quantity != "milkline_vacuum":
            continue
        if receiver is None:
            unfit(measured, one, TraceUnfit("the file has no receiver beside it"), "milkline")
            continue
        try:
            share, slugs = share_within(one.trace, receiver.trace, most)
        except Swapped as error:  # then what the receiver told is not the receiver's either
            raise ReadingsError(f"{file.path}: column {one.heading}: {error}") from None
        except TraceUnfit as error:
            unfit(measured, one, error, "milkline")
            continue
        if claw:
            _claw(measured, one, receiver, share, slugs)
            continue
        measured.add(
            "milkline", "Time within 2 kPa of the receiver", 100.0 * share, "%", 0.5,
            f"{one.channel.at} stood within {most:g} kPa of {receiver.channel.at} for "
            f"{100 * share:.1f} % of the time; {slugs} slugs passed.",
            of=one, rule="milkline.drop_share_of_time_pct", sense="at_least",
            formula="time with |receiver - line| within 2 kPa / whole time",
            decides="a longer record",
        )  # fmt: skip


def _claw(measured: Measured, one: Reading, receiver: Reading, share: float, slugs: int) -> None:
    """What a claw's trace tells; no limit of its own is held to it."""
    found = level(one.trace, measured.ctx.number("vacuum.cups_fall_kpa"))
    says = (
        f"The claw of {one.where} stood at {found.mean_kpa:.1f} kPa on average, between "
        f"{found.least_kpa:.1f} and {found.most_kpa:.1f}; within 2 kPa of {receiver.channel.at} "
        f"for {100 * share:.1f} % of the time; {slugs} slugs."
    )
    measured.add(
        "claw_vacuum", "Vacuum at the claw, mean", found.mean_kpa, "kPa",
        one.channel.uncertainty or 0.0, says, of=one, formula="mean over time",
    )  # fmt: skip
    measured.add(
        "claw_within", "Claw within 2 kPa of the receiver", 100.0 * share, "%", 0.5, says, of=one,
        formula="time with |receiver - claw| within 2 kPa / whole time",
    )  # fmt: skip


def _tanks(measured: Measured, channels: Sequence[Reading]) -> None:
    ctx = measured.ctx
    wanted = wanted_of(ctx, duty_of(ctx).largest.hours) if channels else None
    rows: list[tuple[float | str, ...]] = []
    for one in channels:
        doubt = one.channel.uncertainty if one.channel.uncertainty is not None else 0.5
        cold = wanted.limit_c if wanted else 4.0
        try:
            found = fillings(one.trace, cold)
        except TraceUnfit as error:
            unfit(measured, one, error, "tank_cooling")
            continue
        for filling in found:
            took = filling.cooled_in_s
            rows.append(
                (one.channel.at, round(filling.start_s / 3600, 2), round(filling.from_c, 1),
                 round(filling.warmest_c, 1), "" if took is None else round(took / 3600, 2))
            )  # fmt: skip
        if not found:
            continue
        warmest = max(f.warmest_c for f in found[1:] or found)
        measured.add(
            "tank_blend", "Warmest blend", warmest, "degC", doubt,
            f"{one.channel.at} took in milk {len(found)} times; the warmest blend was "
            f"{warmest:.1f} degC.",
            of=one, limit=wanted.blend_c if wanted and len(found) > 1 else None,
            sense="at_most" if wanted and wanted.blend_c is not None and len(found) > 1
            else "informational",
            formula="highest mean of a minute after a milking came to milk that was cold",
        )  # fmt: skip
        _agitator(measured, one)
        _never_cold(measured, one, found[-1].cooled_in_s is None, cold)
    if rows:
        ctx.notes.tables.append(
            Table(
                "fillings", "Milkings recognised from the tank's temperature",
                ("tank", "from", "before", "warmest", "cold after"), ("", "h", "degC", "degC", "h"),
                tuple(rows), "Cold is the limit of the region's rule; empty where the record ends.",
            )
        )  # fmt: skip


def _agitator(measured: Measured, one: Reading) -> None:
    """Whether the agitator runs: it shows where it starts after a rest."""
    try:
        found = stirs(one.trace)
    except TraceUnfit as error:
        unfit(measured, one, error, "agitator")
        return
    if not found:
        unfit(measured, one, TraceUnfit("no start of it shows: it runs all the time, or never"),
              "agitator")  # fmt: skip
        return
    apart = [(b - a) / 60.0 for a, b in pairwise(found)]
    often = f", {median(apart):.0f} min apart" if len(found) > 1 else ""
    measured.add(
        "agitator", "Starts of the agitator", float(len(found)), "", 1.0,
        f"The agitator of {one.channel.at} started {len(found)} times{often}: the temperature "
        "jumps where it mixes layers.",
        of=one, formula=f"jumps of {STIR_K:g} K or more within {STIR_S / 60:g} min after a rest "
        "(our choice)",
    )  # fmt: skip


def _never_cold(measured: Measured, one: Reading, open_end: bool, cold_c: float) -> None:
    if open_end:
        unfit(measured, one, TraceUnfit(f"it ends before the milk was at {cold_c:g} degC"),
               "tank_cooling")  # fmt: skip


def _machines(measured: Measured, channels: Iterable[Reading]) -> None:
    rows: list[tuple[float | str, ...]] = []
    for one in channels:
        try:
            found = running(one.trace)
        except TraceUnfit as error:
            unfit(measured, one, error, "running")
            continue
        unit = "kW" if one.channel.quantity == "power" else "A"
        rows.append(
            (one.channel.at, found.starts, round(found.hours, 3), round(100 * found.share, 1),
             round(found.load, 2), unit, "" if found.inrush is None else round(found.inrush, 1))
        )  # fmt: skip
        measured.add(
            "running", "Share of the time running", 100.0 * found.share, "%", 0.5,
            f"{one.channel.at} started {found.starts} times and ran {found.hours:.2f} h at "
            f"{found.load:.1f} {unit}.",
            of=one, formula="time above the threshold between idle and load",
        )  # fmt: skip
    if rows:
        measured.ctx.notes.tables.append(
            Table(
                "running", "Starts and hours of machines",
                ("machine", "starts", "ran", "share", "at", "unit", "inrush"),
                ("", "", "h", "%", "", "", ""), tuple(rows),
                "Inrush is given where the instrument read at least five times a second.",
            )
        )  # fmt: skip


def _milk(measured: Measured, channels: Sequence[Reading]) -> None:
    cows: list[CowMilking] = [c for one in channels for c in cow_milkings(one.trace)]
    if not channels:
        return
    if len(cows) < 2:
        unfit(measured, channels[0], TraceUnfit(f"it holds {len(cows)} whole milkings"), "milk_out")
        return
    found = herd_figures(cows)
    told = measured.ctx.plant.herd.milk_out_time_s
    stated = "" if told is None else f" The plant file has {told.mean:g} s and {told.std_dev:g} s."
    measured.add(
        "milk_out", "Milk-out time, mean", found.milk_out_mean_s, "s",
        2.0 * found.milk_out_mean_error_s,
        f"{found.cows} cows milked out in {found.milk_out_mean_s:.0f} s on average, standard "
        f"deviation {found.milk_out_std_dev_s:.0f} s, giving {found.yield_mean_kg:.1f} kg.{stated}",
        of=channels[0], formula="mean of the time with milk flowing",
    )  # fmt: skip
