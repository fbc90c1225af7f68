"""What the steady network means, and what to do about it, in plain sentences."""

from __future__ import annotations

from collections.abc import Callable

from byrewright.physics.air import line_reserve_l_free
from byrewright.physics.airflow import discharge_temperature_c
from byrewright.results import Remedy
from byrewright.standards.pipes import next_bore_mm
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.sizes import listed, stated, worked
from byrewright.studies.sizing.vacuum_demand import us_rules
from byrewright.studies.vacuum.building import with_bore
from byrewright.studies.vacuum.case import Case
from byrewright.studies.vacuum.network import Network
from byrewright.studies.vacuum.readings import reserve_limits
from byrewright.studies.vacuum.sensitivity import BORE_STEP, Effect, at_airflow, plate_bore
from byrewright.studies.vacuum.steady import Steady

SOLVED = "air network solved: isothermal compressible flow, Colebrook friction"
ROOM = 0.8  # a bore is advised that brings the drop within this share of its limit
MOST_CHANGES = 6
MOST_TRIED = 6  # pipes tried for each change, those that drop most
ALIKE = 0.02  # pipes whose airflow differs by less are widened together
LEAST_GAIN_KPA = 0.02  # a change that gives less is not worth the work


def write(ctx: StudyContext, case: Case) -> None:
    """Write the findings of the steady states."""
    for key in case.states:
        _situation(ctx, case, key)
    _reserve_alone(ctx, case)
    _drop(ctx, case)
    _worst_pipe(ctx, case)
    _velocity(ctx, case)
    _power(ctx, case)
    _sharing(ctx, case)
    _belts(ctx, case)
    _volume(ctx, case)


def _situation(ctx: StudyContext, case: Case, key: str) -> None:
    state, set_kpa = case.states[key], case.network.set_vacuum_kpa
    least, vm = state.least_at_units_kpa, state.milk_vacuum_kpa
    allowed = ctx.number("vacuum.test.working_vacuum_kpa")
    run = listed([p.name for p in state.pumps if p.speed > 0.0])
    speed = f" at {100 * state.speed:.0f} % speed" if case.network.varies else ""
    milking = key in ("milking", "one_pump")
    low = least < set_kpa - allowed
    says = (
        f"{state.situation.title}: {vm:.1f} kPa at the receiver, {least:.1f} kPa at the worst "
        f"unit, {run} running{speed}, {state.power_kw:.1f} kW, {state.pump_flow_l_min_free:.0f} "
        "L/min."
    )
    if milking and low:
        says += " That is too little to milk with: see the reserve and the drops."
    ctx.find(
        f"vacuum.steady.{key}",
        f"Vacuum: {state.situation.title[:1].lower()}{state.situation.title[1:]}",
        least,
        "kPa",
        says,
        limit=set_kpa - allowed if milking else None,
        sense="at_least" if milking else "informational",
        formula="mass balance at every node",
        inputs=(
            stated("", "set vacuum", set_kpa, "kPa"),
            worked("p_a", "ambient pressure", round(case.network.ambient_kpa_abs, 2), "kPa"),
            worked("", "air taken", round(state.use.total), "L/min"),
        ),
        source=SOLVED,
        confidence="derived",
    )


def _reserve_alone(ctx: StudyContext, case: Case) -> None:
    """The reserve that is left when one of the pumps that share has stopped."""
    state = case.reserve_alone
    if state is None:
        return
    iso, us, us_held = reserve_limits(ctx, case)
    wanted, has = (us if us_held else iso), state.asked_l_min_free[0]
    alone = next(p.name for p in state.pumps if p.speed > 0.0)
    held = ctx.plant.wishes.redundancy != "none"
    says = (
        f"With {alone} alone {has:.0f} L/min can be let in at A1 before Vm falls by 2 kPa; "
        f"{wanted:.0f} L/min "
        f"is {'required' if held else 'the rule, but the farm did not ask for redundancy'}."
    )
    if held and has < wanted:
        says += " Until the other runs again, attach more slowly, or fit larger pumps."
    ctx.find(
        "vacuum.reserve.one_pump",
        "Effective reserve with one pump alone",
        has,
        "L/min",
        says,
        limit=wanted if held else None,
        sense="at_least" if held else "informational",
        allowance=0.1,
        formula="air at A1 that lowers Vm by 2 kPa",
        inputs=(
            stated("", "redundancy wanted", ctx.plant.wishes.redundancy),
            worked("", "speed then", round(100 * state.speed), "%"),
        ),
        source="US rule, read" if us_held else "ISO 5707:2007 Annex A",
        confidence="read" if us_held else "from_memory",
    )


def _drop(ctx: StudyContext, case: Case) -> None:
    """Receiver to pump and to regulator at effective reserve, and the bores that mend them."""
    rules = "nmc" if us_rules(ctx) else "iso"
    _one_drop(ctx, case, "pump", f"vacuum.{rules}_drop_receiver_to_pump_kpa", to_pump)
    _one_drop(
        ctx, case, "regulator", f"vacuum.{rules}_drop_receiver_to_regulator_kpa", to_regulator
    )


def _one_drop(
    ctx: StudyContext, case: Case, end: str, rule: str, measure: Callable[[Steady], float]
) -> None:
    limit, has = ctx.number(rule), measure(case.reserve)
    changes, then = (
        ([], has) if has <= limit else mend(case.network, case.reserve, limit * ROOM, measure)
    )
    air = case.reserve.asked_l_min_free[0]
    says = (
        f"From receiver to {end} {has:.1f} kPa are lost at the effective reserve "
        f"of {air:.0f} L/min."
    )
    first = changes[0] if changes else None
    if changes:
        same: dict[tuple[float, float], list[str]] = {}
        for name, old, new in changes:
            same.setdefault((old, new), []).append(name)
        words = [
            f"{new:g} mm instead of {old:g} mm for {listed(names)}"
            for (old, new), names in same.items()
        ]
        says += f" Take {listed(words)}: that leaves {then:.1f} kPa."
        if end == "regulator":
            says += " Or let control sense at the receivers."
    elif has > limit:
        says += " No standard bore is enough: shorten the line, or bring the two nearer together."
    ctx.find(
        f"vacuum.drop.{end}",
        f"Vacuum drop from receiver to {end}",
        has,
        "kPa",
        says,
        limit=limit,
        sense="at_most",
        allowance=0.1,
        formula="vacuum there less vacuum at the receiver",
        inputs=(worked("", "airflow at A1", round(air), "L/min"), ctx.rule(rule)),
        source=SOLVED,
        confidence="derived",
        advised=first[2] if first else None,
        advised_why=f"brings the drop within {100 * ROOM:.0f} % of its limit" if first else "",
        target=(first[0], "bore_mm") if first else None,
        remedies=tuple(
            Remedy(name, "bore_mm", new, f"brings the drop within {100 * ROOM:.0f} % of its limit")
            for name, _, new in changes
        ),
    )


def to_pump(state: Steady) -> float:
    """Drop from the receiver to the lowest pressure at any pump that runs."""
    inlets = [p.inlet_vacuum_kpa for p in state.pumps if p.speed > 0.0]
    return max(0.0, max(inlets, default=0.0) - state.milk_vacuum_kpa)


def to_regulator(state: Steady) -> float:
    """Drop from the receiver to the regulator, or to where speed control senses."""
    return max(0.0, state.at(state.network.regulation_point) - state.milk_vacuum_kpa)


def mend(
    network: Network, reserve: Steady, wanted_kpa: float, measure: Callable[[Steady], float]
) -> tuple[list[tuple[str, float, float]], float]:
    """Widen the pipe whose next bore helps most, with its twins, until the drop is as wanted.

    Returns (pipe, bore now, bore advised) for each changed pipe, and the drop then.
    """
    start, state = network, at_airflow(network, reserve)
    first: dict[str, float] = {}
    last: dict[str, float] = {}
    drop = measure(state)
    for _ in range(MOST_CHANGES):
        if drop <= wanted_kpa:
            break
        best: tuple[float, dict[str, float], Steady] | None = None
        drops = {s.name: state.drop_of(s.name) for s in network.segments if s.what == "pipe"}
        for name in sorted(drops, key=lambda n: -drops[n])[:MOST_TRIED]:
            wider = {}
            for one in _alike(state, name):
                bore = next_bore_mm(last.get(one, plate_bore(start, one, 0.0)) * BORE_STEP)
                if bore is not None:
                    wider[one] = bore
            if not wider:
                continue
            other = at_airflow(with_bore(start, {**last, **wider}), reserve)
            gain = (drop - measure(other)) / len(wider)
            if gain > LEAST_GAIN_KPA and (best is None or gain > best[0]):
                best = gain, wider, other
        if best is None:
            break
        for name in best[1]:
            first.setdefault(name, plate_bore(start, name, 0.0))
        last |= best[1]
        state, network = best[2], best[2].network
        drop = measure(state)
    return [(name, first[name], last[name]) for name in last], drop


def _alike(state: Steady, name: str) -> list[str]:
    """Pipes of the same bore that carry the same air: in one run, or those of twin pumps."""
    pipes = {s.segment.name: s for s in state.segments if s.segment.what == "pipe"}
    one = pipes[name]
    near = ALIKE * abs(one.flow_l_min_free)
    return [
        n
        for n, s in pipes.items()
        if s.segment.bore_mm == one.segment.bore_mm
        and abs(abs(s.flow_l_min_free) - abs(one.flow_l_min_free)) <= near
    ]


def _worst_pipe(ctx: StudyContext, case: Case) -> None:
    for place, effect in enumerate(case.effects[:5]):
        _one_pipe(ctx, case, effect, first=place == 0)


def _one_pipe(ctx: StudyContext, case: Case, effect: Effect, *, first: bool) -> None:
    kind = "Line" if effect.what == "line" else "Branch"
    says = f"{kind} {effect.name} drops {effect.drop_kpa:.2f} kPa at effective reserve"
    worth = False
    if effect.next_bore_mm is not None and effect.drop_then_kpa is not None:
        worth = effect.drop_kpa - effect.drop_then_kpa >= 0.1
        says += (
            f"; {effect.next_bore_mm:g} mm instead of {effect.bore_mm:g} mm gives "
            f"{effect.drop_then_kpa:.2f} kPa"
        )
    says += "." if worth else ": not worth changing."
    if first:
        says = f"The worst drop: {says[0].lower()}{says[1:]}"
    ctx.find(
        "vacuum.pipe",
        "Drop of one pipe at effective reserve",
        effect.drop_kpa,
        "kPa",
        says,
        subject=effect.name,
        formula="p1^2 - p2^2 = 16 R T m^2/(pi^2 d^4) (f l/d + K + 2 ln p1/p2)",
        inputs=(
            stated("d", "bore", round(effect.bore_mm, 1), "mm", effect.name),
            worked("", "airflow", round(effect.flow_l_min_free), "L/min"),
            worked("", "velocity", round(effect.velocity_m_s, 1), "m/s"),
        ),
        source=SOLVED,
        confidence="derived",
        advised=effect.next_bore_mm if worth else None,
        advised_why="next airline bore" if worth else "",
        target=(effect.name, "bore_mm") if worth and effect.what == "pipe" else None,
    )


def _velocity(ctx: StudyContext, case: Case) -> None:
    most = ctx.number("vacuum.line_velocity_m_s")
    state = case.reserve
    fastest = max(
        (s for s in state.segments if s.segment.what != "fitting"), key=lambda s: s.velocity_m_s
    )
    ctx.find(
        "vacuum.velocity",
        "Fastest air at effective reserve",
        fastest.velocity_m_s,
        "m/s",
        f"Air runs fastest in {fastest.segment.name}: {fastest.velocity_m_s:.0f} m/s; above "
        f"{most:g} m/s lines grow noisy and drop fast.",
        formula="v = m/(rho A)",
        inputs=(ctx.rule("vacuum.line_velocity_m_s"),),
        source="practice",
        confidence="common_practice",
    )


def _power(ctx: StudyContext, case: Case) -> None:
    manual = {p.name: p for p in case.manual.pumps}
    for place in case.network.pumps:
        state = manual[place.name]
        if state.speed <= 0.0:
            continue
        ok = state.power_kw <= state.motor_kw
        ctx.find(
            "vacuum.motor",
            "Load on the vacuum pump's motor, flat out",
            state.power_kw,
            "kW",
            f"{place.name} takes {state.power_kw:.1f} kW at {state.inlet_vacuum_kpa:.1f} kPa and "
            f"full speed; its motor is {state.motor_kw:g} kW."
            + ("" if ok else " It would trip: limit the speed, or fit a larger motor."),
            subject=place.name,
            limit=state.motor_kw,
            sense="at_most",
            allowance=0.05,
            formula="P = s V (p_out - p_in)/efficiency",
            inputs=(
                ctx.rule("vacuum.pump_specific_power_kw_per_1000_l_min"),
                worked("efficiency", "from the specific power", round(place.efficiency, 2)),
            ),
            source="displacement pump without inside compression",
            confidence="derived",
        )
        if place.machine.design == "lobe":
            warm = discharge_temperature_c(
                max(ctx.plant.site.ambient_c),
                case.network.ambient_kpa_abs - state.inlet_vacuum_kpa,
                case.network.ambient_kpa_abs + state.back_kpa,
                place.efficiency,
            )
            ctx.find(
                "vacuum.discharge",
                "Discharge temperature of a lobe pump",
                warm,
                "degC",
                f"{place.name} lets out air at up to {warm:.0f} degC: ask its maker for the limit. "
                "Hot surface: guard it.",
                subject=place.name,
                formula="T2 = T1 + R T1 (p2/p1 - 1)/(cp efficiency)",
                source="first law, no cooling",
                confidence="derived",
            )


def _sharing(ctx: StudyContext, case: Case) -> None:
    state = case.milking
    running = [p for p in state.pumps if p.speed > 0.0]
    least = max((p.machine.least_speed_pct for p in case.network.pumps), default=0.0) / 100.0
    if len(running) < 2 or not case.network.varies or state.speed > least + 1e-9:
        return
    alone = case.states.get("one_pump")
    spent = ""
    if alone is not None:
        spent = (
            f" {alone.situation.running[0] if alone.situation.running else 'One'} alone would run "
            f"at {100 * alone.speed:.0f} % and take {alone.power_kw:.1f} instead of "
            f"{state.power_kw:.1f} kW; but then the cups fall if it trips."
        )
    ctx.find(
        "vacuum.sharing",
        "Pumps that share, at their least speed",
        state.regulated_l_min_free,
        "L/min",
        f"In steady milking {listed([p.name for p in running])} run at their least speed of "
        f"{100 * least:.0f} %, so the regulator admits {state.regulated_l_min_free:.0f} L/min and "
        f"vacuum is {state.milk_vacuum_kpa - case.network.set_vacuum_kpa:+.1f} kPa off its setting."
        + spent,
        formula="speed held at its floor",
        source=SOLVED,
        confidence="derived",
    )


def _belts(ctx: StudyContext, case: Case) -> None:
    """A fixed-speed pump short of reserve: what a change of belts would do."""
    iso, us, us_held = reserve_limits(ctx, case)
    wanted, has = (us if us_held else iso), case.reserve.asked_l_min_free[0]
    fixed = [p for p in case.network.pumps if p.machine.speed == "fixed" and p.name in case.running]
    if not fixed or has >= wanted:
        return
    drawn = case.flat_out(case.reserve)
    faster = 1.0 + (wanted - has) / max(1.0, drawn)
    load = [
        f"{s.name} {s.motor_kw:g} kW motor at {s.power_kw * faster:.1f} kW"
        for s in case.reserve.pumps
        if s.speed > 0.0
    ]
    ctx.find(
        "vacuum.belts",
        "Change of belts that would give the reserve",
        100.0 * (faster - 1.0),
        "%",
        f"The reserve is {wanted - has:.0f} L/min short. Belts for {100 * (faster - 1):.0f} % "
        f"more speed would give it, if the maker allows that speed: {listed(load)}.",
        formula="s = 1 + (wanted - has)/drawn",
        source=SOLVED,
        confidence="derived",
    )


def _volume(ctx: StudyContext, case: Case) -> None:
    volume = sum(case.network.volumes_l)
    free = line_reserve_l_free(volume, 2.0, case.network.ambient_kpa_abs)
    loss = case.milking.use.total / 60.0
    ctx.find(
        "vacuum.volume",
        "Air held back by the volume of lines and vessels",
        free,
        "L",
        f"Lines and vessels hold {volume / 1000:.2f} m3 and yield {free:.0f} L of free air while "
        f"vacuum falls 2 kPa: {free / loss:.1f} s of the air taken in milking. Bore gives low drop "
        "and damping; reserve is spare pump airflow.",
        formula="V dp/p_a",
        inputs=(worked("V", "volume", round(volume), "L"),),
        source="Boyle's law",
        confidence="derived",
    )
