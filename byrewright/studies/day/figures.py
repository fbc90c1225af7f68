"""Tables and series of a day."""

from __future__ import annotations

import numpy as np

from byrewright.engine import shape as sh
from byrewright.engine.kernels.loop import Z_FLOW, Z_KW, Z_SPEED, Z_UNITS, Z_VACUUM
from byrewright.results import ResultBuilder, Series, Table
from byrewright.studies.day.record import Run
from byrewright.studies.day.temperatures import stage_of

DIGITS = 6

NOT_ENDED, NOT_YET = "not ended", "-"
"""Of a milking that did not come to its end within what was simulated."""


def _n(value: float, digits: int = 3) -> float:
    """A number rounded for print; the findings hold it in full."""
    return round(float(value), digits) + 0.0


def tables(notes: ResultBuilder, run: Run) -> None:
    """Milkings, groups, cows, vessels, ways, machines and loads."""
    notes.tables += [
        _milkings(run), _groups(run), _cows(run), _vessels(run), _ways(run), _machines(run),
        _uses(run), _loads(run), _lots(run),
    ]  # fmt: skip


def _again_pct(cows: sh.Floats) -> float:
    return 100.0 * float(np.mean(cows[:, sh.O_PASSES] > 1.5)) if len(cows) else 0.0


def _milkings(run: Run) -> Table:
    rows: list[tuple[float | str, ...]] = []
    for b in run.sessions:
        off, hours = (run.clock(b.last_off_s), _n(b.hours, 2)) if b.ended else (NOT_ENDED, NOT_YET)
        rows.append(
            (b.day, b.name, run.clock(b.begun_s) if b.begun_s > 0 else NOT_YET, off, hours,
             len(b.cows), _n(run.litres(b.kg), 0), _n(_again_pct(b.cows), 1),
             _n(b.stopped_s / 60, 1), _n(b.held_s / 60, 1),
             run.clock(b.wash_end_s) if b.wash_end_s > 0 else NOT_YET)
        )  # fmt: skip
    return Table(
        "day.milkings", "Milkings", ("day", "milking", "begun", "last off", "time", "cows", "milk",
                                 "go-rounds", "stood", "waited for people", "clean at"),
        ("", "", "", "", "h", "", "L", "%", "min", "min", ""), tuple(rows),
    )  # fmt: skip


def _groups(run: Run) -> Table:
    names = [g.name for g in run.plant.herd.all_groups()]
    rows: list[tuple[float | str, ...]] = []
    for b in run.done:
        for group in np.unique(b.cows[:, sh.O_GROUP]):
            mine = b.cows[b.cows[:, sh.O_GROUP] == group]
            on = mine[:, sh.O_OFF] - mine[:, sh.O_ATTACH]
            rows.append(
                (b.day, b.name, names[int(group)], len(mine), run.clock(mine[:, sh.O_ENTER].min()),
                 run.clock(mine[:, sh.O_EXIT].max()), _n(run.litres(mine[:, sh.O_KG].sum()), 0),
                 _n(run.litres(mine[:, sh.O_KG].mean()), 2), _n(on.mean(), 0))
            )  # fmt: skip
    return Table(
        "day.groups", "Groups", ("day", "milking", "group", "cows", "first on", "last out", "milk",
                             "milk a cow", "unit on"),
        ("", "", "", "", "", "", "L", "L", "s"), tuple(rows),
    )  # fmt: skip


def _cows(run: Run) -> Table:
    rows: list[tuple[float | str, ...]] = []
    names = [g.name for g in run.plant.herd.all_groups()]
    day = max((b.day for b in run.done), default=0)
    for b in run.done:
        if b.day != day:
            continue
        for c in b.cows:
            rows.append(
                (b.name, names[int(c[sh.O_GROUP])], int(c[sh.O_ID]) + 1, run.clock(c[sh.O_ENTER]),
                 _n(c[sh.O_ATTACH] - c[sh.O_ENTER], 1), _n(c[sh.O_OFF] - c[sh.O_ATTACH], 1),
                 _n(run.litres(c[sh.O_KG]), 2), int(c[sh.O_PASSES]), int(c[sh.O_KICKS]),
                 "withheld" if c[sh.O_WITHHELD] else "")
            )  # fmt: skip
    return Table(
        "day.cows", "Cows of the last day",
        ("milking", "group", "cow", "on", "to attaching", "unit on", "milk", "turns", "kick-offs",
         "marked"),
        ("", "", "", "", "s", "s", "L", "", "", ""), tuple(rows),
        "cows are numbered in the order of the groups",
    )  # fmt: skip


def _vessels(run: Run) -> Table:
    T = run.compiled.tables
    rows: list[tuple[float | str, ...]] = []
    for i, tag in enumerate(run.compiled.names.vessels):
        if T.I[i, sh.VI_ROLE] != sh.STORE:
            continue
        v = run.vessel(tag)
        rho = run.compiled.kg_l[tag]
        over = run.clock(float(v[sh.P_OVER_AT])) if v[sh.P_OVER_AT] >= 0 else ""
        rows.append((tag, _n(run.compiled.litres[tag], 0), _n(v[sh.P_MOST] / rho, 1),
                     _n(v[sh.P_LEAST] / rho, 1), _n(v[sh.P_SPILT] / rho, 1), over))  # fmt: skip
    return Table(
        "day.vessels", "Vessels", ("vessel", "volume", "most", "least", "ran over", "first at"),
        ("", "L", "L", "L", "L", ""), tuple(rows),
    )  # fmt: skip


def _ways(run: Run) -> Table:
    branches = run.change("branches")
    rows = tuple(
        (name, _n(branches[i, sh.SJ_KG], 1)) for i, name in enumerate(run.compiled.names.branches)
        if branches[i, sh.SJ_KG] > 0
    )  # fmt: skip
    return Table("day.ways", "What went which way", ("way", "liquid"), ("", "kg"), rows)


def _machines(run: Run) -> Table:
    meters = run.change("meters")[:, 0]
    rows = tuple(
        (tag, run.plant.equipment[tag].title, _n(meters[i] / run.days, 2))
        for i, tag in enumerate(run.compiled.names.meters)
    )
    return Table(
        "day.machines", "Electricity of a day by machine", ("machine", "what", "electricity"),
        ("", "", "kWh"), rows,
    )  # fmt: skip


def _uses(run: Run) -> Table:
    thousand = max(run.milk_l / 1000, 1e-9)
    by: dict[str, float] = {}
    for i, tag in enumerate(run.compiled.names.meters):
        use = "hot water" if tag in run.compiled.names.heated else run.plant.equipment[tag].ROOM
        by[use] = by.get(use, 0.0) + float(run.change("meters")[i, 0])
    rows = tuple((use, _n(by[use] / run.days, 2), _n(by[use] / thousand, 3)) for use in sorted(by))
    return Table(
        "day.uses", "Electricity by use", ("use", "a day", "for milk"),
        ("", "kWh", "kWh/1000 L"), rows,
        "sections of the plant as the machines belong to them",
    )  # fmt: skip


def _loads(run: Run) -> Table:
    loads = run.all_loads
    rows = tuple(
        (run.clock(ld[sh.T_AT]), run.clock(ld[sh.T_LEFT]), _n(run.litres(ld[sh.T_KG]), 0),
         _n(ld[sh.T_C], 2))
        for ld in loads
    )  # fmt: skip
    return Table("day.loads", "Tanker loads", ("came", "left", "milk", "temperature"),
                 ("", "", "L", "degC"), rows)  # fmt: skip


def _lots(run: Run) -> Table:
    loads = run.change("laundry")
    rows = tuple(
        (tag, _n(loads[i, sh.SL_LOADS] / run.days, 1))
        for i, tag in enumerate(run.compiled.names.laundry)
    )
    return Table("day.lots", "Loads of cloths a day", ("machine", "loads"), ("", ""), rows)


def series(notes: ResultBuilder, run: Run) -> None:
    """Readings through the run, hours from its beginning."""
    if run.days > 7 or len(run.seen) == 0:
        notes.notes.append("Series are kept for runs of up to seven days.")
        return
    start = float(run.first.n[sh.I_STEP]) * run.compiled.step_s
    hours = tuple(_n(h, DIGITS) for h in (run.seen[:, 0] - start) / 3600)

    def line(name: str, unit: str, values: sh.Floats) -> tuple[str, str, tuple[float, ...]]:
        return name, unit, tuple(_n(v) for v in values)

    seen = run.seen
    notes.series.append(
        Series("day.milk", "Milk and units", hours, "h",
               (line("milk from all units", "L/min", seen[:, Z_FLOW] / run.compiled.milk_kg_l),
                line("units attached", "", seen[:, Z_UNITS])))
    )  # fmt: skip
    notes.series.append(
        Series("day.power", "Electric load and vacuum", hours, "h",
               (line("load", "kW", seen[:, Z_KW]), line("vacuum", "kPa", seen[:, Z_VACUUM]),
                line("pump speed", "share", seen[:, Z_SPEED])))
    )  # fmt: skip
    T = run.compiled.tables
    names = run.compiled.names
    level, warm = [], []
    for i, tag in enumerate(names.vessels):
        if T.I[i, sh.VI_ROLE] == sh.STORE:
            level.append(line(tag, "L", run.content_kg(tag) / run.compiled.kg_l[tag]))
            warm.append(line(tag, "degC", run.temperature_c(tag)))
    notes.series.append(Series("day.content", "Content of vessels", hours, "h", tuple(level)))
    notes.series.append(
        Series("day.temperature", "Temperature of vessels", hours, "h", tuple(warm),
               "of an empty vessel: its last setting")
    )  # fmt: skip
    outlets = [
        line(
            " ".join(stage_of(run.plant, name)),
            "degC",
            np.where(run.outlet_c(i) < 0, 0.0, run.outlet_c(i)),
        )
        for i, name in enumerate(names.exchangers)
    ]
    notes.series.append(
        Series("day.outlets", "Milk out of the coolers", hours, "h", tuple(outlets),
               "0 while no milk passes")
    )  # fmt: skip
