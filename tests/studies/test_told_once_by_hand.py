"""Readings of quantities that two studies give, on answers that are made up."""

from __future__ import annotations

import math
from statistics import stdev
from typing import Any

import pytest

from byrewright.results import Finding, Input, Result, Table
from byrewright.studies import told_once
from byrewright.studies.told_once import LATER_MILKINGS, QUANTITIES, agrees, disagreements


def said(key: str, value: float | None, subject: str = "", title: str = "", words: str = "",
         *inputs: Input) -> Finding:  # fmt: skip
    """A finding of a key."""
    return Finding(key, subject, title, value, "", words, "holds", inputs=inputs)


def listed(key: str, columns: str, *rows: tuple[Any, ...]) -> Table:
    """A table of a key; columns apart by commas."""
    names = tuple(columns.split(","))
    return Table(key, "", names, ("",) * len(names), rows)


def answer(study: str, *parts: Finding | Table) -> Result:
    """What a study answers."""
    return Result(
        study, "", tuple(p for p in parts if isinstance(p, Finding)),
        tables=tuple(p for p in parts if isinstance(p, Table)),
    )  # fmt: skip


def test_values_of_findings_and_tables() -> None:
    """Would fail if another key, row or column were read, a value were not scaled, or words were
    taken for numbers."""
    found = answer(
        "day", said("k", 2.0, "A"), said("k", 5.0, "B"), said("k", None, "C"), said("j", 99.0),
        listed("t", "use,kWh,h", ("milk", 7.0, 1.0), ("wash", 8.0, 2.0), ("milk", 9.0, 3.0)),
        listed("u", "use,kWh", ("milk", 70.0), ("wash", "-"), ("ice", 20.0)),
    )  # fmt: skip
    assert told_once.finding("k", 10.0)(found) == {"A": 20.0, "B": 50.0}
    assert told_once.one("k")(found) == {"": 5.0} and told_once.one("no")(found) == {}
    assert told_once.one("k", min, 3.0)(found) == {"": 6.0}
    assert told_once.row("t", "milk", 2)(found) == {"": 1.0}
    assert told_once.row("t", "no", 2)(found) == told_once.row("no", "milk", 2)(found) == {}
    assert told_once.cell("u", "kWh", max)(found) == {"": 70.0}
    assert told_once.cell("u", "kWh", min)(found) == {"": 20.0}
    assert told_once.cell("no", "kWh", max)(found) == {}
    assert told_once.column("t", 1)(found) == {"": 24.0} and told_once.column("no", 1)(found) == {}


def test_load_on_the_standby_set() -> None:
    """10 + 20 + 30 kW and half of 40 kW of heaters are 80 kW: would fail if what is off were added,
    or heaters in full."""
    inputs = (Input("P", "", 77.0, "kW", ""), Input("generator.heat_share", "", 0.5, "", ""))
    loads = listed("failures.shed", "order,tag,machine,in milking", *(
        (i, "", "", 10.0 * (i + 1)) for i in range(5)))  # fmt: skip
    judged = said("power.generator", 1.0, "", "", "", *inputs)
    assert told_once.on_standby_kw(answer("sizing", judged)) == {"": 77.0}
    assert told_once.on_standby_kw(answer("sizing", said("other", 1.0, "", "", "", *inputs))) == {}
    assert told_once.on_standby_kw(answer("failures", judged, loads)) == {"": 80.0}
    assert told_once.on_standby_kw(answer("failures", loads)) == {"": 60.0}


def test_cups_that_fall_with_a_pump() -> None:
    """Would fail if another failure of a pump were read as its stop."""
    found = answer("vacuum", said("e", 9.0, "", "VP1 alone trips"), said("e", 4.0, "", "VP1 trips"))
    assert told_once.cups_of_a_pump(found) == {"VP1": 9.0}
    table = listed("failures.ranked", "failure,x,cups fallen", ("VP1 stops", 0, 9),
                   ("VP2 stops", 0, 8), ("VP1 leaks", 0, 3))  # fmt: skip
    other = listed("other", "failure,x,cups fallen", ("VP3 stops", 0, 9))
    assert told_once.cups_of_a_pump(answer("failures", table, other)) == {"VP1": 9.0, "VP2": 8.0}


def test_milk_out_of_coolers_and_in_tanks() -> None:
    """Would fail if the stage with well water were compared, milk in a tanker were taken for a
    blend in a tank, or the coldest blend for the warmest."""
    both = answer("sizing", said("cooling.chilled.out", 4.0, "PC1 chilled stage"),
                  said("day.cooler_outlet", 5.0, "PC2"),
                  said("day.cooler_outlet", 18.0, "PC2 water stage"))  # fmt: skip
    assert told_once.chilled_c(both) == {"PC1": 4.0, "PC2": 5.0}
    key, blend = "day.milk_temperature_1", f"rule, {LATER_MILKINGS}"
    found = answer("day", said(key, 6.0, "TK1", blend), said(key, 7.0, "TK2", blend),
                   said(key, 8.0, "TB1", blend, f"warm {told_once.IN_TANKER}"),
                   said(key, 9.0, "TK1", "rule, at once"),
                   said("day.other", 9.5, "", blend))  # fmt: skip
    assert told_once.blend_c(found) == {"": 7.0} and told_once.blend_c(answer("day")) == {}
    assert told_once.blend_c(answer("sizing", said("cooling.tank.blend", 5.0),
                                    said("cooling.tank.blend", None))) == {"": 5.0}  # fmt: skip


COWS = listed("day.cows", "milking,cow,milk", ("a", 1, 10.0), ("a", 2, 20.0), ("b", 1, 12.0),
              ("b", 2, 18.0))  # fmt: skip


def test_what_chance_may_shift() -> None:
    """Three standard errors: would fail if milkings were counted as cows, or cows that go round as
    those that do not."""
    spread = 3.0 * stdev([10.0, 20.0, 12.0, 18.0]) * 4 / math.sqrt(2)
    assert told_once.chance_of_a_day({"day": answer("day", COWS)}) == pytest.approx(spread)
    one = listed("day.cows", "milking,cow,milk", ("a", 1, 10.0))
    assert told_once.chance_of_a_day({"day": answer("day", one)}) == 0.0
    assert told_once.chance_of_a_day({"day": answer("day")}) == 0.0
    found = answer("day", COWS, said("day.go_rounds", 0.1))
    assert told_once.chance_of_a_round({"day": found}) == pytest.approx(
        100 * 3 * math.sqrt(0.1 * 0.9 / 2)
    )
    none = listed("day.cows", "milking,cow,milk")
    assert told_once.chance_of_a_round({"day": answer("day", none)}) == 0.0


def test_hours_of_a_milking_over_midnight() -> None:
    """22:40 to 01:10 are 2.5 h: would fail if a milking over midnight had negative hours, or one
    that never ended any."""
    table = listed("day.milkings", "day,milking,begun,last off", (0, "a", "05:15", "09:45"),
                   (0, "b", "22:40", "01:10"), (0, "c", "05:00", "not ended"),
                   (0, "d", "-", "05:00"))  # fmt: skip
    got = told_once.milked_h(answer("day", table, listed("day.other", "day,milking")))
    assert got == {"a": 4.5, "b": 2.5}


def test_a_day_that_runs_into_the_next_is_not_compared() -> None:
    """Would fail if a day whose wash does not fit were held to the programme's, or one that just
    fits were not."""
    for left, apart in ((-0.1, math.inf), (0.0, 3.0), (5.0, 3.0)):
        day = answer("day", said("day.wash_fits", 9.0, "a"), said("day.wash_fits", left, "b"))
        assert told_once.in_its_day(3.0)({"day": day}) == apart


def test_heat_by_the_month() -> None:
    """Would fail if one store of two were counted, or a day were put to no month."""
    table = listed("recovery.months", "month,store,heat", ("May", "A", 10.0), ("May", "B", 5.0),
                   ("June", "A", 7.0))  # fmt: skip
    assert told_once.heat_of_months(answer("sizing", table)) == {"May": 15.0, "June": 7.0}
    month = Input("", "month of the first day", "May", "", "as asked")
    found = answer("day", said("day.heat_recovered", 14.0, "", "", "", month),
                   said("day.heat_recovered", None, "", "", "", month))  # fmt: skip
    assert told_once.heat_of_a_day(found) == {"May": 14.0}


@pytest.mark.parametrize(("loads", "lots", "mean", "apart"), [
    (2.0, 9.0, 9.0, 4.5), (4.0, 9.0, 9.0, 3.0), (0.0, 1.0, 7.0, 7.0), (0.0, 1.1, 7.0, 3.0),
    (0.0, 1.0, 2.0, 3.0),
])  # fmt: skip
def test_electricity_of_a_load_of_cloths(
    loads: float, lots: float, mean: float, apart: float
) -> None:
    """9 kWh in two loads are 4.5 kWh a load: would fail if a day without a whole load were held to
    sizing's mean, though that is less than one."""
    day = answer("day", listed("day.lots", "machine,loads", ("WA1", loads)),
                 listed("day.uses", "use,a day", ("laundry", 9.0)))  # fmt: skip
    sizing = answer("sizing", listed("cloths.lots", "a,b,c,lots", ("", "", "", lots)),
                    said("cloths.energy", mean))  # fmt: skip
    assert told_once.one_load({"day": day, "sizing": sizing}) == apart


def quantity(name: str) -> told_once.Quantity:
    """A quantity of the list."""
    return next(q for q in QUANTITIES if q.name == name)


@pytest.mark.parametrize(("name", "owned", "others", "not_others"), [
    ("milking time", 5.0, (4.961, 5.039), (4.95, 5.05)),
    ("wait in the yard", 40.0, (39.1, 40.9), (38.9, 41.1)),
    ("milk flow in the busiest minute", 100.0, (99.6, 140.0), (99.4,)),
    ("milk out of the chilled stage", 4.0, (3.31, 7.0), (3.29,)),
    ("milk in the tank as a later milking comes", 6.0, (4.51, 9.0), (4.49,)),
    ("drop from receiver to pump", 2.0, (1.981, 2.019), (1.979, 2.021)),
    ("drop from receiver to pump", 0.1, (0.091, 0.109), (0.089, 0.111)),
    ("least vacuum in milking", 42.0, (41.91, 43.0), (41.89,)),
    ("cups fallen when a vacuum pump stops", 10.0, (9.51, 10.49), (9.49, 10.51)),
    ("greatest demand", 100.0, (0.0, 100.0), (100.1,)),
    ("load on the standby set", 80.0, (78.1, 81.9), (77.9, 82.1)),
    ("water a day", 10.0, (8.81, 11.19), (8.79, 11.21)),
    ("water a day", 1.0, (0.51, 1.49), (0.49, 1.51)),
    ("electricity of the laundry", 100.0, (90.1, 109.9), (89.9, 110.1)),
    ("heat recovered", 100.0, (60.1, 139.9), (59.9, 140.1)),
    ("heat recovered", 1.0, (0.0, 5.9), (6.1,)),
    ("wash product a day", 100.0, (98.1, 101.9), (97.9, 102.1)),
    ("wash product a day", 1.0, (0.91, 1.09), (0.89, 1.11)),
    ("return of the hot wash at its end", 60.0, (57.1, 90.0), (56.9,)),
    ("most milk lost at once", 100.0, (99.1, 100.9), (98.9, 101.1)),
])  # fmt: skip
def test_how_near_two_studies_must_come(
    name: str, owned: float, others: tuple[float, ...], not_others: tuple[float, ...]
) -> None:
    """Would fail if a tolerance were another than its reason bears."""
    one = quantity(name)
    nothing = {s: answer(s) for s in ("day", "sizing")}
    apart = one.apart if isinstance(one.apart, float) else one.apart(nothing)
    for value in others:
        assert agrees(one, owned, value, apart), value
    for value in not_others:
        assert not agrees(one, owned, value, apart), value


def test_shares_and_drops_as_they_are_compared() -> None:
    """Would fail if a share were compared with percent, or the least drop of pumps with the
    most."""
    found = {"day": answer("day", said("day.go_rounds", 0.05), COWS),
             "sizing": answer("sizing", said("throughput.go_round", 4.0))}  # fmt: skip
    assert not list(disagreements(found))  # three standard errors are 46 %
    assert quantity("cows that go round again").owner.read(found["day"]) == {"": 5.0}
    (other,) = quantity("drop from receiver to pump").others
    drops = answer("vacuum", said("vacuum.test.drop_pump_1", 1.0), said("vacuum.drop.pump", 3.0),
                   said("vacuum.test.drop_pump_2", 2.0),
                   said("vacuum.test.drop_pump_3", None))  # fmt: skip
    assert other.read(drops) == {"": 2.0} and other.read(answer("vacuum")) == {"": 0.0}


def test_disagreements_of_studies_that_were_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a study that was not asked were read, or another subject's value compared."""
    monkeypatch.setattr(told_once, "QUANTITIES", (quantity("milking time"),))
    day = answer("day", listed("day.milkings", "milking,begun,last off", ("a", "05:00", "10:00"),
                               ("b", "15:00", "19:00")))  # fmt: skip
    for value, subject, many in ((5.1, "a", 1), (5.03, "a", 0), (4.0, "b", 0), (5.0, "b", 1),
                                 (9.0, "c", 0)):  # fmt: skip
        other = answer("sizing", said("throughput.finished", value, subject))
        assert len(list(disagreements({"day": day, "sizing": other}))) == many
        assert not list(disagreements({"day": day})) and not list(disagreements({"sizing": other}))
    (one,) = disagreements({"day": answer("day", said("k", 1.0, "A")),
                            "sizing": answer("sizing", said("k", 2.0, "A"), said("k", 1.0, "B"),
                                             said("k", None, "A"))})  # fmt: skip
    assert str(one) == " of A: day 1, sizing 2"
