"""What a failure does on the simulated day, read from states that are written by hand.

No day is run here but the one that the example is compiled for: rows of a script are played again
one by one, and measures are taken of states whose numbers stand in the test.
"""

from __future__ import annotations

import random
from functools import cache
from typing import Any

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.engine.compiled import compile_plant
from byrewright.plant.primitives import DrawsAir, Units
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.failures import runs
from byrewright.studies.failures.consequence import Consequence
from byrewright.studies.failures.runs import Field, Moment
from byrewright.studies.failures.script import MODE_CHANGE, Item, Script, Stage
from tests.studies.failing import LARGE, example

HOUR = 3600.0


@cache
def where() -> Field:
    """The large example, compiled without its vacuum and with no day run."""
    one = Field.__new__(Field)
    one.plant = example(LARGE)
    one.compiled = one.plain = compile_plant(one.plant, default_rulebook())
    one.variants = {(): 0, (("V40", "closed"),): 1, (("V41", "closed"),): 2}
    return one


def vessel(tag: str) -> int:
    """The row of a vessel."""
    return where().compiled.tables.rows("vessels").start + where().compiled.vessel(tag)


def moment(step: int = 20_000) -> Moment:
    """A moment in the state of the start."""
    state = where().compiled.start.copy()
    return Moment("here", step, runs._fresh(state, where().compiled))


def ways(item: str, tag: str) -> set[tuple[int, int]]:
    """The rows of the engine that belong to a machine, by the names that the engine gives them."""
    names, tables = where().compiled.names, where().compiled.tables
    field = {"pumps": sh.ROW_PUMP, "chillers": sh.ROW_CHILL, "heated": sh.ROW_HEATER,
             "laundry": sh.ROW_LAUNDRY, "compressors": sh.ROW_COMPRESSOR,
             "filters": sh.ROW_FILTER, "vessels": sh.ROW_LEVEL}  # fmt: skip
    sections = {"filter": ("filters",), "level": ("vessels",)}.get(
        item, ("pumps", "chillers", "heated", "laundry", "compressors")
    )
    return {
        (tables.rows(s).start + i, field[s])
        for s in sections
        for i, name in enumerate(getattr(names, s))
        if name == tag
    }


def settings(draw: random.Random) -> tuple[tuple[Item, str, float], ...]:
    """What a stage may change of this plant."""
    every: list[tuple[Item, str, float]] = [
        ("machine", "VP1", 0.0), ("machine", "CH2", 0.4), ("machine", "WH1", 0.0),
        ("machine", "AC2", 0.0), ("machine", "CW1", 0.0), ("filter", "MF2", 0.0),
        ("level", "RC1", 1.0), ("level", "BT1", 0.0), ("drive", "", 0.6), ("gate", "", 0.7),
        ("halt", "", 1.0), ("vacuum air", "", 300.0), ("air leak", "", 1.0),
    ]  # fmt: skip
    return tuple(sorted(draw.sample(every, draw.randint(0, 5))))


def expected(stage: Stage) -> dict[tuple[int, int], float]:
    """By row and field what holds in a stage, where it is not as usual."""
    found: dict[tuple[int, int], float] = {}
    units = [p for m in where().plant.equipment.values() for p in m.lower()]
    air = sum(p.each_l_min_free for p in units if isinstance(p, DrawsAir))
    air += sum(p.air_l_min_free for p in units if isinstance(p, Units))
    general = {"drive": sh.ROW_DRIVE, "gate": sh.ROW_GATE}
    for item, tag, value in stage.settings:
        if item in general:
            found[0, general[item]] = value
        elif item == "vacuum air":
            found[0, sh.ROW_VACUUM_AIR] = pytest.approx(value / air)
        elif item == "air leak":
            found[0, sh.ROW_AIR_LEAK] = runs.AIR_LEAK_NL_S
        elif item == "level":
            (row,) = ways(item, tag)
            found[row] = value * where().compiled.tables.F[row[0], sh.V_CAP]
        elif item != "halt":
            found |= dict.fromkeys(ways(item, tag), value)
    if any(item == "halt" for item, _, _ in stage.settings):
        pumps = where().compiled.tables.rows("pumps")
        found |= {(i, sh.ROW_PUMP): 0.0 for i in range(pumps.start, pumps.stop)}
    if stage.valves:
        found[0, sh.ROW_ROUTE] = where().variants[stage.valves]
    return found


USUAL = {sh.ROW_LEVEL: -1.0, sh.ROW_ROUTE: 0.0, sh.ROW_VACUUM_AIR: 0.0, sh.ROW_AIR_LEAK: 0.0}


@pytest.mark.parametrize("seed", range(12))
def test_rows_played_again_hold_what_each_stage_says_until_all_is_as_before(seed: int) -> None:
    """Would fail if something broke too soon, stayed broken after its repair, or came back while a
    later stage still has it broken."""
    draw = random.Random(seed)
    valves = [(), *(v for v in where().variants if v)]
    times = sorted(draw.sample(range(0, 5000), 3))
    stages = tuple(Stage(float(t), settings(draw), draw.choice(valves)) for t in times)
    script = Script(stages, draw.choice((5000.0, times[2] - 0.5)))
    start = moment()
    rows = where().rows(script, start)
    assert list(rows) == sorted(rows, key=lambda r: r[0]) and all(r[1] == runs.RANK for r in rows)
    lasting = [s for s in stages if s.after_s <= script.repair_s]
    last_s = [s.after_s for s in lasting[1:]] + [script.repair_s]
    for stage, end_s in zip(lasting, last_s, strict=True):
        for at_s in (stage.after_s, end_s - 1):
            now: dict[tuple[int, int], float] = {}
            for step, _, target, field, value in rows:
                if step <= start.step + at_s:
                    now[target, field] = value
            asked = expected(stage)
            for key in {*now, *asked}:
                usual = USUAL.get(key[1], 1.0)
                assert now.get(key, usual) == asked.get(key, usual), (at_s, key)
    after: dict[tuple[int, int], float] = {(r[2], r[3]): r[4] for r in rows}
    assert all(value == USUAL.get(key[1], 1.0) for key, value in after.items())
    only = Script(stages, script.repair_s, only=MODE_CHANGE)
    assert where().rows(only, start) == ()


def measured(change: Any, base: Any = lambda *_: None, hours: float = 5.0) -> Consequence:
    """What is measured of a day that `change` has made of an undisturbed one."""
    start = moment()
    plain = start.state.copy()
    plain.n[sh.I_STEP] = start.step + round(hours * HOUR / where().compiled.step_s)
    base(plain)
    mine = plain.copy()
    change(mine)
    return where()._measure(start, mine.copy(), plain.copy(), mine, plain, False)


def test_only_milk_that_is_gone_is_lost() -> None:
    """Would fail if wash, milk in a tank or what was lost anyhow counted as lost by a failure."""
    gone = {t for t in where().compiled.names.vessels if t in ("(lost)", "(drain)")}
    gone |= {m.id for m in where().plant.equipment.values() if m.KIND == "floor_drain"}
    kg_l = where().compiled.milk_kg_l

    def before(state: sh.State) -> None:
        state.items[vessel("(lost)"), sh.MILK] = 50.0

    for tag in where().compiled.names.vessels:

        def spill(state: sh.State, tag: str = tag) -> None:
            state.items[vessel(tag), sh.MILK] += 300.0
            state.items[vessel(tag), sh.MILK + 1] += 500.0

        assert measured(spill, before).litres == pytest.approx(300 / kg_l if tag in gone else 0.0)

    def a_little(state: sh.State) -> None:
        state.items[vessel("(lost)"), sh.MILK] += 0.4

    assert measured(a_little).litres == 0.0


def test_milk_is_first_lost_where_a_vessel_of_milk_first_runs_over() -> None:
    """Would fail if a water tank that runs over were told as milk lost, a vessel that runs over
    anyhow, or the later of two."""
    began = moment().step * where().compiled.step_s
    holds = {m.id for m in where().plant.equipment.values()
             if m.can("holds milk") or m.can("stores milk")}  # fmt: skip
    told = set()
    for tag in where().compiled.names.vessels:

        def over(state: sh.State, tag: str = tag) -> None:
            state.items[vessel(tag), sh.P_OVER_AT] = began + 900.0

        after = measured(over).loss_after_min
        assert after in (None, 15.0)
        told |= {tag} if after else set()
        assert measured(lambda _: None, over).loss_after_min is None
    assert holds - told <= {"TB1"} and not {"WT1", "WH1", "TR1", "CH1"} & told

    def two(state: sh.State) -> None:
        for tag, after_s in (("RC1", 1800.0), ("BT1", 600.0), ("WT1", 60.0)):
            state.items[vessel(tag), sh.P_OVER_AT] = began + after_s

    assert measured(two).loss_after_min == 10.0


def test_an_hour_of_cows_the_longest_delay_and_the_longest_stand() -> None:
    """Would fail if cows of another hour were counted, or a delay taken of the wrong milking."""
    began = moment().step * where().compiled.step_s

    def base(state: sh.State) -> None:
        for milking, (asked, off, wash) in enumerate(((began, 9.0, 9.5), (began + 1, 12.0, 12.5))):
            state.session[milking, [sh.B_ASKED, sh.B_LAST_OFF, sh.B_WASH_BEGUN]] = (
                asked, began + off * HOUR, began + wash * HOUR)  # fmt: skip
        state.out[0, :6, sh.O_OFF] = began + np.array([0.0, 1.0, 1800.0, 3600.0, 3601.0, 9000.0])
        state.g[[sh.G_LOST_MILK_S, sh.G_STOPPED, sh.G_COST]] = 60.0, 240.0, 7.0

    def later(state: sh.State) -> None:
        state.session[0, sh.B_LAST_OFF] += 20 * 60
        state.session[1, sh.B_LAST_OFF] += 50 * 60
        state.out[0, 1:3, sh.O_OFF] += 4000.0
        state.g[[sh.G_LOST_MILK_S, sh.G_STOPPED, sh.G_COST]] += 120.0, 300.0, 2.5

    found = measured(later, base)
    assert (found.cows_h_before, found.cows_h) == (3, 1)
    assert found.delay_min == 50.0 and found.stood_min == 7.0 and found.energy_cost == 2.5

    def unended(state: sh.State) -> None:  # neither washes yet: what goes on is late by now
        later(state)
        state.session[1, sh.B_WASH_BEGUN] = 0.0

    assert measured(unended, base, 13.5).delay_min == 90.0

    def quicker(state: sh.State) -> None:
        state.session[0, sh.B_LAST_OFF] -= 600.0
        state.g[sh.G_STOPPED] -= 100.0
        state.session[1, sh.B_ASKED] += 1.0  # another milking by now
        state.session[1, sh.B_LAST_OFF] += 6000.0

    found = measured(quicker, base)
    assert found.delay_min == found.stood_min == 0.0


def test_the_warmest_milk_and_the_coldest_wash() -> None:
    """Would fail if milk in the tanker or out of a first stage were told, or the warmer wash."""
    began = moment().step * where().compiled.step_s
    cooler = where().compiled.tables.rows("exchangers").start

    def base(state: sh.State) -> None:
        state.items[vessel("TK1"), sh.P_WARMEST] = 4.0
        state.items[vessel("TB1"), sh.P_WARMEST] = 30.0
        state.items[[cooler, cooler + 1], sh.SX_WARMEST] = 19.0, 5.0
        state.session[:3, sh.B_WASH_END] = began - 10, began + 10, began + 20
        state.session[:3, sh.B_RETURN_C] = 20.0, 55.0, 50.0

    def warm(state: sh.State) -> None:
        state.items[vessel("TK1"), sh.P_WARMEST] = 7.5
        state.items[vessel("TB1"), sh.P_WARMEST] = 35.0
        state.items[[cooler, cooler + 1], sh.SX_WARMEST] = 33.0, 11.0
        state.session[1, sh.B_RETURN_C] = 41.0
        state.g[sh.G_VAC_LEAST] = 31.0

    found = measured(warm, base)
    assert (found.milk_before_c, found.milk_c) == (4.0, 7.5)
    assert (found.out_before_c, found.out_c) == (5.0, 11.0) and found.warmer_k == 6.0
    assert (found.wash_before_c, found.wash_c) == (50.0, 41.0)
    assert found.vacuum_kpa == 31.0 and found.vacuum_before_kpa == 1e3
    assert measured(lambda s: s.session.fill(0.0)).wash_c == 0.0


def test_the_peak_is_the_middle_of_the_first_busy_quarter_hour() -> None:
    """Would fail if a failure were put before or behind the busiest time, or at a later one."""
    flow = np.zeros(600)
    flow[100:115], flow[300:340] = 99.0, 100.0  # as busy as the busiest, within three per cent
    assert runs._first_peak(flow) == 107
    flow[100:115] = 96.0
    assert runs._first_peak(flow) == pytest.approx(307, abs=1)
    assert runs._first_peak(np.array([1.0, 2.0])) in (0, 1)


def test_a_late_tanker_is_one_that_has_not_come_yet() -> None:
    """Would fail if a tanker that has gone came again, or rows of a day were out of order."""
    heads = np.zeros((4, 4), np.int64)
    heads[:, sh.RW_STEP] = 10, 50, 60, 65
    heads[:, sh.RW_FIELD] = sh.ROW_TANKER, sh.ROW_DRIVE, sh.ROW_TANKER, sh.ROW_GATE
    day = sh.Day(*(np.zeros(1) for _ in range(4)), np.zeros(1, np.int64), heads,
                 np.arange(4.0).reshape(4, 1))  # fmt: skip
    moved = runs._later(day, 60, 100)
    assert moved.rows[:, sh.RW_STEP].tolist() == [10, 50, 65, 160]
    assert moved.values[:, 0].tolist() == [0.0, 1.0, 3.0, 2.0]
    assert runs._later(day, 61, 100).rows[:, sh.RW_STEP].tolist() == [10, 50, 60, 65]
