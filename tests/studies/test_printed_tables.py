"""Sizing's tables, and the numbers in its sentences beside a finding's own, worked by hand.

Each is worked from what is printed: inputs of the same finding, other columns of the same table.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import pairwise
from math import ceil, exp, log, pi, sqrt

import pytest
from scipy.stats import norm

from byrewright.physics.constants import GRAVITY_M_S2 as G
from byrewright.plant.roles import GeneratesPower, StandsCows
from byrewright.results import Finding, Table
from tests.studies.test_printed_formulas import disc_m2, sizing
from tests.studies.told import Inputs, inputs

PLANTS = (-5, -4, -2, -1, 2, 3, 7, 8)
PRINTED = 0.013
"""Inputs are printed with three figures or so."""
Worked = Callable[[Inputs, Finding], float]

SAID: dict[str, dict[str, Worked]] = {
    "throughput.net": {
        r"A turn of ([\d.]+) min": lambda i, f: i["T"] / 60,
        r"every ([\d.]+) s": lambda i, f: i["T"] / i["N"],
        r"would cost (\d+) cows": lambda i, f: (
            3600 * i["N"] / i["T"] * (1 - i["s"]) * (1 / (1 + i["r"]) - 1 / (1 + 2 * i["r"]))),
        r"an hour \(([\d.]+) ?%\)": lambda i, f: 100 * (1 - (1 + i["r"]) / (1 + 2 * i["r"])),
    },
    "throughput.go_round": {
        r"asked for (\d+) %": lambda i, f: 100 * i["g_wish"],
        r"finishes (\d+) %": lambda i, f: 100 - 100 * i["g_wish"],
        r"A turn of ([\d.]+) min": lambda i, f: (f.advised or 0.0) / 60,
    },
    "receiving.receiver.volume": {
        r"a slug of (\d+) L": lambda i, f: i["V_slug"],
        r"and (\d+) L of milk": lambda i, f: i["q_peak"] * i["t"] / 60,
    },
    "delivery.filter.area": {r"at ([\d.]+) m/s with": lambda i, f: i["q"] / 60_000 / f.value},
    "delivery.filter.change": {r"([\d.]+) h of milking": lambda i, f: i["cows a sock"] / i["net"]},
    "delivery.calf.draw": {
        r"takes ([\d.]+) min": lambda i, f: i["draw"] / i["q"],
        r"and ([\d.]+) % of": lambda i, f: 100 * i["draw"] / i["milk"],
    },
    "cooling.plate.approach": {
        r"degC: ([\d.]+) K above": lambda i, f: (
            i["T_in"] - i["t_in"] - i["e"] * i["C_min"] * (i["T_in"] - i["t_in"]) / i["C_milk"]),
        r"to ([\d.]+) degC with": lambda i, f: i["t_in"] + f.value,
    },
    "cooling.coolant.content": {
        r"; (\d+) L let": lambda i, f: 0.5 * i["Q"] * i["t"] * 60 / i["dT"] / 3.9,
    },
    "water.source": {r"needs (\d+) L/min": lambda i, f: f.limit},
    "wash.hot_charge": {
        r": (\d+) kWh from": lambda i, f: f.value * 4.19 * (i["T"] - i["T_w"]) / 3600,
    },
    "wash.heater_power": {
        r"needs ([\d.]+) kW": lambda i, f: i["E"] * (1 + i["loss"] * i["t"]) / i["t"] / i["eta"],
    },
    "wash.slug": {
        r"runs ([\d.]+) s": lambda i, f: i["L"] / i["v"],
        r"takes (\d+) L/min": lambda i, f: (
            60_000 * disc_m2(i["d"]) * i["v"] * (i["p_a"] - i["p"]) / i["p_a"]),
    },
    "wash.chemicals": {
        r"; ([\d.]+) L of acid an acid wash": lambda i, f: i["V_hot"] * i["wash.acid_share"],
        r"acid wash, (\d+) L": lambda i, f: i["V_hot"] * i["wash.acid_share"] * 30 / i["acid"],
    },
    "deck.mass": {
        r": (\d+) t of deck": lambda i, f: i["n"] * i["m_d"] / 1000,
        r"and (\d+) t of cows": lambda i, f: i["n"] * i["m_c"] / 1000,
    },
    "deck.resistance": {
        r"give ([\d.]+) \(": lambda i, f: 2 * i["f_1"] / i["D"],
        r"and ([\d.]+) \(": lambda i, f: (
            2 / i["D"] * (i["deck.axle_share"] * i["D"] / 2 * i["mu"] + i["f_2"]) + i["c"]),
    },
    "deck.running_power": {
        r"at ([\d.]+) m/s": lambda i, f: 2 * pi * i["R"] / i["T"],
        r"force ([\d.]+) kN": lambda i, f: i["c"] * i["W"] * G / 1000,
    },
    "deck.breakaway": {
        r"takes ([\d.]+) kN": lambda i, f: i["b"] * i["c"] * i["W"] * G / 1000
        + i["W"] * i["v"] / i["t"] / 1000,
        r", ([\d.]+) times": lambda i, f: i["b"] + i["v"] / i["t"] / i["c"] / G,
    },
    "deck.traction": {
        r"; (\d+) N m": lambda i, f: i["F_start"] / i["u"] * i["D"] / 2000,
        r"at least (\d+) kN": lambda i, f: i["F_start"] / i["u"] / i["mu"] / 1000,
    },
    "cloths.day": {r"cloths a day, (\d+) kg": lambda i, f: f.value * i["m"]},
    "power.board": {r"lost \d+ kVA, (\d+) A": lambda i, f: 1000 * i["S"] / sqrt(3) / i["U"]},
    "power.fuel": {r"\((\d+) L\)": lambda i, f: i["fuel"] * (f.limit or 0.0) / f.value},
    "power.demand": {r"draws (\d+) kW": lambda i, f: i["kW"]},
    "cooling.tank.class": {
        r"milking of (\d+) L": lambda i, f: i["V"] * i["share"],
        r"which is (\d+) kW": lambda i, f: (
            i["V"] * i["share"] * 1.03 * 3.93 * (35 - 4) / i["t_class"] / 3600),
    },
    "cooling.tank.agitator": {
        r"; ([\d.]+) kW is usual": lambda i, f: f.advised or 0.0},
    "air.leaks": {r"about (\d+) L/min": lambda i, f: i["s"] * i["Q"]},
    "milkline.stratified": {r"takes ([\d.]+) L/min": lambda i, f: i["q_m"]},
}  # fmt: skip
"""By a finding's key: what its sentence says, and by hand."""


@pytest.mark.parametrize("number", PLANTS)
def test_words_tell_what_follows_from_the_inputs(number: int) -> None:
    """Would fail if a number said beside a finding's own were of other inputs than are printed."""
    for one in sizing(number)[2].findings:
        for pattern, by_hand in SAID.get(one.key, {}).items():
            said, i = re.search(pattern, one.sentence), inputs(one)
            if said is None or one.value is None or not i:
                continue
            places = len(said[1].partition(".")[2])
            worked = by_hand(i, one)
            assert float(said[1]) == pytest.approx(worked, rel=PRINTED, abs=0.51 * 10**-places), (
                one.sentence, pattern)  # fmt: skip


def rows(number: int, key: str) -> list[dict[str, float | str]]:
    """The rows of a table by the titles of its columns; of two alike the first as it is, the
    second with its unit."""
    found = [t for t in sizing(number)[2].tables if t.key == key or t.key.startswith(f"{key}.")]

    def titles(table: Table) -> list[str]:
        twice = {c for c in table.columns if table.columns.count(c) > 1}
        pairs = zip(table.columns, table.units, strict=True)
        return [f"{c}, {u}" if c in twice else c for c, u in pairs]

    return [dict(zip(titles(t), row, strict=True)) for t in found for row in t.rows]


def near(number: float, places: int = 0, rel: float = 1e-3) -> object:
    """What a number is that is rounded to so many places."""
    return pytest.approx(number, rel=rel, abs=0.51 * 10**-places)


@pytest.mark.parametrize("number", PLANTS)
def test_turns_and_decks_and_cloths(number: int) -> None:
    """Would fail if a turn were told with another plant's cows an hour, or a force, a power or a
    load of cloths were not that of the columns beside it."""
    plant, _, found = sizing(number)
    deck = plant.first(StandsCows)
    assert deck is not None
    by_key = {f.key: inputs(f) for f in found.findings}
    for one in rows(number, "throughput.turns"):
        i = by_key["throughput.net"]
        each_s = 60 * float(one["turn"]) / deck.stalls
        assert one["a stall"] == near(each_s, 1)
        gross = 3600 / each_s
        assert one["gross"] == near(gross)
        on_s = (deck.stalls - deck.entry_stalls) * each_s
        spread = sqrt(log(1 + (i["sd"] / i["t"]) ** 2))
        middle = i["t"] / exp(spread**2 / 2)
        again = [norm.sf(log(k * on_s / middle) / spread) for k in range(1, 40)]
        assert one["going round twice"] == pytest.approx(
            100 * again[0], abs=0.8
        )  # of whole seconds
        net = gross / (1 + sum(again)) * (1 - i["s"])
        assert one["net of go-rounds and stops"] == near(net, rel=0.01)
    for one in rows(number, "deck.resistance"):
        i = by_key["deck.running_power"]
        force = float(one["force over load"]) * i["W"] * G / 1000
        assert one["force"] == near(force, 2)
        assert one["power at the motors"] == near(force * i["v"] / i["eta"], 2, rel=0.012)
    lots = rows(number, "cloths.lots")
    for one in lots:
        i = by_key["cloths.day"]
        kg = float(one["cloths"]) * i["m"]
        assert one["dry mass"] == near(kg, 1, rel=0.01)
        if (load := by_key.get("cloths.washer_hours")) is not None:
            assert one["washer loads"] == ceil(kg / (load["L"] * load["f"]) - 1e-9)
    if lots:
        (day,) = (f.value for f in found.findings if f.key == "cloths.day")
        assert sum(float(one["cloths"]) for one in lots) == pytest.approx(day, abs=2)


@pytest.mark.parametrize("number", PLANTS)
def test_water_washes_and_heat(number: int) -> None:
    """Would fail if uses of water did not make up the day, or a line, a stage or a product were
    told with numbers that do not belong together."""
    plant, rules, found = sizing(number)
    hours = next(s for s in found.series if s.key == "water.hours")
    lines = {name: values for name, _, values in hours.lines}
    for one in rows(number, "water.uses"):
        values = lines[str(one["use"])]
        assert one["a day"] == near(sum(values), rel=0.01)
        assert one["busiest hour"] == near(max(values))
    fresh, so_far = lines["fresh water"], lines["fresh water so far"]
    assert [so_far[0], *(b - a for a, b in pairwise(so_far))] == (pytest.approx(fresh, abs=0.21))
    day = next(f for f in found.findings if f.key == "water.day")
    assert day.value == pytest.approx(so_far[-1] / 1000, abs=0.06)
    reused = sum(sum(v) for n, v in lines.items() if n in {str(r["use"]) for r in rows(
        number, "water.uses")}) - so_far[-1]  # fmt: skip
    assert reused >= -3.0

    water = {r["use"]: float(r["a day"]) for r in rows(number, "water.uses")}
    steps = rows(number, "wash.steps")
    chemicals = {r["product"]: r for r in rows(number, "wash.chemicals")}
    acid = chemicals["acid"]
    assert acid["a month"] == near(30 * float(acid["a day"]), rel=0.05)
    detergent = chemicals["detergent"]
    alkaline = [s for s in steps if s["what it is"] == "alkaline wash"]
    assert detergent["a wash"] == near(
        sum(float(s["water"]) * float(s["product"]) / 100 for s in alkaline), 2, rel=0.03
    )
    washes = sum(m.washed_after for m in _milkings(number))
    assert detergent["a day"] == near(float(detergent["a wash"]) * washes, 1)
    assert detergent["a month"] == near(30 * float(detergent["a day"]), rel=0.01)
    all_steps = sum(float(s["water"]) for s in steps) * washes
    assert water.get("first rinse", 0) + water.get("other wash steps", 0) == near(
        all_steps, rel=0.02
    )

    bores = {p.id: p.bore_mm for p in plant.pipes}
    lengths = {p.id: p.length_m for p in plant.pipes}
    for one in rows(number, "wash.lines"):
        if not (isinstance(one["velocity"], float) and isinstance(one["wash"], int | float)):
            continue
        area = disc_m2(bores[str(one["pipe"])])
        litres = 1000 * area * lengths[str(one["pipe"])]
        assert one["holds"] == near(litres, 1, rel=0.01)
        if one["passed in"]:
            assert one["passed in"] == near(60 * litres / float(one["wash"]), 1, rel=0.05)
        if one["wash"]:
            assert one["velocity"] == near(float(one["wash"]) / 60_000 / area, 2, rel=0.015)

    for one in rows(number, "cooling.stages"):
        warmth = float(one["milk in"]) - float(one["milk out"])
        heat = float(one["milk"]) / 60 * rules.number("milk.density_kg_m3") / 1000 * warmth
        assert one["heat"] == near(heat * rules.number("milk.cp_kj_kgk"), 1, rel=0.01)
        assert float(one["milk out"]) >= float(one["cold in"])
        assert float(one["milk in"]) > float(one["cold out"]) >= float(one["cold in"])


def _milkings(number: int) -> list[object]:
    from byrewright.plant.programme import programme_of

    return list(programme_of(sizing(number)[0], sizing(number)[1]).milkings)


@pytest.mark.parametrize("number", PLANTS)
def test_slopes_recovery_and_starts(number: int) -> None:
    """Would fail if half-full flow were not Manning's, saved heat were worth another sum, or what
    runs after a start were not all that was started."""
    plant, rules, _ = sizing(number)
    for one in rows(number, "milkline.capacity"):
        d = float(one["bore"]) / 1000
        q = pi * d**2 / 8 / rules.number("milkline.manning_n") * (d / 4) ** (2 / 3)
        assert one["gravity, half full"] == near(q * sqrt(float(one["slope"]) / 100) * 60_000)
    beside = rows(number, "recovery.beside")
    for one in beside[1:]:
        kwh = float(one["heat taken"])
        less = float(beside[0]["heaters then use"]) - float(one["heaters then use"])
        saved = float(one["saved a year"])
        assert saved / 365 == pytest.approx(less, abs=1.1) and saved / 365 >= kwh - 0.6
        again = [float(r["heat taken"]) for r in beside[1:]]
        assert again[2] >= again[0] and again[3] >= again[1]  # a store twice as large
    worth = {
        float(r["worth a year"]) / float(r["saved a year"]) for r in beside if r["saved a year"]
    }
    prices = [t.price_kwh for t in plant.site.supply.tariff]
    if worth and prices:
        assert min(prices) * 0.98 < min(worth) <= max(worth) < max(prices) * 1.02
        assert max(worth) == pytest.approx(min(worth), rel=0.02)
    feeders = rows(number, "power.feeders")
    for one in feeders:
        usual, worst = float(one["usual"]), float(one["worst"])
        assert worst >= usual and (one["with this lost"] == "usual") == (worst == usual > 0)
        # every feeder of a board is for the board's own worst, the standby's too
        board = next(f for f in sizing(number)[2].findings
                     if f.key == "power.board" and f.subject == one["to"])  # fmt: skip
        assert one["breaker and cable"] == board.advised
        supplies = [m.id for m in plant.machines(GeneratesPower)]
        assert one["from"] not in supplies or one["with this lost"] != "-"
    assert not feeders or any(float(one["worst"]) for one in feeders)
    sets = {m.id: m for m in plant.machines(GeneratesPower)}
    for tag, one_set in sets.items():
        ran_kw = ran_kva = 0.0
        for one in rows(number, f"power.start_order.{tag}"):
            kw, kva = float(one["running after it, kW"]), float(one["running after it, kVA"])
            assert kw >= ran_kw and kva >= ran_kva and kva >= kw - 0.06
            ran_kw, ran_kva = kw, kva
            hit = one_set.rating_kva / one_set.reactance_pu
            start = float(one["start"])
            assert one["dip"] == near(100 * start / (start + hit), 1, rel=0.03)
        needs = next(f for f in sizing(number)[2].findings if f.key == "power.generator")
        assert inputs(needs)["P"] == near(ran_kw, 1, rel=0.01)


@pytest.mark.parametrize("number", PLANTS)
def test_a_slope_with_more_units_than_the_old_rule_has_is_doubted(number: int) -> None:
    """The 1978 rule has as many units as the bore in inches squared: would fail if a line of more
    were said to hold without a word, or one of fewer were doubted."""
    _, rules, found = sizing(number)
    for one in found.findings:
        if one.key == "milkline.stratified" and one.value is not None:
            i = inputs(one)
            peak = int(one.value / rules.number("milkline.peak_flow_per_cow_l_min"))
            old = int((i["d"] / 25.4) ** 2)
            assert ("tight at best" in one.sentence) == (i["n_slope"] > min(old, peak)), one
            units = next(f for f in found.findings if f.key == "milkline.units_per_slope")
            many = inputs(units)
            assert i["n_slope"] == pytest.approx(many["n"] / many["slopes"])


def test_every_word_here_is_met() -> None:
    """Would fail if a sentence were worded otherwise and its numbers were asked no more."""
    every = {(key, pattern) for key, by in SAID.items() for pattern in by}
    met = {
        (one.key, pattern)
        for number in PLANTS
        for one in sizing(number)[2].findings
        for pattern in SAID.get(one.key, ())
        if re.search(pattern, one.sentence)
    }
    assert met == every


@pytest.mark.parametrize("number", PLANTS)
def test_what_governs_and_what_is_usual(number: int) -> None:
    """Would fail if a drive were said to be set by the lesser of its two loads, a machine of two
    were listed without its place, or heat of chilling were taken from another temperature."""
    plant, rules, found = sizing(number)
    for one in found.findings:
        i = inputs(one)
        if one.key == "deck.drive_motor":
            running = i["k"] * i["c_high"] * i["W"] * G
            by = "running" if running >= i["F_start"] / i["s"] else "starting"
            assert f"set by {by} the full deck" in one.sentence
    for tag in (m.id for m in plant.machines(GeneratesPower)):
        starts = [str(r["load"]) for r in rows(number, f"power.start_order.{tag}")]
        for name in starts:
            machine, _, place = name.partition(" (")
            count = plant.equipment[machine].count
            assert bool(place) == (count > 1) and place in ("", *(
                f"{k} of {count})" for k in range(1, count + 1)))  # fmt: skip
        assert len(starts) == len(set(starts))
    stages = {(r["cooler"], r["stage"]): r for r in rows(number, "cooling.stages")}
    for one in rows(number, "expected"):
        said = re.search(r"chilling from (\d+) degC", str(one["what"]))
        if said:
            chilled = [r for (_, stage), r in stages.items() if stage == "chilled"]
            out = sum(float(r["milk out"]) for r in chilled) / len(chilled)
            kg_s = sum(float(r["milk"]) for r in chilled) / 60 * (
                rules.number("milk.density_kg_m3") / 1000)  # fmt: skip
            kw = kg_s * rules.number("milk.cp_kj_kgk") * (float(said[1]) - out)
            assert one["here"] == near(kw, 2, rel=0.02)
