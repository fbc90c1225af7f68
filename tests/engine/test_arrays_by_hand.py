"""What a plant's file says stands in the arrays of the kernels, in their units, worked by hand."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.engine.compiled import compile_plant
from byrewright.engine.draws import Herd, day_of
from byrewright.engine.kernels.lines import PUSH_S
from byrewright.engine.names import Compiled
from byrewright.physics.altitude import cold_share
from byrewright.plant.farm import Collection, Tariff, minutes
from byrewright.plant.plant import Plant
from byrewright.plant.primitives import (
    Batch,
    Chill,
    Cooled,
    Filter,
    Heated,
    MakesAir,
    StoresAir,
    Vessel,
)
from byrewright.plant.programme import Programme, programme_of
from byrewright.standards.rulebook import default_rulebook
from tests.studies.failing import LARGE, ROWS, SMALL, example

RULES = default_rulebook()
N = RULES.number
GOES_ON = (("milking", "direct_load"), ("wash", "rinse"), ("wash", "rinse"), ("drain_down",),
           ("idle",))  # fmt: skip


@cache
def made(name: str) -> tuple[Plant, Compiled, Programme]:
    """An example where the air is thin, compiled without its vacuum, and its programme."""
    plant = example(name)
    plant = plant.model_copy(update={"site": plant.site.model_copy(update={"altitude_m": 1800.0})})
    return plant, compile_plant(plant, RULES), programme_of(plant, RULES)


def parts(plant: Plant, kind: type[Any]) -> dict[str, Any]:
    """What machines declare of themselves for the day, by tag."""
    return {t: p for t, m in sorted(plant.equipment.items()) for p in m.lower()
            if isinstance(p, kind)}  # fmt: skip


def locked(plant: Plant, tag: str) -> int:
    """A bit for each of what goes on while a machine may not run."""
    return sum(2**k for k, does in enumerate(GOES_ON) if plant.locked_out(tag, does))


EXAMPLES = [SMALL, ROWS, LARGE]


@pytest.mark.parametrize("name", EXAMPLES)
def test_heat_cold_and_cloths(name: str) -> None:
    """Would fail if a heater, a tank, a compressor of cold or a washer ran at another power, up to
    another temperature or in other hours than its own."""
    plant, c, _ = made(name)
    F, I = c.tables.F, c.tables.I  # noqa: E741
    heated = parts(plant, Heated)
    for tag, row in zip(c.names.heated, range(*_ends(c, "heated")), strict=True):
        one = heated[tag]
        assert F[row, :3].tolist() == [one.kw, one.set_c, one.efficiency]
        assert I[row, sh.HI_LOCKED] == locked(plant, tag)
        assert (I[row, sh.HI_KWH] >= 0) == one.electric
    chills = parts(plant, Chill)
    for tag, row in zip(c.names.chillers, range(*_ends(c, "chillers")), strict=True):
        one = chills[tag]
        duty = one.duty_kw * cold_share(1800.0, RULES)
        assert F[row, sh.R_DUTY] == pytest.approx(duty) and duty < one.duty_kw
        assert F[row, [sh.R_COP, sh.R_RATED_C]].tolist() == [one.cop, one.rated_ambient_c]
        hours = [60 * minutes(h) for h in one.hours or ("00:00", "00:00")]
        assert F[row, [sh.R_FROM, sh.R_TO]].tolist() == hours
        assert F[row, sh.R_FALL] == N("cooling.cop_fall_per_k") and F[row, sh.R_BAND] == 0.5
        assert I[row, sh.RI_LOCKED] == locked(plant, tag)
    cooled, vessels = parts(plant, Cooled), parts(plant, Vessel)
    for tag, row in zip(c.names.cooled, range(*_ends(c, "cooled")), strict=True):
        one = cooled[tag]
        reach = one.stirred_from_l
        if reach is None:
            reach = N("tank.stirred_from_share") * vessels[tag].volume_l
        assert F[row, sh.K_UA] * N("tank.jacket_full_k") == pytest.approx(one.cooling_kw)
        assert F[row, [sh.K_MOST, sh.K_SET, sh.K_AGITATOR]].tolist() == [
            one.cooling_kw, one.set_c, one.agitator_kw]  # fmt: skip
        assert F[row, sh.K_LEAST] == pytest.approx(reach * c.kg_l[tag])
        assert (F[row, sh.K_STILL] > 0) == one.still
    cloths = parts(plant, Batch)
    for tag, row in zip(c.names.laundry, range(*_ends(c, "laundry")), strict=True):
        one = cloths[tag]
        kg, hours = one.load_kg * N("cloth.load_fill"), one.cycle_min / 60
        coldest = min(plant.site.water_temperature_c)
        wash = one.water_l * N("cloth.hot_share") * 4.19 * (N("cloth.wash_c") - coldest) / 3600
        dry = kg * N("cloth.moisture_share") * N("cloth.dry_kwh_per_kg_water")
        kw = min(one.kw, (dry if one.stage else wash) / hours)
        assert F[row, :4].tolist() == pytest.approx([kg, 3600 * hours, kw, one.water_l], rel=0.01)
        assert I[row, [sh.LI_STAGE, sh.LI_COUNT]].tolist() == [one.stage, one.count]


def _ends(c: Compiled, section: str) -> tuple[int, int]:
    rows = c.tables.rows(section)
    return rows.start, rows.stop


@pytest.mark.parametrize("name", EXAMPLES)
def test_air_filters_vessels_and_stalls(name: str) -> None:
    """Would fail if air were made by the hour or stored at sea level, a sock lasted other cows,
    or milk of a stall went another way than the next one's."""
    plant, c, day = made(name)
    F, I, par, num = c.tables.F, c.tables.I, c.tables.par, c.tables.num  # noqa: E741
    makers = parts(plant, MakesAir)
    for tag, row in zip(c.names.compressors, range(*_ends(c, "compressors")), strict=True):
        assert F[row, :2].tolist() == [
            pytest.approx(makers[tag].capacity_l_min_free / 60), makers[tag].motor_kw]  # fmt: skip
    stores = list(parts(plant, StoresAir).values())
    whole = sum(s.volume_l for s in stores)
    thin_bar = 0.8149  # standard atmosphere at 1800 m
    assert par[sh.PAR_AIR_VOLUME] * thin_bar == pytest.approx(whole, rel=1e-4)
    assert par[[sh.PAR_AIR_HIGH, sh.PAR_AIR_LOW]].tolist() == [
        stores[0].highest_bar, stores[0].lowest_bar]  # fmt: skip
    made_l_s = sum(F[slice(*_ends(c, "compressors")), sh.A_MADE])
    assert par[sh.PAR_AIR_LEAK] == pytest.approx(N("air.leak_target_share") * made_l_s)
    each_kg = day.milk_l_day / day.cows_milked_day * day.milk_kg_l
    filters = parts(plant, Filter)
    for tag, row in zip(c.names.filters, range(*_ends(c, "filters")), strict=True):
        assert F[row, sh.F_CAP] == pytest.approx(filters[tag].cows_a_sock * each_kg)
        assert F[row, sh.F_CHANGE_S] == N("filter.change_s")
    vessels = parts(plant, Vessel)
    for i, tag in enumerate(c.names.vessels):
        one = vessels.get(tag)
        if one is not None and one.role == "store" and tag not in c.names.tanker:
            assert F[i, sh.V_CAP] == pytest.approx(one.volume_l * c.kg_l[tag]), tag
            assert I[i, sh.VI_FILL] == (1 if one.fill else -1)
    milk = [k for t, k in c.kg_l.items() if t in ("BT1", "TK1")]
    assert milk == [pytest.approx(N("milk.density_kg_m3") / 1000)] * len(milk)
    first, last = _ends(c, "stalls")
    stalls = next(m.stalls for m in plant.equipment.values() if m.kind == "platform")  # type: ignore[attr-defined]
    assert last - first == stalls == num[sh.N_STALLS]
    ways = {tuple(r) for r in I[first:last, :2].tolist()}
    units = [m for m in plant.equipment.values() if m.kind == "milking_unit"]
    assert len(ways) == len(units) and num[sh.N_UNITS] == sum(u.count for u in units)
    milk_way, apart = next(iter(ways))
    begin = c.tables.rows("transfers").start
    assert c.names.transfers[milk_way - begin].endswith(".milk")
    assert c.names.transfers[apart - begin].endswith(".withheld")
    assert num[sh.N_MINUTE] * c.step_s == 60 and num[sh.N_SAMPLE] * c.step_s == 60
    assert num[sh.N_SLOTS] == 2 * len(plant.milkings)
    calves = sum(getattr(m, "draw_l_milking", 0.0) for m in plant.equipment.values())
    assert par[sh.PAR_CALF_KG] == pytest.approx(calves * day.milk_kg_l)
    assert par[sh.PAR_CALF_AFTER] == 60 * N("calf.draw_after_min")
    assert par[sh.PAR_TANK_WASH_S] == 60 * N("wash.tank_min")
    assert par[sh.PAR_HEATER_BLEND] == pytest.approx(1 - N("heater.usable_share"))
    cp = par[sh.PAR_CP :].tolist()
    assert cp == [N("milk.cp_kj_kgk")] * 2 + [N("water.cp_kj_kgk")] * 2
    starts = sorted(minutes(m.start) for m in plant.milkings)
    assert starts[0] / 60 - 2 < c.origin_s / 3600 <= max(0, starts[0] / 60 - 1)


@pytest.mark.parametrize("name", EXAMPLES)
def test_a_wash_takes_its_water_its_heat_and_its_time(name: str) -> None:
    """Would fail if steps of the wash took other litres than the programme's, came colder or hotter
    than asked in the coldest month, or longer."""
    plant, c, day = made(name)
    rows = c.tables.F[slice(*_ends(c, "phases"))]
    begin = c.tables.rows("transfers").start
    push, wait, *rest = rows.tolist()
    assert push[sh.Q_SECONDS] == 2 * PUSH_S and push[sh.Q_DOES] == sh.FLUSH
    assert wait[sh.Q_SECONDS] + push[sh.Q_SECONDS] == 60 * N("wash.changeover_min")
    doses = [r for r in rest if r[sh.Q_DOES] == sh.DOSE_IN]
    litres = sum(s.litres for s in day.wash.steps)
    assert sum(r[sh.Q_KG] for r in doses) == pytest.approx(litres, rel=1e-6)
    runs = [r for r in rest if r[sh.Q_DOES] == sh.CIRCULATE]
    assert sum(r[sh.Q_SECONDS] for r in runs) == pytest.approx(
        60 * sum(s.minutes for s in day.wash.steps)
    )
    strong = [r[sh.Q_KG] for r in runs if r[sh.Q_MAIN] == sh.MAIN]
    assert set(strong) == {s.strength for s in day.wash.steps if s.kind.name == "ALKALINE"}
    assert sum(r[sh.Q_DOES] == sh.EMPTY for r in rest) >= len(runs)
    heaters, coldest = parts(plant, Heated), min(plant.site.water_temperature_c)
    step_kg, step_heat, at_c = 0.0, 0.0, []
    for r in rest:
        if r[sh.Q_DOES] == sh.DOSE_IN:
            source = c.names.transfers[int(r[sh.Q_TRANSFER]) - begin]
            hot = next((h.set_c for t, h in heaters.items() if f"from {t} " in source), coldest)
            step_kg, step_heat = step_kg + r[sh.Q_KG], step_heat + r[sh.Q_KG] * hot
        elif r[sh.Q_DOES] == sh.CIRCULATE:
            at_c.append(step_heat / step_kg)
            step_kg = step_heat = 0.0
    wanted = [coldest if s.at_c is None else s.at_c for s in day.wash.steps]
    assert sorted({round(t, 3) for t in at_c}) == sorted({round(w, 3) for w in wanted})


@pytest.mark.parametrize("name", EXAMPLES)
def test_all_is_sound_at_the_start(name: str) -> None:
    """Would fail if a run began with a machine broken, a vessel over its volume or milk spilt."""
    _, c, _ = made(name)
    S, F = c.start.items, c.tables.F
    for section, column in (
        ("transfers", sh.S_HEALTH), ("branches", sh.SJ_OPEN), ("exchangers", sh.SX_HEALTH),
        ("filters", sh.SF_HEALTH), ("chillers", sh.SR_HEALTH), ("chillers", sh.SR_GIVES),
        ("heated", sh.SH_HEALTH), ("laundry", sh.SL_HEALTH), ("pumps", sh.SP_HEALTH),
        ("compressors", sh.SA_HEALTH),
    ):  # fmt: skip
        assert (S[c.tables.rows(section), column] == 1.0).all(), section
    v = S[c.tables.rows("vessels")]
    inside = c.tables.I[c.tables.rows("vessels"), sh.VI_ROLE] == sh.STORE
    kg, cap = v[:, : sh.SUBSTANCES].sum(axis=1), F[c.tables.rows("vessels"), sh.V_CAP]
    assert (kg[inside] <= cap[inside] + 1e-9).all()
    assert (v[:, [sh.P_OVER_AT, sh.V_LEVEL, sh.V_WASH_UNTIL]] == -1.0).all()
    wet = inside & (v[:, sh.WATER] > 0)
    warm_c = v[wet, sh.HEAT] / v[wet, sh.WATER] / N("water.cp_kj_kgk")
    assert warm_c.min() > 0 and warm_c.max() < 95 and wet.any()
    g = c.start.g
    assert g[sh.G_AIR] == pytest.approx(
        c.tables.par[sh.PAR_AIR_VOLUME] * c.tables.par[sh.PAR_AIR_HIGH]
    )
    assert g[[sh.G_DRIVE, sh.G_GATE]].tolist() == [1.0, 1.0] and np.isfinite(S).all()


@pytest.mark.parametrize("day", [0, 1, 2, 5])
def test_a_day_has_its_milkings_its_tankers_and_its_weather(day: int) -> None:
    """Would fail if a milking or a tanker came at another time, on another day or with other cows
    than the file says, or weather and prices were of another month or hour."""
    plant, c, programme = made(SMALL)
    visits = (Collection(at="05:30", tanker_l=9000.0), Collection(at="23:10", tanker_l=8000.0,
                                                                  every_days=2))  # fmt: skip
    bands = (Tariff(start="07:00", price_kwh=0.3), Tariff(start="21:00", price_kwh=0.2))
    supply = plant.site.supply.model_copy(update={"tariff": bands})
    site = plant.site.model_copy(update={"supply": supply})
    plant = plant.model_copy(update={"collections": visits, "site": site})
    extra = ((7, 9, 3, sh.ROW_GATE, 0.5),)
    found = day_of(plant, c, Herd(plant, c, RULES, 4), month=3, day=day, extra=extra)
    steps, dt = round(86400 / c.step_s), c.step_s
    expected = {(7, sh.ROW_GATE, 0.5)}
    for place, one in enumerate(programme.milkings):
        at = day * steps + round((60 * one.start_min - c.origin_s) / dt)
        expected |= {(at, sh.ROW_MILKING, 0.0), (at, sh.ROW_OPERATORS, float(one.operators))}
        slot = (day * len(programme.milkings) + place) % (2 * len(programme.milkings))
        assert found.count[slot] == one.cows
        cows = found.cows[slot, : one.cows]
        kg = cows[:, sh.C_KG].sum()
        assert kg == pytest.approx(one.milk_l * programme.milk_kg_l, rel=0.05)
        assert cows[:, sh.C_WITHHELD].sum() == sum(p.withheld_cows for p in one.parts)
        assert len(set(cows[:, sh.C_ID])) == one.cows
    for visit in visits:
        if day % visit.every_days == 0:
            at_s = (60 * minutes(visit.at) - c.origin_s) % 86400
            litres = visit.tanker_l * programme.milk_kg_l
            expected.add((day * steps + round(at_s / dt), sh.ROW_TANKER, litres))
    heads = found.rows[:, [sh.RW_STEP, sh.RW_FIELD]].tolist()
    got = sorted((*head, v) for head, v in zip(heads, found.values.tolist(), strict=True))
    assert got == [(a, b, pytest.approx(v)) for a, b, v in sorted(expected)]
    assert found.rows[:, sh.RW_STEP].tolist() == sorted(found.rows[:, sh.RW_STEP])
    swing = N("cooling.day_swing_k")
    assert found.weather.tolist() == [plant.site.ambient_c[2], c.origin_s, swing]
    hot = day_of(plant, c, Herd(plant, c, RULES, 4), month=3, day=day, hot=True)
    assert hot.weather[0] + swing == pytest.approx(plant.site.hottest_c)
    for minute, price in ((0, 0.2), (419, 0.2), (420, 0.3), (1259, 0.3), (1260, 0.2)):
        assert found.price[minute] == price
    source = c.names.vessels.index("WS1")
    assert found.source_c[source] == plant.site.water_temperature_c[2]
