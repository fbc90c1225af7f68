"""Numbers of one simulated day against each other: each is told once, and they add up."""

from __future__ import annotations

import re
from functools import cache

import pytest

from byrewright.plant.plant import Plant
from byrewright.results import Result, Table
from byrewright.studies.day import run_day
from tests.studies.varied import STARTS, random_plant

PRINTED = 0.004
"""Tables print four figures."""
DAYS = {
    "rows as drafted": lambda: STARTS[0](), "a rotary as drafted": lambda: STARTS[1](),
    "a rotary": lambda: STARTS[2](), "rows": lambda: STARTS[3](),
    "rows at random": lambda: random_plant(3), "a rotary at random": lambda: random_plant(2),
}  # fmt: skip


@cache
def of(name: str) -> tuple[Plant, Result]:
    """A plant and its day."""
    plant = DAYS[name]()
    return plant, run_day(plant, seed=5)


def column(table: Table, name: str, **where: object) -> list[float]:
    """A column of numbers, of the rows where others are so."""
    at = table.columns.index(name)
    by = {table.columns.index(k): v for k, v in where.items()}
    return [float(r[at]) for r in table.rows if all(r[k] == v for k, v in by.items())]


def minutes(text: str) -> int:
    """A time of day."""
    hours, _, rest = text.partition(":")
    return 60 * int(hours) + int(rest)


@pytest.mark.parametrize("name", DAYS)
def test_a_day_adds_up(name: str) -> None:
    """Would fail if a share, a sum or a cost of the day were of other cows, milk or machines than
    its tables list."""
    plant, day = of(name)

    def value(key: str) -> float:
        found = day.finding(key).value
        assert found is not None
        return found

    cows, groups, milkings = (day.table(f"day.{t}") for t in ("cows", "groups", "milkings"))
    litres = sum(column(cows, "milk"))
    assert sum(column(milkings, "milk")) == pytest.approx(litres, rel=PRINTED)
    assert sum(column(groups, "milk")) == pytest.approx(litres, rel=PRINTED)
    assert sum(column(milkings, "cows")) == sum(column(groups, "cows")) == len(cows.rows)
    again = [t for t in column(cows, "turns") if t > 1]
    assert value("day.go_rounds") == pytest.approx(len(again) / len(cows.rows), abs=0.002)
    for one in milkings.rows:
        mine = {"milking": one[1]}
        hours = float(one[4])
        assert day.finding(f"day.milking_on_time@{one[1]}").value == pytest.approx(hours, abs=0.006)
        begun, off = minutes(str(one[2])), minutes(str(one[3]))
        assert (off - begun) % 1440 == pytest.approx(60 * hours, abs=1.6)
        assert float(one[6]) == pytest.approx(sum(column(cows, "milk", **mine)), rel=PRINTED)
        turns = column(cows, "turns", **mine)
        share = 100 * sum(t > 1 for t in turns) / len(turns)
        assert float(one[7]) == pytest.approx(share, abs=0.06)
    for _, milking, group, number, *_, milk, each, unit_on in groups.rows:
        mine = {"milking": milking, "group": group}
        assert len(column(cows, "milk", **mine)) == number
        assert float(each) == pytest.approx(float(milk) / float(number), rel=PRINTED)
        mean = sum(column(cows, "unit on", **mine)) / float(number)
        assert float(unit_on) == pytest.approx(mean, abs=0.6)

    uses = day.table("day.uses")
    kwh = sum(column(uses, "a day"))
    assert sum(column(day.table("day.machines"), "electricity")) == pytest.approx(kwh, rel=PRINTED)
    assert value("day.energy_1000_l") == pytest.approx(1000 * kwh / litres, rel=PRINTED)
    for each, for_milk in zip(column(uses, "a day"), column(uses, "for milk"), strict=True):
        assert for_milk == pytest.approx(1000 * each / litres, rel=PRINTED, abs=0.006)
    prices = [t.price_kwh for t in plant.site.supply.tariff]
    if prices:
        assert min(prices) * kwh * 0.99 < value("day.energy_cost") < max(prices) * kwh * 1.01
    assert value("day.water_litre") == pytest.approx(
        1000 * value("day.water_day") / litres, rel=PRINTED
    )
    operators = {m.operators for m in plant.milkings}
    if len(operators) == 1:  # from the first on until the last is out
        ends = groups.columns.index("last out")
        out_min = [
            max((minutes(str(g[ends])) - minutes(str(m[2]))) % 1440
                for g in groups.rows if g[1] == m[1]) for m in milkings.rows
        ]  # fmt: skip
        assert value("day.labour") == pytest.approx(operators.pop() * sum(out_min) / 60, rel=0.01)
    for vessel, volume, most, least, over, _ in day.table("day.vessels").rows:
        assert float(least) <= float(most) + 0.1 and float(over) >= 0 and float(volume) > 0
        told = [f for f in day.findings if f.name == f"day.vessel_full@{vessel}"]
        if told:
            assert told[0].value == pytest.approx(float(most) + float(over), rel=PRINTED, abs=0.06)
            assert told[0].limit == pytest.approx(float(volume), rel=PRINTED)
    pure = day.finding("day.milk_pure")
    added, milk = re.findall(r"([\d.]+) kg", pure.sentence)[:2]
    assert pure.value == pytest.approx(100 * float(added) / float(milk), rel=0.02, abs=0.002)
