"""What the solved network means, and what to do about it, in plain sentences."""

from __future__ import annotations

from byrewright.physics.air import line_reserve_l_free
from byrewright.physics.airflow import discharge_temperature_c
from byrewright.results import Input
from byrewright.standards.pipes import next_bore_mm
from byrewright.studies.sizing.vacuum_demand import us_rules
from byrewright.studies.sizing.context import Bench
from byrewright.studies.sizing.sizes import listed, stated, worked
from byrewright.studies.vacuum.case import Case
from byrewright.studies.vacuum.milkline import SAY, LineAnswer
from byrewright.studies.vacuum.network import Network
from byrewright.studies.vacuum.readings import reserve_limits
from byrewright.studies.vacuum.sensitivity import BORE_STEP, Effect, at_airflow
from byrewright.studies.vacuum.steady import Steady
from byrewright.studies.vacuum.transient import Run

SOLVED = "air network solved: isothermal compressible flow, Colebrook friction"
MARCHED = "air network in time, lumped volumes, 5 ms"
ROOM = 0.8  # a bore is advised that brings the drop within this share of its limit
MOST_CHANGES = 6
BACK_WITHIN_S = 5.0  # common practice, no source: one fall-off is over within this time


def write(bench: Bench, case: Case) -> None:
    """Write every finding but the predicted readings."""
    for key in case.states:
        _situation(bench, case, key)
    _drop(bench, case)
    _worst_pipe(bench, case)
    _velocity(bench, case)
    _power(bench, case)
    _sharing(bench, case)
    _belts(bench, case)
    _volume(bench, case)
    for run in case.runs.values():
        _event(bench, case, run)
    _tuning(bench, case)
    for line in case.lines:
        _milkline(bench, line)


def _situation(bench: Bench, case: Case, key: str) -> None:
    state, set_kpa = case.states[key], case.network.set_vacuum_kpa
    least, vm = state.least_at_units_kpa, state.milk_vacuum_kpa
    allowed = bench.number("vacuum.test.working_vacuum_kpa")
    run = listed([p.name for p in state.pumps if p.speed > 0.0])
    speed = f" at {100 * state.speed:.0f} % speed" if case.network.varies else ""
    milking = key in ("milking", "one_pump")
    low = least < set_kpa - allowed
    says = (
        f"{state.situation.title}: {vm:.1f} kPa at the receiver, {least:.1f} kPa at the worst unit, "
        f"{run} running{speed}, {state.power_kw:.1f} kW, {state.pump_flow_l_min_free:.0f} L/min."
    )
    if milking and low:
        says += " That is too little to milk with: see the reserve and the drops."
    bench.find(
        f"vacuum.steady.{key}", f"Vacuum: {state.situation.title.lower()}", least, "kPa", says,
        limit=set_kpa - allowed if milking else None, sense="at_least" if milking else "says",
        formula="mass balance at every node", inputs=(
            stated("", "set vacuum", set_kpa, "kPa"),
            worked("p_a", "ambient pressure", round(case.network.ambient_kpa_abs, 2), "kPa"),
            worked("", "air taken", round(state.use.total), "L/min"),
        ), source=SOLVED, known="derived",
    )  # fmt: skip


def _drop(bench: Bench, case: Case) -> None:
    """Receiver to pump at the effective reserve, and the bores that bring it inside its limit."""
    limit = bench.number(
        f"vacuum.{'nmc' if us_rules(bench) else 'iso'}_drop_receiver_to_pump_kpa"
    )
    has = _receiver_to_pump(case.reserve)
    changes, then = ([], has) if has <= limit else mend(case.network, case.reserve, limit * ROOM)
    says = f"From receiver to pump {has:.1f} kPa are lost at the effective reserve of "
    says += f"{case.reserve.asked_l_min_free[0]:.0f} L/min."
    first = changes[0] if changes else None
    if changes:
        words = [f"{name}: {new:g} mm instead of {old:g} mm" for name, old, new in changes]
        says += f" Take {listed(words)}: that leaves {then:.1f} kPa."
    elif has > limit:
        says += " No common bore mends it: shorten the line, or bring pumps and receiver nearer."
    bench.find(
        "vacuum.drop", "Vacuum drop from receiver to pump", has, "kPa", says, limit=limit,
        sense="at_most", allowance=0.1, formula="Vp - Vm", inputs=(
            worked("", "airflow at A1", round(case.reserve.asked_l_min_free[0]), "L/min"),
        ), source=SOLVED, known="derived",
        advised=first[2] if first else None,
        advised_why=f"brings the drop within {ROOM:.0%} of its limit" if first else "",
        target=(first[0], "bore_mm") if first else None,
    )  # fmt: skip


def _receiver_to_pump(state: Steady) -> float:
    inlets = [p.inlet_vacuum_kpa for p in state.pumps if p.speed > 0.0]
    return max(0.0, max(inlets, default=0.0) - state.milk_vacuum_kpa)


def mend(
    network: Network, reserve: Steady, wanted_kpa: float
) -> tuple[list[tuple[str, float, float]], float]:
    """Widen the pipe that drops most, one size at a time, until the drop is as wanted.

    Returns (pipe, bore now, bore advised) for each changed pipe, and the drop then.
    """
    state = at_airflow(network, reserve)
    first: dict[str, float] = {}
    last: dict[str, float] = {}
    drop = _receiver_to_pump(state)
    for _ in range(MOST_CHANGES):
        if drop <= wanted_kpa:
            break
        pipes = {s.name: s.bore_mm for s in network.stretches if s.what == "pipe"}
        worst = max(pipes, key=lambda name: state.drop_of(name))
        wider = next_bore_mm(pipes[worst] * BORE_STEP)
        if wider is None:
            break
        first.setdefault(worst, pipes[worst])
        last[worst] = wider
        for name in _alike(network, worst):
            first.setdefault(name, pipes[name])
            last[name] = wider
            network = network.with_bore(name, wider)
        state = at_airflow(network, reserve)
        drop = _receiver_to_pump(state)
    return [(name, first[name], last[name]) for name in first], drop


def _alike(network: Network, name: str) -> list[str]:
    """The pipes laid as this one: same bore and same length, such as those of twin pumps."""
    by_name = {s.name: s for s in network.stretches if s.what == "pipe"}
    one = by_name[name]
    return [
        n for n, s in by_name.items() if s.bore_mm == one.bore_mm and s.length_m == one.length_m
    ]


def _worst_pipe(bench: Bench, case: Case) -> None:
    for place, effect in enumerate(case.effects[:5]):
        _one_pipe(bench, case, effect, first=place == 0)


def _one_pipe(bench: Bench, case: Case, effect: Effect, *, first: bool) -> None:
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
    bench.find(
        "vacuum.pipe", "Drop of one pipe at effective reserve", effect.drop_kpa, "kPa", says,
        subject=effect.name, formula="p1^2 - p2^2 = 16 R T m^2/(pi^2 d^4) (f l/d + K + 2 ln p1/p2)",
        inputs=(
            stated("d", "bore", round(effect.bore_mm, 1), "mm", effect.name),
            worked("", "airflow", round(effect.flow_l_min_free), "L/min"),
            worked("", "velocity", round(effect.velocity_m_s, 1), "m/s"),
        ), source=SOLVED, known="derived",
        advised=effect.next_bore_mm if worth else None,
        advised_why="next airline bore" if worth else "",
        target=(effect.name, "bore_mm") if worth and effect.what == "pipe" else None,
    )  # fmt: skip


def _velocity(bench: Bench, case: Case) -> None:
    most = bench.number("vacuum.line_velocity_m_s")
    state = case.reserve
    fastest = max((s for s in state.stretches if s.stretch.what != "fitting"),
                  key=lambda s: s.velocity_m_s)  # fmt: skip
    bench.find(
        "vacuum.velocity", "Fastest air at effective reserve", fastest.velocity_m_s, "m/s",
        f"Air runs fastest in {fastest.stretch.name}: {fastest.velocity_m_s:.0f} m/s; above "
        f"{most:g} m/s lines grow noisy and drop fast.",
        limit=most, sense="at_most", formula="v = m/(rho A)",
        inputs=(bench.rule("vacuum.line_velocity_m_s"),), source="practice", known="common_practice",
    )  # fmt: skip


def _power(bench: Bench, case: Case) -> None:
    manual = {p.name: p for p in case.manual.pumps}
    for place in case.network.pumps:
        state = manual[place.name]
        if state.speed <= 0.0:
            continue
        ok = state.power_kw <= state.motor_kw
        bench.find(
            "vacuum.motor", "Load on the vacuum pump's motor, flat out", state.power_kw, "kW",
            f"{place.name} takes {state.power_kw:.1f} kW at {state.inlet_vacuum_kpa:.1f} kPa and full "
            f"speed; its motor is {state.motor_kw:g} kW."
            + ("" if ok else " It would trip: limit the speed, or fit a larger motor."),
            subject=place.name, limit=state.motor_kw, sense="at_most", allowance=0.05,
            formula="P = s V (p_out - p_in)/efficiency",
            inputs=(bench.rule("vacuum.pump_specific_power_kw_per_1000_l_min"),
                    worked("efficiency", "from the specific power", round(place.efficiency, 2))),
            source="displacement pump without inside compression", known="derived",
        )  # fmt: skip
        if place.machine.design == "lobe":
            warm = discharge_temperature_c(
                max(bench.plant.site.ambient_c), case.network.ambient_kpa_abs - state.inlet_vacuum_kpa,
                case.network.ambient_kpa_abs + state.back_kpa, place.efficiency,
            )  # fmt: skip
            bench.find(
                "vacuum.discharge", "Discharge temperature of a lobe pump", warm, "degC",
                f"{place.name} lets out air at up to {warm:.0f} degC: ask its maker for the limit. "
                "Hot surface: guard it.", subject=place.name,
                formula="T2 = T1 + R T1 (p2/p1 - 1)/(cp efficiency)", source="first law, no cooling",
                known="derived",
            )  # fmt: skip


def _sharing(bench: Bench, case: Case) -> None:
    state = case.milking
    running = [p for p in state.pumps if p.speed > 0.0]
    least = max((p.machine.least_speed_pct for p in case.network.pumps), default=0.0) / 100.0
    if len(running) < 2 or not case.network.varies or state.speed > least + 1e-9:
        return
    alone = case.states.get("one_pump")
    spent = ""
    if alone is not None:
        spent = (
            f" {alone.situation.running[0] if alone.situation.running else 'One'} alone would run at "
            f"{100 * alone.speed:.0f} % and take {alone.power_kw:.1f} instead of {state.power_kw:.1f} kW; "
            "but then the cups fall if it trips."
        )  # fmt: skip
    bench.find(
        "vacuum.sharing", "Pumps that share, at their least speed", state.regulated_l_min_free, "L/min",
        f"In steady milking {listed([p.name for p in running])} stand at their least speed of "
        f"{100 * least:.0f} %, so the regulator admits {state.regulated_l_min_free:.0f} L/min and "
        f"vacuum is {state.milk_vacuum_kpa - case.network.set_vacuum_kpa:+.1f} kPa off its setting."
        + spent,
        formula="speed held at its floor", source=SOLVED, known="derived",
    )  # fmt: skip


def _belts(bench: Bench, case: Case) -> None:
    """A fixed-speed pump short of reserve: what a change of belts would do."""
    iso, us, us_held = reserve_limits(bench, case)
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
    bench.find(
        "vacuum.belts", "Change of belts that would give the reserve", 100.0 * (faster - 1.0), "%",
        f"The reserve is {wanted - has:.0f} L/min short. Belts for {100 * (faster - 1):.0f} % more speed "
        f"would give it, if the maker allows that speed: {listed(load)}.",
        formula="s = 1 + (wanted - has)/drawn", source=SOLVED, known="derived",
    )  # fmt: skip


def _volume(bench: Bench, case: Case) -> None:
    volume = sum(case.network.volumes_l)
    free = line_reserve_l_free(volume, 2.0, case.network.ambient_kpa_abs)
    loss = case.milking.use.total / 60.0
    bench.find(
        "vacuum.volume", "Air held back by the volume of lines and vessels", free, "L",
        f"Lines and vessels hold {volume / 1000:.2f} m3 and yield {free:.0f} L of free air while "
        f"vacuum falls 2 kPa: {free / loss:.1f} s of the air taken in milking. Bore gives low drop "
        "and damping; reserve is spare pump airflow.",
        formula="V dp/p_a", inputs=(worked("V", "volume", round(volume), "L"),),
        source="Boyle's law", known="derived",
    )  # fmt: skip


def _event(bench: Bench, case: Case, run: Run) -> None:
    rule: tuple[Input, ...] = (bench.rule("vacuum.cups_fall_below_kpa"),
                               bench.rule("vacuum.cups_fall_after_s"))  # fmt: skip
    back = (
        "is not back to where it was" if run.back_after_s == float("inf")
        else f"is back after {run.back_after_s:.1f} s"
    )  # fmt: skip
    says = (
        f"{run.event.title}: vacuum at the receiver falls {run.drop_kpa:.1f} kPa to {run.least_kpa:.1f}, "
        f"at the worst unit to {run.least_at_units_kpa:.1f} kPa, and {back}."
    )
    if run.units_falling > 0.5:
        says += (
            f" It stays under {rule[0].value:g} kPa for {run.under_limit_s:.1f} s: "
            f"{run.units_falling:.0f} cups are likely to fall."
        )
    key = run.event.key
    what_if = key == "all_vacuum_lost" and len(case.running) > 1
    if key == "all_vacuum_lost":
        says += (
            " A standby that stands still does not save the cups; pumps that run together do."
            if run.units_falling > 0.5 else ""
        )
        if what_if:
            says += " (What if: this plant runs its pumps together.)"
    bench.find(
        f"vacuum.event.{key}", f"{run.event.title}", run.units_falling, "units", says,
        limit=None if what_if or key == "pump_trips_valve_leaks" else 0.0,
        sense="says" if what_if or key == "pump_trips_valve_leaks" else "at_most",
        formula="longest time under the vacuum at which cups fall, unit by unit",
        inputs=rule, source=MARCHED, known="derived",
    )  # fmt: skip
    if key == "fall_off":
        bench.find(
            "vacuum.event.fall_off_back", "Time until one fall-off is over", run.back_after_s
            if run.back_after_s != float("inf") else None, "s",
            f"One unit kicked off is over after {run.back_after_s:.1f} s; within {BACK_WITHIN_S:g} s is usual.",
            limit=BACK_WITHIN_S, sense="at_most", formula="Vm within 0.2 kPa of before",
            source="practice", known="common_practice",
        )  # fmt: skip


def _tuning(bench: Bench, case: Case) -> None:
    if not case.tuned:
        return
    best = case.tuned[0]
    now = (bench.number("vacuum.speed_gain_per_kpa"), bench.number("vacuum.speed_ramp_per_s"))
    used = next((t for t in case.tuned if (t.gain, t.ramp) == now), best)
    bench.find(
        "vacuum.tuning", "Best setting of speed control found", best.gain, "1/kPa",
        f"With {listed(case.tuned_with)} running, of {len(case.tuned)} settings tried a gain of "
        f"{best.gain:g} per kPa and a ramp of {best.ramp:g} per s serves best: {best.drop_kpa:.2f} kPa "
        f"drop and {best.overshoot_kpa:.2f} kPa overshoot when units fall, against {used.drop_kpa:.2f} and "
        f"{used.overshoot_kpa:.2f} kPa as assumed. Start from it and tune on site.",
        formula="least of drop + overshoot + a tenth of the seconds until back",
        inputs=(bench.rule("vacuum.speed_gain_per_kpa"), bench.rule("vacuum.speed_ramp_per_s")),
        source=MARCHED, known="derived",
    )  # fmt: skip


def _milkline(bench: Bench, answer: LineAnswer) -> None:
    line, load = answer.line, answer.load
    allowed = 100.0 - bench.number("milkline.drop_share_of_time_pct")
    share = 100.0 * answer.slug_share
    flow = "stratified" if answer.at_peak and answer.at_peak.stratified else "slugs"
    says = (
        f"{line.id}, {line.bore_mm:g} mm at {line.slope_pct:g} %, {load.slopes} slopes of {load.units:.0f} "
        f"units: at peak {load.peak_l_min:.0f} L/min of milk a slope runs {100 * answer.level:.0f} % deep "
        f"({flow}); slugs for {share:.1f} % of milking."
    )
    if share > allowed:
        says += (
            f" Take {answer.better_bore_mm:g} mm." if answer.better_bore_mm
            else " No common bore mends it: add slope, or a receiver outlet."
        )  # fmt: skip
    bench.find(
        "vacuum.milkline.slugs", "Share of milking with slugs in the milkline", share, "%",
        f"{says} {SAY}", subject=line.id, limit=allowed, sense="at_most", allowance=0.2,
        formula="Taitel and Dukler 1976, over attachments, fall-offs and the spread of milk flow",
        inputs=(
            worked("", "milk flow of a slope, peak", round(load.peak_l_min, 1), "L/min"),
            worked("", "steady air of a slope", round(load.steady_air_l_min), "L/min"),
            worked("", "time between attachments in a slope", round(load.attach_interval_s, 1), "s"),
            bench.rule("milkline.transient_air_typical_l_min"),
        ), source="Taitel and Dukler, AIChE Journal 22(1), 1976", known="from_memory",
        advised=answer.better_bore_mm, target=(line, "bore_mm") if answer.better_bore_mm else None,
        advised_why="least common milkline bore with slugs for under 5 % of milking"
        if answer.better_bore_mm else "",
    )  # fmt: skip
    bench.find(
        "vacuum.milkline.units", "Cows at peak flow together that a slope takes",
        float(answer.units_by_slug_limit), "cows",
        f"{line.id}: one slope takes {answer.slug_limit_l_min:.0f} L/min beside the air of one attachment, "
        f"{answer.units_by_slug_limit} cows at {load.cow_peak_l_min:g} L/min together; half full by gravity "
        f"{answer.half_full_l_min:.0f} L/min; the 1978 rule would allow {answer.units_1978} units. {SAY}",
        subject=line.id, formula="slug limit / peak flow of a cow",
        source="Taitel and Dukler 1976; half-full gravity; 1978 rule as read in Reinemann 1993",
        known="derived",
    )  # fmt: skip
    table = answer.table_units
    bench.find(
        "vacuum.milkline.table", "Units a slope by the standard's table, as the user entered it",
        None if table is None else load.units, "units",
        f"{line.id}: the table's own figure is {table:g} units a slope; {load.units:.0f} are fitted."
        if table is not None
        else f"{line.id}: the standard's table is not entered (write it into milkline_table.yaml "
        "beside the plant file), so the line is not judged by it.",
        subject=line.id, limit=table, sense="at_most" if table is not None else "says",
        formula="units fitted <= table", source="entered by the user", known="stated",
        missing=() if table is not None else ("the standard's table of units per slope",),
    )  # fmt: skip
