"""Tables, series and moments of a day against the record that they tell of."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.engine.kernels.loop import Z_FIRST, Z_FLOW, Z_UNITS
from byrewright.results import ResultBuilder
from byrewright.studies.day import figures, moments
from byrewright.studies.day.record import Run
from tests.studies.day_records import (
    HOUR,
    changed,
    compiled,
    random_run,
    session,
)
from tests.studies.failing import LARGE, example


@pytest.mark.parametrize("seed", [1, 3])
def test_each_reading_is_a_moment(seed: int) -> None:
    """Would fail if cows were counted before their unit was off, or a vessel held more than it
    holds, or less than shows were shown."""
    run = random_run(seed)
    draw = np.random.default_rng(seed)
    for one in run.sessions:
        cows = np.zeros((40, 10))
        cows[:, sh.O_OFF] = draw.uniform(one.begun_s, one.last_off_s, 40)
        one.cows = cows
    off = np.concatenate([s.cows[:, sh.O_OFF] for s in run.sessions])
    tag, names = "TK1", compiled().names
    full = compiled().litres[tag]
    found = moments.moments(run)
    cows = moments.cows_milked(run)
    assert cows is not None and len(found) == len(run.seen) == len(cows.x)
    begun = float(run.first.n[sh.I_STEP]) * compiled().step_s
    for row, one, hour, (count,) in zip(
        run.seen, found, cows.x, zip(cows.lines[0][2], strict=True), strict=True
    ):
        at_s = float(row[0])
        assert one.hour == hour == pytest.approx((at_s - begun) / HOUR, abs=1e-5)
        assert one.milked == count == sum(off < at_s)
        at = Z_FIRST + compiled().vessel(tag)
        litres = row[at] / compiled().kg_l[tag]
        held = one.held[tag]
        assert held.litres == pytest.approx(litres if litres >= 0.05 else 0.0)
        assert held.share == pytest.approx(min(1.0, held.litres / full))
        warm = row[at + len(names.vessels)]
        assert held.warm_c == (pytest.approx(warm) if held.share > 0.001 else None)
        does = [
            "milking" if s.begun_s <= at_s < (s.left_s or s.last_off_s) else "wash"
            for s in run.sessions
            if s.begun_s <= at_s < (s.wash_end_s if s.left_s else s.last_off_s)
        ]
        assert one.doing == next(iter(does), "idle")


@pytest.mark.parametrize("days", [1, 3])
def test_tables_of_a_day_tell_its_record(days: int) -> None:
    """Would fail if a table told kilograms for litres, seconds for minutes or all days for one."""
    kg_l, names = compiled().milk_kg_l, compiled().names
    meters, laundry = (compiled().tables.rows(s) for s in ("meters", "laundry"))

    def use(run: Run) -> None:
        run.last.items[meters, 0] += 12.0
        run.last.items[laundry, sh.SL_LOADS] += 9.0
        run.last.items[compiled().vessel("BT1"), [sh.P_MOST, sh.P_LEAST, sh.P_SPILT]] = (
            206.0, 103.0, 51.5)  # fmt: skip
        transfers = compiled().tables.rows("transfers").start
        one = next(i for i, m in enumerate(names.transfer_machines) if m in names.units)
        run.last.items[transfers + one, sh.S_KG] += 6000.0 * kg_l

    run = changed(use, days=days, loads=[[3600.0, 5400.0, 900.0 * kg_l, 3.91, 0.0]])
    cows = np.zeros((4, 10))
    cows[:, sh.O_ID], cows[:, sh.O_GROUP] = [4, 7, 9, 2], [0, 0, 1, 1]
    cows[:, sh.O_ENTER], cows[:, sh.O_EXIT] = [10, 20, 30, 40], [600, 700, 800, 900]
    cows[:, sh.O_ATTACH], cows[:, sh.O_OFF] = [15, 29, 33, 52], [315, 429, 333, 452]
    cows[:, sh.O_KG], cows[:, sh.O_PASSES] = np.array([10, 12, 8, 9]) * kg_l, [1, 2, 1, 3]
    run.sessions[:] = [session(0, "a", 1.0, 4.0, kg=39 * kg_l, cows=cows),
                       session(0, "b", 8.0, 1.0, left_s=0.0, wash_end_s=0.0)]  # fmt: skip
    notes = ResultBuilder("day", "large")
    figures.tables(notes, run)
    tables = {t.key: t.rows for t in notes.tables}
    clock = run.clock
    assert tables["day.milkings"] == (
        (0, "a", clock(3600), clock(18_000), 4.0, 4, 39.0, 50.0, 2.0, 1.0, clock(21_600)),
        (0, "b", clock(28_800), "not ended", "-", 0, round(9000 / kg_l), 0.0, 2.0, 1.0, "-"),
    )
    groups = [g.name for g in example(LARGE).herd.all_groups()]
    assert tables["day.groups"] == (
        (0, "a", groups[0], 2, clock(10), clock(700), 22.0, 11.0, 350.0),
        (0, "a", groups[1], 2, clock(30), clock(900), 17.0, 8.5, 350.0),
    )
    first, second, *_ = tables["day.cows"]
    assert first == ("a", groups[0], 5, clock(10), 5.0, 300.0, 10.0, 1, 0, "")
    assert second[4:8] == (9.0, 400.0, 12.0, 2)
    assert {r[2] for r in tables["day.machines"]} == {12 / days}
    assert {r[1] for r in tables["day.lots"]} == {9 / days}
    assert sum(r[1] for r in tables["day.uses"]) == pytest.approx(12 * len(names.meters) / days)
    for _, each, for_milk in tables["day.uses"]:
        assert for_milk == pytest.approx(each * days / 6, abs=6e-4)
    assert tables["day.loads"] == ((clock(3600), clock(5400), 900.0, 3.91),)
    tank = next(r for r in tables["day.vessels"] if r[0] == "BT1")
    assert tank[2:5] == tuple(round(kg / compiled().kg_l["BT1"], 1) for kg in (206, 103, 51.5))


def test_series_of_a_day_are_its_readings() -> None:
    """Would fail if a line of a figure were of another vessel, or in kilograms."""
    run = random_run(2)
    names = compiled().names
    run.seen[:, Z_FLOW], run.seen[:, Z_UNITS] = 103.0, 46
    notes = ResultBuilder("day", "large")
    figures.series(notes, run)
    lines = {(s.key, name): v for s in notes.series for name, _, v in s.lines}
    milk = lines["day.milk", "milk from all units"]
    assert set(milk) == {round(103 / compiled().milk_kg_l, 3)}
    assert set(lines["day.milk", "units attached"]) == {46.0}
    at = Z_FIRST + compiled().vessel("TK1")
    litres = run.seen[:, at] / compiled().kg_l["TK1"]
    assert lines["day.content", "TK1"] == pytest.approx(litres.tolist(), abs=6e-4)
    warm = run.seen[:, at + len(names.vessels)]
    assert lines["day.temperature", "TK1"] == pytest.approx(warm.tolist(), abs=6e-4)
    begun = float(run.first.n[sh.I_STEP]) * compiled().step_s
    hours = (run.seen[:, 0] - begun) / HOUR
    assert notes.series[0].x == pytest.approx(hours.tolist(), abs=1e-5)
    for days, kept in ((7, True), (8, False)):
        notes = ResultBuilder("day", "large")
        figures.series(notes, replace(run, days=days))
        assert bool(notes.series) is kept
