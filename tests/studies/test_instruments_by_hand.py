"""What instruments would read on a small plant, worked by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.studies import instruments
from byrewright.studies.sizing.context import StudyContext
from tests.plants import machine
from tests.studies.benches import bench_of, small


def reads(ctx: StudyContext) -> dict[tuple[str, str], Any]:
    """The readings by key and machine."""
    return {(f.key.removeprefix("reading."), f.subject): f.value for f in ctx.notes.findings}


def day(**changed: Any) -> Any:
    """Water of 7 to 12 degC, milk of 35, air of 100 kPa."""
    usual = {"water_coldest_c": 7.0, "water_warmest_c": 12.0, "milk_at_receiver_c": 35.0,
             "pressure_kpa_abs": 100.0, "turn_s": 480.0, "largest": SimpleNamespace(hours=4.0),
             "milk_out": SimpleNamespace(mean_s=330.0)}  # fmt: skip
    return SimpleNamespace(**usual | changed)


@pytest.mark.parametrize(("store", "kw", "count", "taken", "chilled"), [
    (0.0, 30.0, 1, 60.0, 9.0), (0.0, 30.0, 2, 60.0, 2.0), (0.0, 20.0, 2, 60.0, 2.0 + 14 / 3),
    (90.0, 30.0, 1, 60.0, 2.0), (0.0, 30.0, 1, 0.0, 2.0),
])  # fmt: skip
def test_chilled_water_warms_where_its_makers_give_too_little(
    store: float, kw: float, count: int, taken: float, chilled: float
) -> None:
    """Milk comes at 16 degC to water of 2: half of the cold leaves half of the difference. Would
    fail if a store counted for nothing, or several makers gave as much as one."""
    made = machine("CH1", "chiller", duty_kw=40)
    one = SimpleNamespace(leaving_c=2.0, store_kwh=store, duty_kw=kw)
    ctx = bench_of(small(CU1=None, CU2=None))
    maker = SimpleNamespace(cold=lambda: one, count=count)
    ctx.plant = SimpleNamespace(machines=lambda _: [maker])  # type: ignore[assignment]
    line: Any = SimpleNamespace(coolant_in_c=2.0, chilled_kw=taken, pre_cooled_c=16.0)
    assert made and instruments._coolant_c(ctx, line) == pytest.approx(chilled)
    line.coolant_in_c = None
    assert instruments._coolant_c(ctx, line) is None


def test_what_a_cooler_reads(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two alike: would fail if flows were of one, or chilled water that comes warmer cooled as
    much: of 16 to 2 degC it takes half, of 16 to 9 half of that."""
    one = SimpleNamespace(out_c=9.0, pre_cooled_c=16.0, second=1, first=1, coolant_in_c=2.0,
                          milk_l_min=60.0, water_l_min=120.0, count=2, in_c=35.0,
                          water_out_c=21.0)  # fmt: skip
    line = SimpleNamespace(each={"PC1": one})
    monkeypatch.setattr(instruments, "in_line", lambda *_: line)
    monkeypatch.setattr(instruments, "size_cooling", lambda *_: None)
    for chilled, out in ((2.0, 9.0), (9.0, 12.5), (None, 9.0)):
        monkeypatch.setattr(instruments, "_coolant_c", lambda *_, c=chilled: c)
        ctx = bench_of(small())
        instruments._coolers(ctx, day())
        got = {k: v for (k, _), v in reads(ctx).items()}
        assert got == {
            "cooler_milk_flow": 120.0, "cooler_water_flow": 240.0, "cooler_milk_in": 35.0,
            "cooler_water_in": 12.0, "cooler_water_out": 21.0, "cooler_milk_out": out,
        }  # fmt: skip
    one.first, one.second, one.water_out_c = None, None, None
    ctx = bench_of(small())
    monkeypatch.setattr(instruments, "_coolant_c", lambda *_: 9.0)
    instruments._coolers(ctx, day())
    assert {k for k, _ in reads(ctx)} == {
        "cooler_milk_flow", "cooler_water_flow", "cooler_milk_in", "cooler_milk_out"}  # fmt: skip
    assert reads(ctx)["cooler_milk_out", "PC1"] == 9.0


def test_what_tanks_read(monkeypatch: pytest.MonkeyPatch) -> None:
    """A tank that warms by half a kelvin an hour does by two in four: would fail if a tank without
    cooling were timed, milk came warmer than from the cooler, or a bank froze in another time."""
    asked: list[Any] = []

    def pull_downs(_: Any, __: Any, tank: Any, limit: float, in_c: float) -> Any:
        asked.append((tank.id, limit, in_c))
        return 1.5, 6.0 if tank.id == "TK1" else None

    monkeypatch.setattr(instruments, "pull_downs", pull_downs)
    monkeypatch.setattr(instruments, "wanted_of", lambda *_: SimpleNamespace(limit_c=4.0))
    tanks = {t: machine(t, "bulk_tank", volume_l=9000, cooling_kw=20, set_c=c, insulation_k_h=0.5)
             for t, c in (("TK1", 3.5), ("TK2", 4.5))}  # fmt: skip
    bank = machine("IB1", "ice_bank", store_kwh=120, duty_kw=20)
    ctx = bench_of(small(IB1=bank, **tanks))
    instruments._tanks(ctx, day(), None)  # type: ignore[arg-type]
    assert asked == [("TK1", 4.0, 35.0), ("TK2", 4.5, 35.0)]
    got = reads(ctx)
    assert got["tank_rise", "TK1"] == pytest.approx(2.0, rel=0.02)
    assert got["cooling_time", "TK2"] == 1.5 and got["tank_blend", "TK1"] == 6.0
    assert ("tank_blend", "TK2") not in got and got["ice_hours", "IB1"] == pytest.approx(6.0)
    asked.clear()
    instruments._read(ctx, "cooler_milk_out", "Milk out", 11.0, "degC", "PC1", "x", "y")
    instruments._tanks(ctx, day(), None)  # type: ignore[arg-type]
    assert asked[0] == ("TK1", 4.0, 11.0)
    monkeypatch.setattr(instruments, "wanted_of", lambda *_: None)
    instruments._tanks(ctx, day(), None)  # type: ignore[arg-type]
    assert asked[-2][1] == max(ctx.number("milk.stored_c"), 3.5)


@pytest.mark.parametrize(("kwh", "kept"), [(10.0, 80.0), (200.0, None)])
def test_what_heaters_read(monkeypatch: pytest.MonkeyPatch, kwh: float, kept: float | None) -> None:
    """A litre takes 4.19 kJ a kelvin: would fail if a heater gave all of its input, the larger of
    two were drawn as little as the smaller, or the hot wash began warmer than the water stands."""
    ctx = bench_of(small(
        WH1=machine("WH1", "water_heater", volume_l=1500, heater_kw=30, set_c=80),
        WH2=machine("WH2", "water_heater", volume_l=500, heater_kw=20, set_c=80, fuel="gas"),
    ))  # fmt: skip
    begun: list[Any] = []
    monkeypatch.setattr(instruments, "wash_heat_of", lambda *_: SimpleNamespace(
        heat_kwh=kwh, wash=SimpleNamespace(hot_l=300.0)))  # fmt: skip
    monkeypatch.setattr(instruments, "hot_wash_end", lambda _, start, litres, cold: (
        begun.append((start, litres, cold)) or SimpleNamespace(end_c=55.0)))  # fmt: skip
    instruments._heaters(ctx, day())
    got, number = reads(ctx), ctx.number
    electric, fuel = (number(f"heater.efficiency_{k}") for k in ("electric", "fuel"))
    assert got["heat_up", "WH1"] == pytest.approx(
        1500 * 4.19 * 73 / 3600 / (30 * electric), rel=0.01
    )
    assert got["heat_up", "WH2"] == pytest.approx(500 * 4.19 * 73 / 3600 / (20 * fuel), rel=0.01)
    again = 30 * electric * number("heater.recovery_h") / (kwh * 0.75)
    stored = 7.0 + 73.0 * min(1.0, again)
    assert got["heater_stored", "WH1"] == pytest.approx(kept or stored)
    least = min(stored, got["heater_stored", "WH2"])
    assert begun == [(pytest.approx(min(ctx.plant.cleaning.hot_c, least)), 300.0, 2.0)]
    assert got["wash_return", ""] == 55.0
    doser: Any = ctx.plant.equipment["DS1"]
    assert got["wash_dose", ""] == pytest.approx(300 * doser.dose_ml_l)


def test_what_compressed_air_reads(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten minutes of leaks out of 500 L at one bar: would fail if the smaller compressor, or the
    mean use where it is more, were left out, or a dryer dried air that goes past it."""
    rules = {"air.leak_target_share": 0.1, "air.leak_times": 2.0, "air.dryer_works_share": 0.9}
    dryer = machine("AD1", "air_dryer", capacity_l_min_free=400, dew_point_c=3)
    for used, leak in ((50.0, 0.2 * 0.2 * 400), (300.0, 60.0)):
        mean = SimpleNamespace(mean_l_min=used)
        monkeypatch.setattr(instruments, "air_demand", lambda *_, m=mean: m)
        ctx = bench_of(small(AD1=dryer), rules)
        instruments._compressed_air(ctx, day())
        got = reads(ctx)
        assert got["air_leak_down", "AV1"] == pytest.approx(leak * 10 / 500 * 100)
        # Vapour at 3 and 45 degC or so (steam tables, from memory): a tenth of wet air is much.
        assert 3.0 < got["dew_point", "AD1"] < 25.0
    for c, kpa in ((10.0, 1.228), (20.0, 2.339), (40.0, 7.384)):
        assert instruments._dew_point_c(kpa) == pytest.approx(c, abs=0.1)
    deck = bench_of(small())
    instruments._deck(deck, day())
    assert reads(deck) == {("turn_time", "PF1"): 480.0, ("milk_out", ""): 330.0}
