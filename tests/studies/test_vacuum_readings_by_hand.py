"""What the instruments will read, on states of the vacuum that are made up."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.results import Finding
from byrewright.standards.units import convert
from byrewright.studies.vacuum import plate_readings, readings
from tests.plants import machine, rotary
from tests.studies.benches import bench_of
from tests.studies.test_vacuum_findings_by_hand import case, network, state

PLANT = rotary(20, 60)
RULES = {
    "vacuum.test.working_vacuum_kpa": 1.5, "vacuum.test.sensitivity_kpa": 1.0,
    "vacuum.regulation_loss_floor_l_min": 35.0, "vacuum.regulation_loss_share": 0.1,
    "vacuum.regulator_leak_floor_l_min": 35.0, "vacuum.regulator_leak_share": 0.05,
    "vacuum.milk_leak_base_l_min": 10.0, "vacuum.milk_leak_per_unit_l_min": 2.0,
    "vacuum.leak_times.regulator": 1.2, "vacuum.leak_times.system": 2.0,
    "vacuum.leak_times.milk": 1.0, "vacuum.silencer_kpa": 1.5,
}  # fmt: skip


def told(what: Any, region: str = "EU", plant: Any = PLANT, **of: Any) -> dict[str, Finding]:
    """Readings by key and subject, of a plant in a region."""
    site = plant.site.model_copy(update={"region": region})
    ctx = bench_of(plant.model_copy(update={"site": site}), RULES)
    what(ctx, case(**of))
    return {f.key.removeprefix("vacuum.test.") + f.subject: f for f in ctx.notes.findings}


@pytest.mark.parametrize(("vm", "idle", "away", "rise"), [
    (41.0, 42.5, 1.0, 1.5), (43.75, 43.0, 1.75, 0.0), (40.25, 41.25, 1.75, 1.0),
])  # fmt: skip
def test_vacuum_against_its_setting(vm: float, idle: float, away: float, rise: float) -> None:
    """Set to 42: would fail if too much vacuum were well, or a fall without units a rise."""
    found = told(readings._vacuum, milking=state(vm=vm), states={"no_units": state(vm=idle)})
    working, sensitivity = found["working_vacuum"], found["sensitivity"]
    assert (working.value, working.verdict == "fails") == (away, away > 1.5)
    assert (sensitivity.value, sensitivity.verdict == "fails") == (rise, rise > 1.0)


def plate(name: str, capacity: float = 4000.0) -> Any:
    """A pump that displaces 9000 L/min, rated for 4000 at 50 kPa."""
    return SimpleNamespace(name=name, displacement=9000.0, slip=1 / 0.9 - 1,
                           rated_l_min_free=4000.0,
                           machine=SimpleNamespace(capacity_l_min_free=capacity))  # fmt: skip


def test_pumps_at_full_speed() -> None:
    """At 40 kPa 9000 (1 - 40/90) are 5000 L/min and back pressure 1.5 (5/4)^2 kPa: would fail if a
    pump that stands were read at its own vacuum, or at the speed at which it runs."""
    net = SimpleNamespace(pumps=(plate("A"), plate("B")), ambient_kpa_abs=100.0,
                          set_vacuum_kpa=40.0, kg_s=lambda q: q / 50_000,
                          l_min_free=lambda m: m * 50_000)  # fmt: skip
    pumps = (SimpleNamespace(speed=0.6, inlet_vacuum_kpa=45.0),
             SimpleNamespace(speed=0.0, inlet_vacuum_kpa=0.0))  # fmt: skip
    found = told(readings._pumps, network=net, milking=SimpleNamespace(pumps=pumps))
    for name, kpa, free in (("A", 45.0, 4500.0), ("B", 40.0, 5000.0)):
        # 1.5 kPa behind a pump let 9000 e / 100 of each slip back
        assert found[f"pump_capacity{name}"].value == pytest.approx(4000.0 - 15.0, abs=0.5)
        here = found[f"pump_capacity{name}"].sentence.partition("50 kPa and ")[2]
        at = float(here.split(" ")[0])
        assert at == pytest.approx(free, rel=0.01) and f"working {kpa:.1f} kPa" in here
        assert found[f"exhaust{name}"].value == pytest.approx(1.5 * (at / 4000.0) ** 2, abs=0.01)


@pytest.mark.parametrize(("us", "shuts", "has"), [
    ("EU", True, 700.0), ("EU", False, 700.0), ("US", True, 2000.0), ("US", True, 1400.0),
])  # fmt: skip
def test_reserve_by_one_rule_or_the_other(us: str, shuts: bool, has: float) -> None:
    """The US rule asks 35 + 20 cfm for twenty units: would fail if both rule sets were held, or all
    units were taken to shut themselves off where one kind does not."""
    unit = PLANT.equipment["MU1"].model_copy(update={"shut_off": shuts})
    other = machine("MU2", "milking_unit", count=1, shut_off=True)
    plant = PLANT.model_copy(update={"equipment": PLANT.equipment | {"MU1": unit, "MU2": other}})
    net = network()
    net.units = 20.0
    found = told(readings._reserve, us, plant, network=net, reserve=state(at_a1=has),
                 manual=state(at_a1=has + 60.0))  # fmt: skip
    iso, cfm = found["effective_reserve_iso"], found["effective_reserve_us"]
    assert (iso.limit is None, cfm.limit is None) == (us == "US", us == "EU")
    if us == "US":
        assert cfm.limit == pytest.approx(convert(55.0, "cfm", "L/min"))
        assert (cfm.verdict == "fails") == (has < 1500.0)
        assert "not applied here" in iso.sentence
    else:
        assert (iso.limit or 0.0) == pytest.approx(readings.reserve_iso_l_min_free(20, shuts))
        assert "not applied here" in cfm.sentence
    assert found["manual_reserve"].value == has + 60.0
    assert iso.title.endswith("ISO form") and cfm.title.endswith("US rule")
    assert iso.source.startswith("ISO") and cfm.source.startswith("Cornell")


@pytest.mark.parametrize(("manual", "loss", "gap", "verdict", "cause"), [
    (300.0, 35.0, 1.0, "holds", ""), (300.0, 36.0, 1.0, "fails", "senses at B, where vacuum"),
    (1000.0, 100.0, 1.0, "holds", ""), (1000.0, 101.0, 0.5, "fails", "still admits air"),
])  # fmt: skip
def test_air_that_control_does_not_call_on(
    manual: float, loss: float, gap: float, verdict: str, cause: str
) -> None:
    """35 L/min or a tenth is allowed: would fail if the lesser were, or a gap between sensor and
    receiver were blamed that is not there."""
    net = SimpleNamespace(units=20.0, sense=1, milk_point=0, nodes=("A", "B"))
    there = state(at_a1=manual - loss, at=(40.0, 40.0 + gap).__getitem__)
    found = told(readings._reserve, network=net, reserve=there, manual=state(at_a1=manual))
    one = found["regulation_loss"]
    assert one.value == pytest.approx(loss) and (one.verdict == "fails") == (verdict == "fails")
    assert one.limit == max(35.0, 0.1 * manual)
    assert (cause in one.sentence) and ("senses" in one.sentence) == ("senses" in cause)


@pytest.mark.parametrize(("manual", "regulator"), [(600.0, 35.0), (1000.0, 50.0)])
def test_leaks_and_what_is_allowed_of_them(manual: float, regulator: float) -> None:
    """Twenty units may leak 10 and 2 each: would fail if what was read were told as the limit."""
    use = SimpleNamespace(system_leak=80.0, milk_leak=50.0, total=1.0)
    net = SimpleNamespace(units=20.0)
    found = told(readings._leakages, network=net, manual=state(at_a1=manual),
                 milking=SimpleNamespace(use=use))  # fmt: skip
    leaks = [found[f"{k}_leak"] for k in ("regulator", "system", "milk")]
    assert [f.value for f in leaks] == [pytest.approx(42.0), 80.0, 50.0]
    allowed = [next(i.value for i in f.inputs if i.symbol == "allowed") for f in leaks]
    assert allowed == [regulator, 40.0, 50.0]
    assert ["limit itself" in f.sentence for f in leaks] == [False, False, True]
    assert f"at most {regulator:.0f} L/min" in leaks[0].sentence


def test_drops_between_two_points() -> None:
    """Would fail if a pump that stands were read, a rise were told as a drop, or the near end of
    the pulsator line were told as its far end."""
    pumps = (SimpleNamespace(name="A", speed=1.0, inlet_vacuum_kpa=43.5),
             SimpleNamespace(name="B", speed=0.0, inlet_vacuum_kpa=49.0))  # fmt: skip
    at = {7: 41.0, 1: 41.5, 2: 40.75}.__getitem__
    one = state(*pumps, vm=42.0, at=at)
    for region, held in (("EU", "iso"), ("US", "nmc")):
        for pulses in (((1, 5.0), (2, 5.0)), ()):
            net = SimpleNamespace(regulation_point=7, pulses_at=pulses)
            found = told(readings._drops, region, network=net, reserve=one, milking=one)
            values = {k: f.value for k, f in found.items() if held in k}
            want = {f"drop_regulator_{held}": 0.0, f"drop_pump_{held}A": 1.5}
            assert values == want | ({f"drop_pulsator_line_{held}": 1.25} if pulses else {})
            assert all((f.limit is not None) == (held in k) for k, f in found.items())
            assert found[f"drop_regulator_{held}"].sentence.startswith("0.00 kPa from")
            assert all(f.source.startswith("US" if "nmc" in k else "ISO") for k, f in found.items())


def test_what_units_held_open_do(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a reading that holds were mended, or a control where air is short."""
    monkeypatch.setattr(readings, "retuned", lambda _: ("retuned",))
    monkeypatch.setattr(readings, "more_air", lambda _, times, __: (times,))
    ctx = bench_of(PLANT, RULES)
    most = {k: ctx.number(f"vacuum.test.{k}_kpa")
            for k in ("fall_off_drop", "undershoot", "overshoot", "attach_drop")}  # fmt: skip
    for over in (0.0, 0.3):
        run = SimpleNamespace(
            event=SimpleNamespace(title="Two units"), before_kpa=42.0, least_kpa=39.0,
            most_kpa=42.5,
            during_kpa=42.0 - most["fall_off_drop"] - over, drop_kpa=most["attach_drop"] + over,
            undershoot_kpa=most["undershoot"] + over, overshoot_kpa=most["overshoot"] + over,
        )  # fmt: skip
        found = told(readings._regulation, runs={"open_test": run, "attach": run})
        assert {k: f.value for k, f in found.items()} == pytest.approx(
            {k: v + over for k, v in most.items()})  # fmt: skip
        assert all(("To put it right" in f.sentence) == bool(over)
                   for k, f in found.items() if k != "attach_drop")  # fmt: skip
        if over:
            assert all(f.verdict == "fails" for f in found.values())
            assert found["fall_off_drop"].remedies == (1.25,)
            assert found["overshoot"].remedies == found["undershoot"].remedies == ("retuned",)
    assert told(readings._regulation, runs={}) == {}
    run.during_kpa = 43.0
    assert told(readings._regulation, runs={"open_test": run})["fall_off_drop"].value == 0.0


def test_the_sheet_to_take_along() -> None:
    """Would fail if a reading without a limit were said to hold, or a value were left out."""
    usual = {"subject": "VP1", "unit": "kPa", "sentence": "", "source": "ISO",
             "confidence": "from_memory"}  # fmt: skip
    found = [Finding("k", title="A", value=1.256, verdict="fails", sense="at_most", limit=1.0,
                     **usual),
             Finding("k", title="B", value=None, verdict="holds", **usual)]  # fmt: skip
    assert readings._sheet(found).rows == (
        ("A", "VP1", 1.26, "kPa", "at most 1", "fails", "ISO (from memory)"),
        ("B", "VP1", 0.0, "kPa", "", "-", "ISO (from memory)"))  # fmt: skip


def test_phases_of_a_pulsator(monkeypatch: pytest.MonkeyPatch) -> None:
    """150, 450, 100 and 300 ms of a second: would fail if a phase were told of another, or the
    vacuum where it is highest were asked."""
    asked: list[float] = []
    monkeypatch.setattr(plate_readings, "pulsation_phases_ms",
                        lambda rate, ratio, least, *_: asked.append(least)
                        or (150.0, 450.0, 100.0, 300.0))  # fmt: skip
    pulse = PLANT.equipment["PU1"].model_copy(update={"ratio_pct": 62.0})
    plant = PLANT.model_copy(update={"equipment": {"PU1": pulse}})
    net = SimpleNamespace(pulses_at=((0, 1.0), (1, 1.0)), set_vacuum_kpa=42.0)
    one = state(at=(41.0, 40.0).__getitem__)
    found = told(plate_readings.pulsation, plant=plant, network=net, milking=one)
    values = {k.removesuffix("PU1"): f.value for k, f in found.items()}
    assert values["pulsator_ratio"] == pytest.approx(2.0) and asked == [40.0]
    assert (values["phase_b"], values["phase_d"], values["phase_d_ms"]) == (45.0, 30.0, 300.0)
    assert "b 450 ms (45 %)" in found["phase_bPU1"].sentence
