"""Chilled liquid and its pumps, the class of a tank, rooms in frost: worked by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.engine.liquids import LiquidsUnsolved
from byrewright.plant.graph import Node
from byrewright.standards.cooling import AMBIENT_CLASSES, COOLING_CLASSES, FILL_CLASSES
from byrewright.studies.sizing import chilled, frost
from byrewright.studies.sizing.tank_class import tank_class
from tests.plants import machine, rotary
from tests.studies.benches import bench_of

PLANT = rotary(20, 60)


def tank(tag: str = "TK1", **more: Any) -> Any:
    """A tank of 8000 L."""
    return machine(tag, "bulk_tank", **{"volume_l": 8000, "cooling_kw": 60} | more)


def test_liquid_that_takes_out_a_tanks_heat(monkeypatch: pytest.MonkeyPatch) -> None:
    """60 kW in a liquid of 4 kJ/L K that warms by 5 K are 180 L/min: would fail if a minute's heat
    were taken for a second's."""
    monkeypatch.setattr(chilled, "liquid_for", lambda *_: SimpleNamespace(kj_l_k=4.0))
    ctx = bench_of(PLANT, {"coolant.rise_k": 5.0})
    assert chilled.tank_flow_l_min(ctx, tank()) == pytest.approx(180.0)


@pytest.mark.parametrize(("wants", "least"), [
    ({"PC1": 100.0}, 100.0), ({"PC1": 100.0, "TK1": 180.0, "TK2": 90.0}, 280.0),
    ({"TK1": 180.0, "TK2": 90.0}, 180.0),
])  # fmt: skip
def test_one_tank_cools_at_a_time(
    monkeypatch: pytest.MonkeyPatch, wants: dict[str, float], least: float
) -> None:
    """Would fail if both tanks were fed at full, the easiest mode told, a mode in which the pump
    stands asked, or one without an answer taken for none."""
    seen: list[Any] = []

    def reaching(_: Any, __: str, mode: str, l_min: float, ports: Any) -> float | None:
        seen.append((mode, l_min))
        assert set(ports) == {(t, "coolant_in") for t in wants}
        if mode == "wash":
            raise LiquidsUnsolved("no")
        return None if mode == "direct" else 400.0

    monkeypatch.setattr(chilled, "reaching", reaching)
    monkeypatch.setattr(chilled, "asked", lambda _, __, mode, q: SimpleNamespace(
        l_min=q, mode=mode, head_m={"milking": 12.0, "direct": 15.0}.get(mode, 9.0)))  # fmt: skip
    stands = {n: m.model_copy(update={"positions": m.positions | {"LP9": (
        "runs" if n in ("milking", "direct", "wash") else "stopped")}})
        for n, m in PLANT.modes.items()}  # fmt: skip
    pump = machine("LP9", "liquid_pump", flow_l_min=500, head_m=25, motor_kw=4)
    plant = PLANT.model_copy(update={"modes": stands,
                                     "equipment": PLANT.equipment | {"LP9": pump}})  # fmt: skip
    got = chilled._solved(bench_of(plant), pump, wants)  # type: ignore[arg-type]
    assert {m for m, _ in seen} == {"milking", "direct", "wash"}
    assert all(q == pytest.approx(least) for _, q in seen)
    assert got is not None and got.flow_l_min == pytest.approx(
        least
    )  # of the mode that needs most head
    assert got.what == ("PC1" if len(wants) == 1 else "every user of the chilled ring at once")
    assert chilled._solved(bench_of(plant), pump, {}) is None  # type: ignore[arg-type]


@pytest.mark.parametrize(("redundancy", "shared"), [("none", 3), ("shared-running", 1)])
def test_pumps_share_the_ring(
    monkeypatch: pytest.MonkeyPatch, redundancy: str, shared: int
) -> None:
    """Would fail if a pump of another ring shared the work, machines of a tag counted as one, or a
    farm that wants one to do all had them share."""
    pumps = {t: machine(t, "liquid_pump", count=n, flow_l_min=500, head_m=25, motor_kw=4)
             for t, n in (("LP8", 2), ("LP9", 1))}  # fmt: skip
    tanks = {t: tank(t, cooling="chilled_water") for t in ("TK1", "TK2")}
    plant = PLANT.model_copy(update={
        "equipment": PLANT.equipment | pumps | tanks,
        "wishes": PLANT.wishes.model_copy(update={"redundancy": redundancy})})  # fmt: skip
    monkeypatch.setattr(chilled, "in_line", lambda *_: SimpleNamespace(each={}))
    monkeypatch.setattr(chilled, "tank_flow_l_min", lambda _, one: 50.0)
    monkeypatch.setattr(chilled, "ports_to", lambda _, pump, wants: [
        Node("TK1", "coolant_in"), Node("TK2", "coolant_out")])  # fmt: skip
    asked: list[Any] = []
    monkeypatch.setattr(chilled, "_solved", lambda _, pump, wants: asked.append(wants)
                        or ("duty" if pump.id in pumps else None))  # fmt: skip
    sized: list[Any] = []
    monkeypatch.setattr(chilled, "size_pump", lambda _, pump, duties, key, n, what: sized.append(
        (pump.id, n)))  # fmt: skip
    takes = [t.takes_coolant for t in tanks.values()]
    chilled.size_chilled_pumps(bench_of(plant), None)  # type: ignore[arg-type]
    assert sized == [("LP8", shared), ("LP9", shared)] and all(takes)
    assert asked and all(wants == {"TK1": 50.0} for wants in asked)


@pytest.mark.parametrize(("hottest", "cooling", "words"), [
    (-1.0, "direct_expansion", "; the hot afternoon here is"),
    (0.0, "direct_expansion", "; the hot afternoon here is"),
    (1.0, "direct_expansion", ", and the tank is safe up to"), (1.0, "ice_bank", ""),
])  # fmt: skip
def test_cooling_by_the_class_of_a_tank(hottest: float, cooling: str, words: str) -> None:
    """A milking of 8000 L by 1.03 and 3.9 kJ/kg K from 35 to 4 degC: would fail if a class were
    read for another letter, or one that holds in this air were said not to."""
    fill, air, speed = FILL_CLASSES[-1], AMBIENT_CLASSES[0], COOLING_CLASSES[1]
    site = PLANT.site.model_copy(update={"hottest_c": air.performance_c + hottest})
    ctx = bench_of(PLANT.model_copy(update={"site": site}),
                   {"milk.density_kg_m3": 1030.0, "milk.cp_kj_kgk": 3.9})  # fmt: skip
    one = tank(milkings_class=fill.milkings, ambient_class=air.letter, time_class=speed.numeral,
               cooling=cooling)  # fmt: skip
    tank_class(ctx, one)
    (told,) = ctx.notes.findings
    litres = fill.share_each * 8000
    mean_kw = litres * 1.03 * 3.9 * 31.0 / 3600 / speed.first_h
    assert told.value is not None and mean_kw * 0.9 < told.value < mean_kw * 2.5
    assert f"a milking of {litres:.0f} L" in told.sentence and words in told.sentence
    assert ("The class holds in air" in told.sentence) == (cooling == "direct_expansion")
    assert f"in {speed.first_h:g} h" in told.sentence


@pytest.mark.parametrize(("coldest", "held", "value", "verdict"), [
    (None, None, None, "unknown"), (-20.0, 6.0, 6.0, "holds"), (-20.0, 3.0, 3.0, "fails"),
    (8.0, None, 8.0, "holds"), (8.0, 5.0, 8.0, "holds"), (5.0, None, 5.0, "holds"),
])  # fmt: skip
def test_rooms_in_frost(
    coldest: float | None, held: float | None, value: float | None, verdict: str
) -> None:
    """The coldest month has 2 degC, a night 12 K less: would fail if a warm room were judged by the
    night, or a room that nobody heats were not asked about."""
    site = PLANT.site.model_copy(update={"coldest_c": coldest, "room_heated_to_c": held})
    ctx = bench_of(PLANT.model_copy(update={"site": site}),
                   {"frost.cold_night_k": 12.0, "frost.room_least_c": 5.0})  # fmt: skip
    frost.size_frost(ctx, None)  # type: ignore[arg-type]
    found = {f.subject: f for f in ctx.notes.findings}
    assert found["water"].value == value and found["water"].verdict == verdict
    assert ("Heat the room" in found["water"].sentence) == (value is None or value < 5.0)
    assert frost.coldest_c(ctx)[0] == (-10.0 if coldest is None else coldest)
    many = sum(ctx.plant.service_of(p) == "water" for p in ctx.plant.pipes)
    assert f"the {many} water lines" in found["water"].sentence
