"""Heat of refrigeration for wash water, worked by hand on cold and draws that are made up."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.engine.draws import ambient_c
from byrewright.physics.air import outside_c
from byrewright.plant.farm import Collection, Tariff
from byrewright.plant.roles import MakesCold, RecoversHeat
from byrewright.studies.sizing import recovery
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty, duty_of
from byrewright.studies.sizing.recovery import MonthOfHeat, RecoveredHeat, Taker
from byrewright.studies.sizing.sizes import next_preferred
from byrewright.studies.sizing.timetable import Timetable
from tests.plants import machine
from tests.studies.benches import bench_of, milked, small, worked_at
from tests.studies.told import inputs

KJ_L = 1.03 * 3.93


@pytest.fixture(scope="module")
def day() -> Duty:
    """A milking of 6000 L from six to eight."""
    return milked(duty_of(bench_of(small())), (360, 2.0, 6000.0))


def months(given: float = 100.0, hot: float = 900.0, wanted: float = 60.0, taken: float = 40.0
           ) -> RecoveredHeat:  # fmt: skip
    """A year of alike months, but for the last two."""
    one = MonthOfHeat(given, hot, wanted, taken)
    none, twice = MonthOfHeat(*[0.0] * 4), MonthOfHeat(2 * given, 2 * hot, 2 * wanted, 2 * taken)
    return RecoveredHeat((*[one] * 10, none, twice))


def quarters(each: dict[int, float]) -> list[float]:
    """Values of the quarters of an hour of a day."""
    return [each.get(q, 0.0) for q in range(96)]


def test_the_mean_of_a_year() -> None:
    """Would fail if a month stood for the year."""
    assert months().mean == MonthOfHeat(100.0, 900.0, 60.0, 40.0)
    assert recovery._hour(0) == 0.125 and recovery._hour(95) == 23.875


def test_heat_given_off_is_the_cold_and_the_work(day: Duty) -> None:
    """Would fail if the work of a compressor were left out, or grew in cold air: 10 kWh at a
    coefficient of 2.5 that falls by a fortieth for each kelvin over 32 degC."""
    units = {t: machine(t, "condensing_unit", duty_kw=30, cop=2.5, rated_ambient_c=32)
             for t in ("CU1", "CU2")}  # fmt: skip
    ctx = bench_of(small(**units))
    made = {"CU1": quarters({40: 10.0, 60: 5.0}), "CU2": quarters({40: 2.0})}
    ctx.known["cold by the quarter of an hour", 7] = made
    given = recovery._given_kwh(ctx, day, tuple(units.values()), 7)  # type: ignore[arg-type]
    mean, swing = ambient_c(ctx.plant, ctx.rules, 7)
    by_hand = {}
    for q, kwh in ((40, 12.0), (60, 5.0)):
        warmer = outside_c((q + 0.5) / 4, mean, swing) - 32
        by_hand[q] = kwh * (1 + 1 / (2.5 * (1 - 0.025 * warmer)))
    assert given == pytest.approx(quarters(by_hand))


def test_cold_is_shared_by_those_alike_in_their_hours(
    day: Duty, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if chillers beside an ice bank took more than they make, ice were made outside of
    its hours, or unlike units of tanks shared the milk's heat evenly."""
    makers = {
        "IB1": machine("IB1", "ice_bank", store_kwh=90, duty_kw=20),
        "CH1": machine("CH1", "chiller", duty_kw=10, count=2),
        "CU1": machine("CU1", "condensing_unit", duty_kw=60),
        "CU2": machine("CU2", "condensing_unit", duty_kw=15, count=2),
    }
    ctx = bench_of(small(**makers))
    monkeypatch.setattr(recovery, "in_line", lambda *_: worked_at(18.0, 10.0))
    asked = dict.fromkeys(range(24, 28), 8.0)
    monkeypatch.setattr(recovery, "hourly_cold_kwh", lambda *_: quarters(asked))
    monkeypatch.setattr(recovery, "_into_l", lambda *_: quarters({24: 1000.0, 25: 500.0}))
    monkeypatch.setattr(recovery, "duty_share", lambda *_: 1.0)
    made = recovery._cold_kwh(ctx, day, 7)
    assert made["CH1"] == pytest.approx(quarters(dict.fromkeys(asked, 5.0)))
    ice = [5.0 if h >= 88 else 0.0 for h in range(96)]
    assert sum(made["IB1"]) == pytest.approx(4 * 3.0) and max(made["IB1"]) == 5.0
    assert made["IB1"][88:91] == (5.0, 5.0, 2.0) and all(
        m <= i for m, i in zip(made["IB1"], ice, strict=True))  # fmt: skip
    heat = 1500 * KJ_L * (10.0 - day.stored_c) / 3600
    for tag, share, most in (("CU1", 2 / 3, 15.0), ("CU2", 1 / 3, 7.5)):
        assert sum(made[tag]) == pytest.approx(share * heat)
        assert max(made[tag]) <= most + 1e-9
    monkeypatch.setattr(recovery, "in_line", lambda *_: worked_at(18.0, day.stored_c - 1.0))
    assert sum(recovery._cold_kwh(ctx, day, 8)["CU1"]) == 0.0
    alone = bench_of(small(CH1=makers["CH1"]))
    assert sum(recovery._cold_kwh(alone, day, 7)["CH1"]) == pytest.approx(32.0)


@pytest.mark.parametrize("days", [1, 2])
def test_milk_and_hot_water_of_a_mean_day(
    day: Duty, monkeypatch: pytest.MonkeyPatch, days: int
) -> None:
    """Would fail if what comes in two days counted for one, or a wash drew at another time than
    when the milking has ended: 600 L in an hour from eight, and 80 L in forty minutes from nine."""
    plant = small()
    ctx = bench_of(plant.model_copy(update={
        "collections": (Collection(at="09:00", tanker_l=9000, every_days=days),)}))  # fmt: skip
    heat = SimpleNamespace(minutes=60.0, heater_l=600.0)
    monkeypatch.setattr(recovery, "wash_heat_of", lambda *_: heat)
    monkeypatch.setattr(recovery, "tank_wash_hot_l", lambda _, litres: 0.02 * litres)
    into = [0.0] * (288 * days)
    into[72:78] = [500.0] * 6
    emptied = [(540, 4000.0)] if days == 1 else [(1440 + 540, 4000.0)]
    ctx.known["timetable"] = Timetable(into_l=into, emptied=emptied)
    assert recovery._into_l(ctx, day) == pytest.approx(
        quarters({24: 1500.0 / days, 25: 1500.0 / days})
    )
    part = 80 / 40 * 15 / days
    by_hand = dict.fromkeys(range(32, 36), 150.0) | {36: part, 37: part, 38: part * 2 / 3}
    assert recovery._hot_l(ctx, day, 3) == pytest.approx(quarters(by_hand))


@pytest.mark.parametrize(("takes", "share", "most"), [
    ("desuperheater", "recovery.desuperheater_share", "recovery.desuperheater_most_c"),
    ("condenser", "recovery.condenser_share", "recovery.condenser_most_c"),
])  # fmt: skip
def test_a_store_is_warmed_by_its_share_and_drawn_by_its_heaters(
    day: Duty, monkeypatch: pytest.MonkeyPatch, takes: str, share: str, most: str
) -> None:
    """Would fail if a store took all that is given off, got the plant's whole draw for half of it,
    stood in colder air than its room, or lost a day's heat in an hour."""
    seen: list[Any] = []

    def store(*given: float) -> Any:
        def caught(heat: list[float], drawn: list[float], step_h: float) -> float:
            seen.append((*given, sum(heat), sum(drawn), step_h))
            return 7.0

        return SimpleNamespace(caught_kwh=caught)

    monkeypatch.setattr(recovery, "WarmStore", store)
    monkeypatch.setattr(recovery, "_given_kwh", lambda *_: quarters({3: 50.0, 9: 30.0}))
    monkeypatch.setattr(recovery, "_hot_l", lambda *_: quarters({5: 400.0, 6: 100.0}))
    ctx = bench_of(small())
    found = recovery.recovered_of(ctx, day, Taker(takes, 300.0, 0.01, (), 0.5))
    site = ctx.plant.site
    for in_c, air_c, one, month in zip(site.water_temperature_c, site.ambient_c, seen,
                                       found.months, strict=True):  # fmt: skip
        room = max(air_c, -1e3 if site.room_heated_to_c is None else site.room_heated_to_c)
        kj_k = 300 * 4.19
        assert one == pytest.approx((kj_k, max(ctx.number(most), in_c), in_c, room,
                                     0.01 * kj_k / 3600, 80 * ctx.number(share),
                                     0.5 * 500 * 4.19, 0.25))  # fmt: skip
        wanted = 500 * 4.19 * (recovery.heater_set_c(ctx) - in_c) / 3600
        assert month == MonthOfHeat(80.0, 500.0, pytest.approx(wanted, rel=1e-3), 7.0)


@pytest.mark.parametrize(("fuel", "eta"), [
    ("electric", "heater.efficiency_electric"), ("gas", "heater.efficiency_fuel"),
])  # fmt: skip
def test_both_plants_in_money(fuel: str, eta: str) -> None:
    """Would fail if heat were saved at another efficiency or price than the heaters' own."""
    plant = small(WH1=machine("WH1", "water_heater", volume_l=900, heater_kw=9, fuel=fuel))
    prices = (Tariff(start="06:00", price_kwh=0.3), Tariff(start="22:00", price_kwh=0.1))
    supply = plant.site.supply.model_copy(update={"tariff": prices})
    site = plant.site.model_copy(update={"supply": supply})
    ctx = bench_of(plant.model_copy(update={"site": site}))
    could = {600.0: {"condenser": months(taken=40.0)}, 1200.0: {"condenser": months(taken=50.0)}}
    recovery._beside(ctx, could)
    share = ctx.number(eta)
    rows = ctx.notes.tables[0].rows
    for row, kwh in zip(rows, (0, 40, 50), strict=True):
        saved = kwh / share * 365
        assert row[1:] == (kwh, round((60 - kwh) / share), round(saved), round(saved * 0.2))
    assert rows[2][0] == "with a condenser and 1200 L"
    free = bench_of(plant.model_copy(update={"site": site.model_copy(update={
        "supply": supply.model_copy(update={"tariff": ()})})}))  # fmt: skip
    recovery._beside(free, could)
    assert free.notes.tables[0].rows[1][4] == 0 and "No tariff" in (free.notes.tables[0].note or "")


def stores(**fields: Any) -> dict[str, Any]:
    """A recovery of two stores and one of another size."""
    return {
        "HR1": machine("HR1", "heat_recovery", volume_l=300, count=2, takes_from=("CU1",)),
        "HR2": machine("HR2", "heat_recovery", volume_l=400, takes_from=("CU1", "CU2"), **fields),
    }


def test_what_is_told_of_a_recovery(day: Duty, monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if one of three stores were advised to hold the wash alone, or a store's own
    litres told as all."""
    heat = SimpleNamespace(minutes=60.0, heater_l=900.0)
    monkeypatch.setattr(recovery, "wash_heat_of", lambda *_: heat)
    ctx = bench_of(small(**stores()))
    one = ctx.plant.equipment["HR1"]
    assert isinstance(one, RecoversHeat)
    makers = ctx.plant.machines(MakesCold)
    recovery._fitted(ctx, day, one, months(), Taker("condenser", 600.0, 0.02, makers, 0.25))
    told, store = ctx.notes.findings
    assert told.value == 40.0 and "40 kWh a day of the 100 kWh" in told.sentence
    assert {"W": 900, "C": 300, "UA": 0.02, "": 25}.items() <= inputs(told).items()
    assert (store.value, store.limit) == (1000.0, 900.0)
    assert store.advised == next_preferred(1.05 * 900 / 3)
    rows = ctx.notes.tables[0].rows
    assert rows[11][1:] == (200, 1800, 120, 80.0) and len(rows) == 12


def asked_of(ctx: StudyContext, day: Duty, monkeypatch: pytest.MonkeyPatch,
             feeds: dict[str, tuple[str, ...]]) -> tuple[list[Taker], list[Taker]]:  # fmt: skip
    """What sizing asks of the recoveries fitted, and of those that could be."""
    fitted: list[Taker] = []
    could: list[Taker] = []

    def worked(_: object, __: object, taker: Taker) -> RecoveredHeat:
        could.append(taker)
        return months(taken=10.0 if taker.takes == "desuperheater" else 30.0)

    monkeypatch.setattr(recovery, "recovered_of", worked)
    monkeypatch.setattr(recovery, "fed_by", lambda _, tag, __: feeds[tag])
    monkeypatch.setattr(recovery, "_beside", lambda *_: None)
    monkeypatch.setattr(recovery, "_fitted", lambda *given: fitted.append(given[-1]))
    recovery.size_recovery(ctx, day)
    return fitted, [t for t in could if t not in fitted]


def test_stores_share_the_heaters_behind_them(day: Duty, monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a heater behind two stores drew twice, or stores twice as large were reckoned
    with another volume: 900 L behind both, 2 x 300 L behind the first alone, 500 L behind none."""
    heaters = {
        tag: machine(tag, "water_heater", volume_l=litres, heater_kw=9, count=count)
        for tag, litres, count in (("WH1", 900, 1), ("WH2", 300, 2), ("WH3", 500, 1))
    }
    ctx = bench_of(small(**heaters, **stores()))
    fitted, could = asked_of(ctx, day, monkeypatch, {"HR1": ("WH1", "WH2"), "HR2": ("WH1",)})
    assert [(t.volume_l, t.draws) for t in fitted] == [
        (600.0, pytest.approx((450 + 600) / 2000)), (400.0, pytest.approx(450 / 2000))
    ]  # fmt: skip
    assert [m.id for m in fitted[0].makers] == ["CU1"] and len(fitted[1].makers) == 2
    assert [t.volume_l for t in could] == [1000.0, 1000.0, 2000.0, 2000.0]
    assert all(t.draws == 1.0 for t in could) and not ctx.notes.findings


def test_what_could_be_recovered_is_told_where_nothing_is(
    day: Duty, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if the lesser of two ways were offered, or a store that a wash empties."""
    heat = SimpleNamespace(minutes=60.0, heater_l=900.0)
    monkeypatch.setattr(recovery, "wash_heat_of", lambda *_: heat)
    ctx = bench_of(small())
    _, could = asked_of(ctx, day, monkeypatch, {})
    assert {t.volume_l for t in could} == {next_preferred(945.0), 2 * next_preferred(945.0)}
    (told,) = ctx.notes.findings
    assert told.value == 30.0 and f"store of {next_preferred(945.0):.0f} L" in told.sentence
    for none in ({"WH1": None}, {"CU1": None, "CU2": None}):
        bare = bench_of(small(**none))
        asked_of(bare, day, monkeypatch, {})
        assert not bare.notes.findings
