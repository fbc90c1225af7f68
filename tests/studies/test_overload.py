"""Boards left alone, lock-outs, the heater within its supply, the dip of the mains."""

from __future__ import annotations

from functools import cache

import pytest

from byrewright.engine import shape as sh
from byrewright.engine.compiled import compile_plant
from byrewright.engine.draws import Herd, day_of
from byrewright.engine.simulate import simulate
from byrewright.physics.motors import breaker_trip_s
from byrewright.plant.plant import Plant
from byrewright.results import ResultBuilder
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.failures.analysis import Analysis, analyse
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import duty_of
from byrewright.studies.sizing.loads import demand_kva, electric_loads
from byrewright.studies.sizing.power import size_power
from byrewright.studies.sizing.washing import size_washing
from tests.studies.failing import LARGE, SMALL, analysed, changed, example

RULES = default_rulebook()
HEAT = ("WH1", "WH2", "CW1", "CD1")


@cache
def weak(rating_a: float) -> Analysis:
    """The small example with main boards of one rating."""
    fields = {b: {"rating_a": rating_a} for b in ("SB1", "SB4")}
    return analyse(changed(example(SMALL), **fields), RULES)


def sized(plant: Plant, rules: Rulebook = RULES) -> ResultBuilder:
    """The power and washing topics of a plant."""
    ctx = StudyContext(plant, rules, ResultBuilder("sizing", plant.site.name))
    duty = duty_of(ctx)
    size_power(ctx, duty)
    size_washing(ctx, duty)
    return ctx.notes


def locked(plant: Plant) -> Plant:
    """Heaters and laundry stopped in every mode that milks."""
    modes = {
        n: m.model_copy(update={"positions": {**m.positions, **dict.fromkeys(HEAT, "stopped")}})
        if "milking" in m.does else m
        for n, m in plant.modes.items()
    }  # fmt: skip
    return plant.model_copy(update={"modes": modes})


def test_a_board_left_alone_trips_by_load_and_time() -> None:
    """The study said that milking goes on while the board left alone carried twice its rating."""
    acts = [a.verb for a in analysed(SMALL).case("SB4 main breaker trips").answer.acts]
    assert acts == []  # sized for it
    amps = max(o.amps for o in weak(25.0).structure.overloads({"SB4"}))
    tight = weak(round(amps / 1.1)).case("SB4 main breaker trips")
    assert [(a.verb, a.machine) for a in tight.answer.acts] == [("shed", "SB1")]
    small = weak(round(amps / 2)).case("SB4 main breaker trips")
    assert small.answer.goes_on
    assert small.answer.acts[0].verb == "reset"  # trips before people can shed
    none = weak(25.0).case("SB4 main breaker trips")
    assert none.stops


def test_a_further_loss_never_mends_an_overload() -> None:
    """A board lost besides takes loads away; pairs would then hold fewer cuts than singles."""
    structure = weak(25.0).structure
    alone = {o.board for o in structure.overloads({"SB4"})}
    assert alone <= {o.board for o in structure.overloads({"SB4", "SB2"})}


def test_trip_times_keep_the_conventional_limits() -> None:
    """IEC 60947-2 (from memory): holds at 1.05, trips within two hours at 1.30 times its rating."""
    holds, tau = RULES.number("breaker.holds_multiple"), RULES.number("breaker.time_constant_s")
    assert breaker_trip_s(1.05, holds, tau) == float("inf")
    assert breaker_trip_s(1.30, holds, tau) < 7200
    times = [breaker_trip_s(1.0 + k / 10, holds, tau) for k in range(1, 40)]
    assert times == sorted(times, reverse=True)


def test_boards_are_sized_for_the_worst_feed_that_the_wishes_allow() -> None:
    """Without the wish a board carries its first choice only."""
    plant = example(SMALL)
    with_wish = {f.subject: f for f in sized(plant).findings if f.key == "power.board"}
    plain = plant.wishes.model_copy(update={"no_single_stop": False, "redundancy": "none"})
    without = {
        f.subject: f for f in sized(plant.model_copy(update={"wishes": plain})).findings
        if f.key == "power.board"
    }  # fmt: skip
    assert with_wish["SB1"].limit == pytest.approx(with_wish["SB4"].limit)  # each carries it all
    for board in ("SB1", "SB4"):
        assert (without[board].limit or 0) < 0.8 * (with_wish[board].limit or 0)


def test_a_lock_out_is_kept_by_sizing_day_and_failures() -> None:
    """ "Not while milking" would be a wish that some studies keep and others do not."""
    plain, kept = example(LARGE), locked(example(LARGE))
    kva = []
    for plant in (plain, kept):
        ctx = StudyContext(plant, RULES, ResultBuilder("sizing", "x"))
        kva.append(demand_kva(electric_loads(ctx, duty_of(ctx)), "milking"))
    assert kva[1] < kva[0] - 50
    free, held = (_heated_in_milking_kwh(p) for p in (example(SMALL), locked(example(SMALL))))
    assert free[0] > 1.0
    assert held[0] == 0.0
    assert held[1] > 1.0
    shed = {o.board: o.shed for o in analyse(
        changed(kept, SB1={"rating_a": 50.0}), RULES).structure.overloads({"SB4"})}  # fmt: skip
    assert not set(HEAT) & set(shed["SB1"])  # they are off already


def _heated_in_milking_kwh(plant: Plant) -> tuple[float, float]:
    """Electricity of the heaters in milking and in the rest of a day, kWh."""
    compiled = compile_plant(plant, RULES)
    rows = compiled.tables.rows("heated")
    today = day_of(plant, compiled, Herd(plant, compiled, RULES, 1), month=1, day=0)
    state, found = compiled.start, [0.0, 0.0]
    for step in range(0, round(86400 / compiled.step_s), 600):
        before, mode = state.items[rows, sh.SH_KWH].sum(), int(state.n[sh.I_MODE])
        state = simulate(compiled, today, state, step + 600).state
        if int(state.n[sh.I_MODE]) == mode:
            found[mode != 0] += float(state.items[rows, sh.SH_KWH].sum() - before)
    return found[0], found[1]


def test_the_next_heater_does_not_break_the_supply_by_itself() -> None:
    """A heater one size up passed the agreed demand that the needed one keeps."""
    plant = example(SMALL)
    usual = next(f for f in sized(plant).findings if f.key == "wash.heater_power")
    assert usual.advised is not None
    assert usual.limit is not None
    heaters = {t: {"heater_kw": usual.limit} for t in ("WH1", "WH2")}
    ctx = StudyContext(changed(plant, **heaters), RULES, ResultBuilder("sizing", "x"))
    loads = electric_loads(ctx, duty_of(ctx))
    worst = max(demand_kva(loads, s) for s in ("milking", "washing", "cooling", "night"))
    supply = plant.site.supply.model_copy(update={"limit_kva": worst + 0.5})
    site = plant.site.model_copy(update={"supply": supply})
    held = next(f for f in sized(plant.model_copy(update={"site": site})).findings
                if f.key == "wash.heater_power")  # fmt: skip
    assert usual.limit <= (held.advised or 0) < usual.advised


@pytest.mark.parametrize(("fault_kva", "verdict"), [(300.0, "fails"), (5000.0, "holds")])
def test_the_dip_of_the_mains_follows_its_impedance(fault_kva: float, verdict: str) -> None:
    """A weak supply would let contactors drop out at each compressor start, unsaid."""
    plant = example(SMALL)
    supply = plant.site.supply.model_copy(update={"fault_kva": fault_kva})
    site = plant.site.model_copy(update={"supply": supply})
    dip = next(
        f
        for f in sized(plant.model_copy(update={"site": site})).findings
        if f.key == "power.mains_dip"
    )
    assert dip.verdict == verdict
    start = next(i.value for i in dip.inputs if i.symbol == "S_start")
    assert dip.value == pytest.approx(100 * float(start) / (float(start) + fault_kva), abs=0.06)
