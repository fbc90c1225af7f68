"""Supply, boards, standby set and battery supply, worked by hand on loads that are made up."""

from __future__ import annotations

from math import ceil, sqrt
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.physics.motors import start_kva
from byrewright.plant.plant import Plant
from byrewright.standards.electrical import GENERATOR_KVA, SUPPLY_A, UPS_KVA, StartMethod
from byrewright.studies.sizing import loads as made
from byrewright.studies.sizing import power, standby
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import duty_of
from byrewright.studies.sizing.loads import SITUATIONS, ElectricLoad
from byrewright.studies.sizing.sizes import next_preferred
from tests.plants import machine
from tests.studies.benches import bench_of, milked, small
from tests.studies.told import inputs


def load(
    tag: str, kind: str, kw: float, factor: float = 1.0, on: tuple[float, ...] = (1, 1, 0, 0),
    start: StartMethod | None = None, motor_kw: float = 0.0, **fields: Any,
) -> ElectricLoad:  # fmt: skip
    """A load, with how many of it are on while milking, washing, cooling and at night."""
    motor = {"motor_kw": motor_kw} if kind == "vacuum_pump" else {}
    one = machine(tag, kind, **{"fed_from": ("SB1",), **motor, **fields})
    return ElectricLoad(one, kw, factor, dict(zip(SITUATIONS, on, strict=True)), start, motor_kw)


PUMP = load("VP1", "vacuum_pump", 10.0, 0.8, start="direct", motor_kw=9.0,
            capacity_l_min_free=2000, fed_from=("SB1", "SB2"))  # fmt: skip
HEATER = load("WH1", "water_heater", 20.0, on=(1, 0, 0, 1), volume_l=900, heater_kw=20,
              fed_from=("SB2",))  # fmt: skip
BOTH_KVA = sqrt(30**2 + 7.5**2)
"""10 kW at a power factor of 0.8 draw 7.5 kvar, 20 kW of heat none."""


def supplied(*every: ElectricLoad, site: dict[str, object] | None = None,
             wishes: dict[str, object] | None = None, rules: dict[str, float] | None = None,
             **changes: object) -> StudyContext:  # fmt: skip
    """A bench of 50 stalls with some machines and another supply."""
    parts = {"EM1": machine("EM1", "mains", supply_kva=50, count=2),
             "SB1": machine("SB1", "switchboard", fed_from=("EM1",)),
             "SB2": machine("SB2", "switchboard", fed_from=("EM1",))}  # fmt: skip
    plant: Plant = small(**{**parts, **{x.machine.id: x.machine for x in every}, **changes})
    supply = plant.site.supply.model_copy(update=site or {})
    update = {"site": plant.site.model_copy(update={"supply": supply}),
              "wishes": plant.wishes.model_copy(update=wishes or {})}  # fmt: skip
    return bench_of(plant.model_copy(update=update), rules)


@pytest.mark.parametrize(("limit_kva", "agreed"), [(None, 100.0), (40.0, 40.0), (900.0, 100.0)])
@pytest.mark.parametrize("phases", [3, 1])
def test_demand_of_each_situation(limit_kva: float | None, agreed: float, phases: int) -> None:
    """Would fail if watts were added to voltamperes, the looser of two limits counted, or a supply
    were advised for another situation than the worst (a tenth to spare, the next breaker)."""
    volts = 400.0 if phases == 3 else 230.0
    ctx = supplied(PUMP, HEATER,
                   site={"limit_kva": limit_kva, "phases": phases, "voltage_v": volts})  # fmt: skip
    power._demand(ctx, (PUMP, HEATER))
    factor = sqrt(3) if phases == 3 else 1.0
    room = ctx.number("supply.spare_share")
    for one, kva, kw in zip(ctx.notes.findings, (BOTH_KVA, 12.5, 0.0, 20.0), (30, 10, 0, 20),
                            strict=True):  # fmt: skip
        assert one.value == pytest.approx(kva, abs=0.05) and one.limit == agreed
        amps = 1000 * kva / volts / factor
        on = f"on {phases} phase{'s' * (phases > 1)} at {volts:g} V"
        assert f"draws {kw} kW, {kva:.0f} kVA, {amps:.0f} A {on}" in one.sentence
        worst = one.subject == "milking"
        assert ("takes off 20 kW" in one.sentence) == worst == bool(one.remedies)
        breaker = next(a for a in SUPPLY_A if a >= 1000 * BOTH_KVA * (1 + room) / volts / factor)
        assert one.advised == (round(breaker * volts * factor / 1000) if worst else None)
    none = supplied(PUMP, HEATER, EM1=None)
    power._demand(none, (PUMP, HEATER))
    assert [f.limit for f in none.notes.findings[:-1]] == [None] * 4
    assert "31 kVA are needed" in none.notes.findings[-1].sentence
    assert not none.notes.findings[0].remedies


@pytest.mark.parametrize(("wishes", "lost"), [
    ({"redundancy": "none", "no_single_stop": False}, False),
    ({"redundancy": "shared-running", "no_single_stop": False}, True),
    ({"redundancy": "none", "no_single_stop": True}, True),
])  # fmt: skip
@pytest.mark.parametrize("rated", [None, 40.0])
def test_a_board_takes_over_what_another_fed(
    wishes: dict[str, object], lost: bool, rated: float | None
) -> None:
    """Would fail if a board were sized without the loads that come to it when the other is lost,
    or a feeder told with another current than its board's."""
    second = machine("SB2", "switchboard", fed_from=("EM1",), rating_a=rated)
    ctx = supplied(PUMP, HEATER, wishes=wishes, SB2=second, rules={"supply.spare_share": 0.3})
    power._boards(ctx, (PUMP, HEATER))
    first, other = (f for f in ctx.notes.findings if f.key == "power.board")
    room = 1 + ctx.number("supply.spare_share")

    def amps(kva: float) -> float:
        return 1000 * kva / 400 / sqrt(3)

    assert first.value == pytest.approx(amps(12.5), abs=0.05) and first.limit is None
    worst = BOTH_KVA if lost else 20.0
    assert inputs(other)["S"] == pytest.approx(worst, abs=0.05)
    assert other.value == pytest.approx(rated or amps(worst), abs=0.05)
    assert other.limit == (pytest.approx(amps(worst), abs=0.05) if rated else None)
    assert other.advised == next(a for a in SUPPLY_A if a >= amps(worst) * room)
    assert ("with SB1 lost 31 kVA" in other.sentence) == lost
    assert f"SB2 feeds 20 kVA, {amps(20):.0f} A" in other.sentence
    rows = {r[1]: r for r in ctx.notes.tables[0].rows}
    assert rows["SB2"][2:5] == (round(amps(20.0), 1), round(amps(worst), 1),
                                "SB1" if lost else "usual")  # fmt: skip
    assert rows["SB2"][5] == other.advised and rows["SB1"][4] == "usual"


@pytest.mark.parametrize(("share", "verdict"), [
    (0.99, "fails"), (1.04, "tight"), (1.06, "holds"),
])  # fmt: skip
def test_a_board_near_its_rating(share: float, verdict: str) -> None:
    """Would fail if a board that has a tenth to spare were called tight."""
    amps = 1000 * 20.0 / 400 / sqrt(3)
    board = machine("SB2", "switchboard", fed_from=("EM1",), rating_a=round(share * amps, 2))
    ctx = supplied(PUMP, HEATER, wishes={"redundancy": "none", "no_single_stop": False}, SB2=board)
    power._boards(ctx, (PUMP, HEATER))
    told = {f.subject: f.verdict for f in ctx.notes.findings if f.key == "power.board"}
    assert told["SB2"] == verdict


def test_machines_that_nothing_feeds_are_told_where_there_are_boards() -> None:
    """Would fail if a machine without a supply went unsaid, or one were asked for boards where the
    file has none."""
    loose = load("VP2", "vacuum_pump", 5.0, fed_from=(), capacity_l_min_free=900, motor_kw=4.0)
    for boards, told in ((True, 1), (False, 0)):
        ctx = supplied(PUMP, loose)
        power._unfed(ctx, (PUMP, loose), set(), boards)
        assert len(ctx.notes.findings) == told
    none = supplied(PUMP)
    power._unfed(none, (PUMP,), set(), True)
    assert not none.notes.findings


CHILLER = load("CH1", "chiller", 20.0, 0.8, start="direct", motor_kw=9.0, duty_kw=60,
               compressors=2)  # fmt: skip


@pytest.mark.parametrize(("one", "fault", "many", "remedies", "says"), [
    (PUMP, 5000.0, None, 0, "% is usual at most."), (PUMP, 300.0, None, 1, "Start it softer"),
    (load("VP1", "vacuum_pump", 10.0, start="drive", motor_kw=30.0, capacity_l_min_free=9000),
     200.0, None, 0, "Have the supply strengthened"),
    (CHILLER, 1000.0, "hand", 0, "compressors that start one after another"),
    (CHILLER, 200.0, 6, 0, "Take 6 compressors"),
])  # fmt: skip
def test_the_mains_dip_at_the_hardest_start(
    one: ElectricLoad, fault: float, many: object, remedies: int, says: str
) -> None:
    """Would fail if a weak supply passed, or what makes a start softer were told of a machine that
    has it: dip = 100 S / (S + S_sc)."""
    easy = load("VP2", "vacuum_pump", 5.0, start="drive", motor_kw=1.0, capacity_l_min_free=900)
    bare = load("VP3", "vacuum_pump", 5.0, start="direct", motor_kw=30.0, fed_from=(),
                capacity_l_min_free=900)  # fmt: skip
    ctx = supplied(one, easy, site={"fault_kva": fault})
    power._mains_dip(ctx, (easy, one, bare))
    (told,) = ctx.notes.findings
    assert one.start is not None
    starts = start_kva(one.motor_kw, one.start)
    most = ctx.number("supply.dip_most_pct")
    assert told.value == pytest.approx(100 * starts / (starts + fault), abs=0.05)
    assert told.limit == most and says in told.sentence and f"Starting {one.machine.id}" in (
        told.sentence)  # fmt: skip
    bears = fault * most / (100 - most)
    assert told.advised == (ceil(2 * starts / bears) if many == "hand" else many)
    assert len(told.remedies) == remedies and "(stated)" in told.sentence
    unsaid = supplied(one, site={"fault_kva": None})
    power._mains_dip(unsaid, (one,))
    assert inputs(unsaid.notes.findings[0])["S_sc"] == 100 * ctx.number("supply.fault_multiple")


@pytest.mark.parametrize(("share", "verdict"), [(0.85, "holds"), (0.95, "tight"), (1.05, "fails")])
def test_a_dip_near_what_is_usual(share: float, verdict: str) -> None:
    """Would fail if a supply with more than a tenth to spare were called tight."""
    most = supplied(PUMP).number("supply.dip_most_pct")
    assert PUMP.start is not None
    starts, dip = start_kva(PUMP.motor_kw, PUMP.start), share * most
    ctx = supplied(PUMP, site={"fault_kva": round(starts * (100 - dip) / dip, 1)})
    power._mains_dip(ctx, (PUMP,))
    assert ctx.notes.findings[0].verdict == verdict


def test_motors_on_one_phase_and_the_list_of_all() -> None:
    """Would fail if the largest motor of one phase went unsaid, several were told as one, or the
    list's last row were not the sum of the others."""
    second = load("VP2", "vacuum_pump", 5.0, start="direct", motor_kw=5.0, count=2,
                  capacity_l_min_free=900)  # fmt: skip
    for every, words in (((PUMP, HEATER), "one machine has a motor over"),
                         ((PUMP, second), "2 machines have motors over"),
                         ((HEATER,), "no motor is over")):  # fmt: skip
        ctx = supplied(*every, site={"phases": 1, "voltage_v": 230})
        power._single_phase(ctx, every)
        (told,) = ctx.notes.findings
        assert words in told.sentence and told.value == max(x.motor_kw for x in every)
        fed = {"2": "feed them", "o": "feed it"}.get(words[0], "kW.")
        assert fed in told.sentence
    ctx = supplied(PUMP, HEATER, second)
    power._motor_list(ctx, (PUMP, HEATER, second))
    rows = ctx.notes.tables[0].rows
    assert rows[0][4:6] == ("direct", round(start_kva(9.0, "direct"), 1)) and rows[1][4:6] == (
        "-", 0.0)  # fmt: skip
    assert rows[-1][2] == 4
    assert rows[-1][3] == pytest.approx(sum(float(r[2]) * float(r[3]) for r in rows[:-1]), abs=0.1)
    assert rows[-1][6:10] == (35.0, 15.0, 0.0, 20.0)
    power._single_phase(ctx, (PUMP,))
    assert not ctx.notes.findings


@pytest.mark.parametrize(("kind", "fields", "rated", "expected"), [
    ("water_heater", {"volume_l": 900, "heater_kw": 36}, 36.0, (36.0, 1.0, 0.0)),
    ("cloth_washer", {"load_kg": 10, "motor_kw": 12}, 12.0, (0.6 * 12, 1.0, 0.0)),
    ("controller", {}, 0.2, (0.2, "pf", 0.0)),
    ("chiller", {"duty_kw": 60, "compressors": 2}, 24.0, (24.0, "pf", "eta/2")),
    ("milk_pump", {"flow_l_min": 90, "head_m": 9, "motor_kw": 2.0}, 2.0, ("loading", "pf", 2.0)),
])  # fmt: skip
def test_what_a_machine_draws(
    kind: str, fields: dict[str, Any], rated: float, expected: tuple[object, ...]
) -> None:
    """Would fail if a heater had a motor, a motor drew no more than its shaft gives, or two
    compressors started as one."""
    ctx = bench_of(small(), {"motor.efficiency": 0.8, "motor.loading": 0.6})
    factor = ctx.number("motor.power_factor")
    by_word = {"pf": factor, "eta/2": 24 * 0.8 / 2, "loading": 2.0 * 0.6 / 0.8}
    found = made._input(ctx, machine("X1", kind, **fields), rated)
    assert found == pytest.approx([by_word.get(str(x), x) for x in expected])


@pytest.mark.parametrize(("share", "heat", "words"), [
    (0.0, None, "Heaters and laundry are shed."), (0.25, 5.0, "75 % of heaters"),
    (1.0, 20.0, "Nothing is shed."),
])  # fmt: skip
def test_a_standby_set_carries_its_share_of_heat(
    share: float, heat: float | None, words: str
) -> None:
    """Would fail if heat that is shed were carried, or two pumps were started as one."""
    pair = load("VP2", "vacuum_pump", 5.0, on=(2, 2, 0, 0), start="direct", motor_kw=5.0, count=2,
                capacity_l_min_free=900)  # fmt: skip
    ctx = supplied(PUMP, HEATER, pair, rules={"generator.heat_share": share})
    found = {x.name: x.running_kw for x in standby.standby_loads(ctx, (PUMP, HEATER, pair))}
    heater = {} if heat is None else {"WH1": heat}
    assert found == {"VP1": 10.0, **heater, "VP2 (1 of 2)": 5.0, "VP2 (2 of 2)": 5.0}
    assert words in standby.shed_words(ctx)


@pytest.mark.parametrize(("kva", "start_by"), [(60.0, "tractor"), (400.0, "automatic")])
def test_a_set_by_its_load_its_hardest_start_and_its_fuel(kva: float, start_by: str) -> None:
    """Would fail if a set were sized by the easier of load and start, with another reactance than
    its own, or its fuel told for another load: P / (pf u) against S x'd (100 - dip) / dip."""
    one = machine("GE1", "generator", rating_kva=kva, reactance_pu=0.25, start_by=start_by,
                  fuel_l=300)  # fmt: skip
    ctx = supplied(PUMP, HEATER, GE1=one, wishes={"standby_power": "generator"})
    easy = load("VP3", "vacuum_pump", 0.0001, start="drive", motor_kw=0.5, capacity_l_min_free=900)
    standby.size_generator(ctx, (PUMP, HEATER, easy))
    found = {f.key: f for f in ctx.notes.findings}
    told, dip = found["power.generator"], found["power.dip"]
    number = ctx.number
    pf, most = number("generator.power_factor"), number("start.dip_most_pct")
    starts = start_kva(9.0, "direct")
    by_start = starts * 0.25 * (100 - most) / most
    need = max(10.0 / pf / number("generator.load_most"), by_start)
    assert told.limit == pytest.approx(need, abs=0.06) and inputs(told)["P"] == 10.0
    assert told.advised == next(s for s in GENERATOR_KVA if s >= 1.05 * need)
    hp = 10 * number("generator.engine_hp_per_kw")
    assert (f"at least {hp:.0f} hp" in told.sentence) == (start_by == "tractor")
    falls = 100 * starts / (starts + kva / 0.25)
    assert dip.value == pytest.approx(falls, abs=0.06) and dip.limit == most
    assert ("softer start" in dip.sentence) == (falls > 0.9 * most)
    assert dip.verdict == ("fails" if falls > most else "holds") and dip.allowance == 0.1
    rated = kva * pf
    burns = number("generator.fuel_l_per_kwh") * (
        rated * number("generator.idle_fuel_share") + 10 * (1 - number("generator.idle_fuel_share"))
    )
    fuel = found["power.fuel"]
    assert fuel.advised == next_preferred(1.05 * number("generator.fuel_hours") * burns)
    assert fuel.value == pytest.approx(300 / burns, abs=0.06)
    assert f"({number('generator.fuel_hours') * burns:.0f} L)" in fuel.sentence
    small_set = machine("GE1", "generator", rating_kva=10 / pf / 1.2, fuel_l=300)
    weak = supplied(PUMP, GE1=small_set)
    standby.size_generator(weak, (PUMP,))
    assert all(f.key != "power.fuel" for f in weak.notes.findings)
    for wish, lacks in (("none", 0), ("generator", 1)):
        bare = supplied(PUMP, wishes={"standby_power": wish})
        standby.size_generator(bare, (PUMP,))
        assert len(bare.notes.findings) == lacks
        by_rule = max(10.0 / pf / number("generator.load_most"), starts * 0.2 * (100 - most) / most)
        size = next(s for s in GENERATOR_KVA if s >= by_rule)
        assert all(f"about {size:.0f} kVA" in f.sentence for f in bare.notes.findings)


@pytest.mark.parametrize(("start_s", "hold", "standby_power", "missing"), [
    (60.0, None, "none", 1), (600.0, 20.0, "none", 1),
])  # fmt: skip
def test_a_battery_carries_controls_until_the_set_runs(
    start_s: float, hold: float | None, standby_power: str, missing: int
) -> None:
    """Would fail if a battery were sized for all that runs, or held for less than twice the start
    of the slowest set."""
    control = load("CT1", "controller", 2.0, 0.8, on=(1, 1, 1, 1), fed_from=("US1",))
    parts = {
        "US1": machine("US1", "uninterruptible_supply", rating_kva=3, hold_min=20, fed_from="SB1"),
        "CT2": machine("CT2", "controller", fed_from=("SB1",)),
        "GE1": machine("GE1", "generator", rating_kva=90, start_s=10),
        "GE2": machine("GE2", "generator", rating_kva=90, start_s=start_s),
    }
    ctx = supplied(PUMP, control, wishes={"standby_power": standby_power}, **parts)
    standby.size_uninterruptible(ctx, (PUMP, control))
    found = {f.key: f for f in ctx.notes.findings}
    need = 2.0 / 0.8 * ctx.number("ups.margin")
    told = found["power.ups"]
    assert told.limit == pytest.approx(need, abs=0.001) and "US1 carries CT1" in told.sentence
    assert told.advised == next(s for s in UPS_KVA if s >= 1.05 * need)
    assert inputs(told)["S_load"] == pytest.approx(2.5, abs=0.001)
    kept = found["power.ups_hold"]
    assert kept.limit == (hold or ctx.number("ups.hold_min")) and kept.value == 20.0
    assert inputs(kept)["t_start"] == start_s
    assert kept.advised == next_preferred(1.05 * (kept.limit or 0.0))
    assert found["power.ups_missing"].value == missing
    for wish, lacks in (("none", 0), ("generator", 2)):
        bare = supplied(PUMP, wishes={"standby_power": wish}, CT1=parts["CT2"].model_copy(
            update={"id": "CT1"}), CT2=parts["CT2"])  # fmt: skip
        standby.size_uninterruptible(bare, (PUMP,))
        assert [f.value for f in bare.notes.findings] == ([lacks] if lacks else [])


@pytest.mark.parametrize(("kind", "fields", "on"), [
    ("controller", {"count": 2}, (2, 2, 2, 2)), ("sounder", {"count": 2}, (2, 2, 2, 2)),
    ("water_heater", {"volume_l": 900, "heater_kw": 9, "normally": "stopped"}, (1, 1, 1, 1)),
    ("cloth_washer", {"count": 2, "load_kg": 10, "motor_kw": 9}, (2, 2, 2, 0)),
    ("water_heater", {"volume_l": 900, "heater_kw": 9}, (1, 1, 1, 1)),
    ("bulk_tank", {"volume_l": 900, "cooling_kw": 9, "count": 2}, (2, 2, 2, 2)),
    ("chiller", {"duty_kw": 9, "count": 2}, (2, 2, 2, 0)),
    ("chiller", {"duty_kw": 9, "normally": "ready"}, (0, 0, 0, 0)),
    ("ice_bank", {"duty_kw": 9, "store_kwh": 90, "make_from": "10:00", "make_until": "12:00"},
     (0, 0, 1, 1)),
    ("ice_bank", {"duty_kw": 9, "store_kwh": 90, "make_from": "20:00", "make_until": "06:00"},
     (1, 1, 1, 1)),
])  # fmt: skip
def test_what_is_on_in_each_situation(kind: str, fields: dict[str, Any], on: tuple[int, ...]
                                      ) -> None:  # fmt: skip
    """Would fail if laundry ran at night, a quiet sounder were off, a chiller that stands ready
    were counted, or ice were made at milking though its hours lie elsewhere (milkings at five and
    at half past four)."""
    one = machine("X1", kind, **fields)
    ctx = supplied(X1=one)
    day = duty_of(ctx)
    assert tuple(made._on(ctx, day, one, s) for s in SITUATIONS) == on


@pytest.mark.parametrize(("from_", "until", "meets"), [
    ("09:00", "12:00", False), ("04:00", "05:30", True), ("22:00", "05:30", True),
    ("22:00", "04:00", False), ("16:00", "17:00", True), ("00:00", "00:00", True),
])  # fmt: skip
def test_ice_that_is_made_while_milking(from_: str, until: str, meets: bool) -> None:
    """Would fail if hours over midnight missed the milking of the next morning."""
    bank = machine("IB1", "ice_bank", store_kwh=90, duty_kw=9, make_from=from_, make_until=until)
    day = milked(duty_of(bench_of(small())), (300, 2.0, 900.0), (990, 2.0, 900.0))
    assert made._window_meets_milking(bank, day) == meets  # type: ignore[arg-type]


@pytest.mark.parametrize(("kind", "fields", "motor_kw", "starts", "told"), [
    ("milk_pump", {"flow_l_min": 90, "head_m": 9, "motor_kw": 9, "control": "stepped"}, 9.0,
     "drive", 0),
    ("milk_pump", {"flow_l_min": 90, "head_m": 9, "motor_kw": 2, "control": "on_off"}, 5.5,
     "direct", 0),
    ("milk_pump", {"flow_l_min": 90, "head_m": 9, "motor_kw": 9, "control": "on_off"}, 5.6,
     "soft", 1),
    ("vacuum_pump", {"capacity_l_min_free": 900, "motor_kw": 9, "start": "star_delta"}, 9.0,
     "star_delta", 0),
    ("vacuum_pump", {"capacity_l_min_free": 900, "motor_kw": 9, "speed": "variable"}, 9.0,
     "drive", 0),
    ("drive_unit", {"motor_kw": 1.5}, 1.5, "drive", 0),
    ("controller", {}, 0.0, None, 0),
])  # fmt: skip
def test_how_a_motor_starts(
    kind: str, fields: dict[str, Any], motor_kw: float, starts: str | None, told: int
) -> None:
    """Would fail if a large motor were started direct, or one on a drive as if it had none."""
    ctx = bench_of(small())
    assert made._start(ctx, machine("X1", kind, **fields), motor_kw) == starts
    assert len(ctx.notes.assumptions) == told


@pytest.mark.parametrize(("start", "end", "meets"), [
    ("22:00", "04:00", False), ("22:00", "05:01", True), ("07:00", "12:00", False),
    ("06:59", "12:00", True), ("23:00", "23:30", False), ("23:00", "00:30", True),
    ("12:00", "12:00", True),
])  # fmt: skip
def test_hours_of_ice_making_that_meet_a_milking(start: str, end: str, meets: bool) -> None:
    """Milkings from five to seven and half past midnight to one, of the next day: would fail if a
    window before or behind a milking met it, or one over midnight met none."""
    milkings = [SimpleNamespace(start_min=300, end_min=420), SimpleNamespace(start_min=20,
                end_min=60)]  # fmt: skip
    bank: Any = SimpleNamespace(cold=lambda: SimpleNamespace(hours=(start, end)))
    only: Any = SimpleNamespace(milkings=milkings if end == "00:30" else milkings[:1])
    assert made._window_meets_milking(bank, only) == meets
    always: Any = SimpleNamespace(cold=lambda: SimpleNamespace(hours=None))
    assert made._window_meets_milking(always, only)
