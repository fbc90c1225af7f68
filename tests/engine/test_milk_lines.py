"""Lines behind milk pumps: full before anything comes out, oldest first, pushed out at the end."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.engine.compiled import Compiled
from byrewright.engine.simulate import simulate
from byrewright.plant.read import read_plant
from byrewright.plant.sited import laid_out
from tests import plants
from tests.engine.test_engine_basics import STILL, compiled_day

CLOSES_KG = 1e-6
BEGINS = 3600  # the first milking, in steps
WATER_C = 11.0
ROWS = Path(__file__).resolve().parents[2] / "examples" / "rows_two_by_twenty" / "plant.yaml"
TO_TANK, TO_RETURN = "L241", "L236"
"""Of the rows: the fill line of tank 1, and the line that milk and wash share before it."""


@pytest.fixture(scope="module")
def day() -> tuple[Compiled, sh.Day]:
    """A rotary of one milking, its milk not cooled on the way, and its day."""
    return compiled_day(plants.rotary(12, 60, milkings=1, groups=1, withheld=0), STILL)


def held(compiled: Compiled, state: sh.State, section: str = "lines") -> np.ndarray:
    """What stands in the lines, by substance."""
    return state.items[compiled.tables.rows(section), : sh.SUBSTANCES]


def moved(compiled: Compiled, state: sh.State) -> np.ndarray:
    """What came into each line, kg."""
    T = compiled.tables
    branches, lines = T.rows("branches"), T.rows("lines")
    out = np.zeros(lines.stop - lines.start)
    for j in range(branches.start, branches.stop):
        if T.I[j, sh.J_LINE] >= 0:
            out[T.I[j, sh.J_LINE] - lines.start] += state.items[j, sh.SJ_KG]
    return out


def stored(compiled: Compiled, state: sh.State, *more: str) -> float:
    """Milk that came to the tanks, kg."""
    ends = [*compiled.names.places, *more]
    return float(state.items[[compiled.vessel(t) for t in ends], sh.MILK].sum())


def test_nothing_comes_out_of_a_line_before_it_is_full(day: tuple[Compiled, sh.Day]) -> None:
    """Would fail if milk reached the tank while the line to it still filled, or a line held more
    than its pipes."""
    compiled, one = day
    cap = compiled.tables.F[compiled.tables.rows("lines"), sh.LN_CAP]
    pipes = {p.id: np.pi / 4 * (p.bore_mm / 100) ** 2 * 10 * p.length_m
             for p in plants.rotary(12, 60).pipes}  # fmt: skip
    assert len(cap) and cap == pytest.approx(
        [sum(pipes[p] for p in line) * compiled.milk_kg_l for line in compiled.names.lines]
    )
    full = False
    for step in range(BEGINS + 60, BEGINS + 900, 60):
        state = simulate(compiled, one, compiled.start, step).state
        came = moved(compiled, state)
        assert held(compiled, state).sum(axis=1) == pytest.approx(np.minimum(came, cap))
        assert stored(compiled, state) == pytest.approx(max(0.0, came[-1] - cap[-1]), abs=CLOSES_KG)
        full |= bool((came > 2 * cap).all())
    assert full


def test_what_stood_in_a_line_comes_first_and_as_warm_as_it_was(
    day: tuple[Compiled, sh.Day],
) -> None:
    """Would fail if milk overtook the water that a wash left, or the two mixed on the way."""
    compiled, one = day
    line = compiled.tables.rows("lines").stop - 1
    place = compiled.vessel(compiled.names.places[0])
    each = compiled.tables.F[line, sh.LN_CAP] / sh.PLUGS
    start = compiled.start.copy()
    kj = 3 * each * compiled.tables.par[sh.PAR_CP + sh.WATER] * WATER_C
    start.items[line, sh.WATER], start.items[line, sh.HEAT] = 3 * each, kj
    start.plugs[-1, :3, sh.WATER], start.plugs[-1, :3, sh.HEAT] = each, kj / 3
    start.items[line, sh.LS_NEWEST] = 2.0
    some = False
    for step in range(BEGINS + 60, BEGINS + 900):
        tank = simulate(compiled, one, start, step).state.items[place]
        kg = tank[: sh.SUBSTANCES].sum()
        if 0.0 < kg < 3 * each:
            some = True
            assert tank[sh.MILK] == pytest.approx(0.0, abs=CLOSES_KG)
            was = kg * compiled.tables.par[sh.PAR_CP + sh.WATER] * WATER_C
            assert tank[sh.HEAT] == pytest.approx(was, rel=0.02)  # its wall takes or gives little
        if kg > 4 * each:
            assert tank[sh.WATER] == pytest.approx(3 * each, abs=CLOSES_KG)
            break
    assert some


def test_lines_are_pushed_out_after_a_milking(day: tuple[Compiled, sh.Day]) -> None:
    """Would fail if milk were left in a line for the wash to flush away."""
    compiled, one = day
    begun = simulate(compiled, one, compiled.start, BEGINS + 600).state
    assert held(compiled, begun).sum() > 1.0
    step = next(s for s in range(BEGINS + 600, 86400, 60)
                if simulate(compiled, one, compiled.start, s).state.n[sh.I_PHASE] > 0)  # fmt: skip
    state = simulate(compiled, one, compiled.start, step).state
    gave = -state.items[compiled.vessel("(cows)"), sh.MILK]
    assert held(compiled, state)[:, sh.MILK].sum() < CLOSES_KG
    came = stored(compiled, state, compiled.names.calf, "(fed)")
    assert came == pytest.approx(gave, abs=0.2)  # the rest still clings to vessels on its way


def test_milk_for_calves_is_as_warm_as_before_the_cooler(day: tuple[Compiled, sh.Day]) -> None:
    """Would fail if what is drawn before the cooler came out of the line behind it, cooled."""
    compiled, one = day
    state = simulate(compiled, one, compiled.start, BEGINS + 1800).state
    calf = state.items[compiled.vessel(compiled.names.calf)]
    assert calf[sh.MILK] > 5.0
    assert calf[sh.HEAT] / calf[sh.MILK] / compiled.tables.par[sh.PAR_CP] > 30.0


def test_a_line_is_pushed_out_where_no_pump_runs(day: tuple[Compiled, sh.Day]) -> None:
    """Would fail if milk stayed in a line whose pump failed, or went nowhere that is counted."""
    compiled, one = day
    T = compiled.tables
    rows = tuple(
        (BEGINS + 900, 9, m, sh.ROW_TRANSFER, 0.0)
        for m in range(T.rows("transfers").start, T.rows("transfers").stop)
        if (T.I[T.I[m, sh.MI_J0] : T.I[m, sh.MI_J1], sh.J_LINE] >= 0).any()
    )
    assert rows
    before = simulate(compiled, one, compiled.start, BEGINS + 901, rows=rows).state
    after = simulate(compiled, one, compiled.start, BEGINS + 2 * 3600, rows=rows).state
    last = held(compiled, before)[-1, sh.MILK]
    assert last > 1.0
    assert stored(compiled, after) == pytest.approx(stored(compiled, before) + last)


def test_a_branch_that_no_wash_passes_holds_none_of_it() -> None:
    """Would fail if the fill line of a tank, shut off while the plant is washed, gave rinse water
    to the next milk: sizing says of the same plant that none is there."""
    plain = laid_out(read_plant(ROWS).plant)

    def stays(tag: str) -> float:
        """What stays after a wash where one pipe sags by a metre."""
        pipes = []
        for p in plain.pipes:
            sag = ((0.0, 0.0), (1.0, -1.0), (p.length_m - 1, -1.0), (p.length_m, 0.0))
            pipes.append(p.laid(p.length_m, 0.0, 2, sag) if p.id == tag else p)
        compiled = compiled_day(plain.model_copy(update={"pipes": tuple(pipes)}))[0]
        rows = compiled.tables.rows("lines")
        return float(compiled.tables.F[rows, sh.LN_STAYS].sum())

    usual = stays("")
    assert stays(TO_TANK) == usual
    assert stays(TO_RETURN) > usual + 1.0
