"""The cable list, feeder by feeder, on machines that are made up."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.physics.cables import volt_drop_pct
from byrewright.studies import cables
from byrewright.studies.cables import Cable
from tests.plants import machine, rotary
from tests.studies.benches import bench_of

RULES = {"motor.power_factor": 0.8, "motor.efficiency": 0.9, "supply.spare_share": 0.25,
         "cable.one_phase_most_kw": 1.0, "cable.feeder_drop_pct": 1.5,
         "cable.drop_most_pct": 5.0}  # fmt: skip
PLANT = rotary()
WAY: Any = SimpleNamespace(board="SB1", tag="M", length_m=30.0)
NEUTRAL = 400.0 / math.sqrt(3.0)


def fed(kw: float, *can: str, count: int = 1) -> Any:
    """A machine of so many kW each that can do this."""
    return SimpleNamespace(id="M", title="thing", count=count, power_kw=lambda: kw,
                           can=lambda what: what in can)  # fmt: skip


def asked(
    monkeypatch: pytest.MonkeyPatch, one: Any, *, phases: int = 3, before: float = 0.0,
    feeds: bool = False, amps: float = 0.0, found: Any = (6.0, 1),
) -> tuple[Cable, Any]:  # fmt: skip
    """The cable of a feeder at 400 V, and what its conductor was chosen for."""
    seen: list[Any] = []
    picked = None if found is None else (SimpleNamespace(mm2=found[0]), found[1])
    monkeypatch.setattr(cables, "conductor_for", lambda *a: seen.append(a[:-1]) or picked)
    made = cables._cable(bench_of(PLANT, RULES), one, WAY, True, {one.id: amps},
                         400.0 if phases == 3 else NEUTRAL, phases, before, feeds)  # fmt: skip
    return made, seen[0]


@pytest.mark.parametrize(("kw", "can", "count", "phases", "kva", "over", "used"), [
    (3.6, (), 1, 3, 5.0, 400.0, 3),  # 3.6 / 0.8 / 0.9
    (1.8, (), 2, 3, 5.0, 400.0, 3), (3.6, (), 1, 1, 5.0, NEUTRAL, 1),
    (1.0, (), 1, 3, 1.0 / 0.72, NEUTRAL, 1), (0.6, (), 2, 3, 1.2 / 0.72, 400.0, 3),
    (4.0, ("makes cold",), 1, 3, 5.0, 400.0, 3), (4.0, ("controls",), 1, 3, 5.0, 400.0, 3),
    (5.0, ("heats water",), 1, 3, 5.0, 400.0, 3), (5.0, ("dries cloths",), 1, 3, 5.0, 400.0, 3),
])  # fmt: skip
def test_current_of_a_machine(
    monkeypatch: pytest.MonkeyPatch, kw: float, can: tuple[str, ...], count: int, phases: int,
    kva: float, over: float, used: int,
) -> None:  # fmt: skip
    """Would fail if a heater had a power factor, a motor none or no losses, or a small load hung on
    three phases."""
    made, (amps, length_m, volts, most, cos, on, breaker) = asked(
        monkeypatch, fed(kw, *can, count=count), phases=phases
    )
    assert amps == pytest.approx(1000 * kva / over / (math.sqrt(3.0) if used == 3 else 1.0))
    assert (volts, on, length_m, most) == (pytest.approx(over), used, 30.0, 5.0)
    assert cos == (1.0 if {"heats water", "dries cloths"} & {*can} else 0.8)
    assert made.amps == round(amps, 1) and made.phases == used and made.kw == kw * count
    assert breaker == made.breaker_a == min(
        a for a in (16, 20, 25, 32) if a >= amps * 1.25)  # fmt: skip
    drop = volt_drop_pct(amps, 30.0, 6.0, over, cos, used, 1, bench_of(PLANT, RULES).rules)
    assert made.drop_pct == round(drop, 2) and (made.mm2, made.together) == (6.0, 1)


def test_volts_that_are_left_for_a_cable(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a board's feeder might lose all that is allowed to a machine, or a machine
    behind a long feeder were left nothing at all."""
    board: Any = machine("SB1", "switchboard")
    made, (amps, _, volts, most, _, used, breaker) = asked(
        monkeypatch, board, before=1.0, feeds=True, amps=100.0
    )
    assert (amps, volts, most, used, breaker) == (100.0, 400.0, 1.5, 3, 125.0)
    assert made.total_pct == pytest.approx(1.0 + made.drop_pct, abs=0.011) and made.drop_pct > 0
    assert asked(monkeypatch, board, feeds=False)[0].amps == 0.0
    for before, left in ((1.5, 3.5), (4.95, 0.1), (6.0, 0.1)):
        assert asked(monkeypatch, fed(3.6), before=before)[1][3] == pytest.approx(left)
    assert asked(monkeypatch, fed(0.0), feeds=True, amps=9.0, before=1.0)[1][3] == 4.0


def test_cables_without_a_load_or_without_an_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a load that is not known had a section, or one that no cable carries had one
    without its drop: of four of 240 side by side."""
    none, _ = asked(monkeypatch, fed(0.0))
    assert (none.mm2, none.together, none.drop_pct, none.breaker_a) == (0.0, 1, 0.0, 0.0)
    ask, (amps, *_) = asked(monkeypatch, fed(90.0), found=None)
    drop = volt_drop_pct(amps, 30.0, 240.0, 400.0, 0.8, 3, 4, bench_of(PLANT, RULES).rules)
    assert (ask.mm2, ask.together, ask.drop_pct) == (None, 1, round(drop, 2))
    two, _ = asked(monkeypatch, fed(90.0), found=(150.0, 2))
    assert (two.mm2, two.together) == (150.0, 2)
    assert [cables.section_words(c) for c in (none, ask, two)] == ["-", "ask", "2 x 150"]
    one, _ = asked(monkeypatch, fed(3.6))
    assert cables.section_words(one) == "6"
    rows = cables.cable_rows((none, one))
    assert rows[0] == ("SB1", "M", "thing", "second", "-", "-", 1, "-", "-", 30.0, "-", "-")
    assert rows[1][4:] == (3.6, one.amps, 3, one.breaker_a, "6", 30.0, one.drop_pct, one.total_pct)


def test_boards_carry_their_worst(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a farm that wants no single stop had boards for the usual alone, or the load of
    many machines of a tag were counted once."""
    asked: list[bool] = []
    feed = SimpleNamespace(worst_amps=70.0)
    monkeypatch.setattr(cables, "feeds_of", lambda *_, one_lost: asked.append(one_lost)
                        or {"SB1": feed})  # fmt: skip
    load = SimpleNamespace(each_kw=4.0, power_factor=0.8, machine=SimpleNamespace(count=3))
    monkeypatch.setattr(cables, "carried", lambda *_: {"SB1": [load], "UP1": [load, load]})
    for stop, spare, lost in ((False, "none", False), (True, "none", True),
                              (False, "shared-running", True)):  # fmt: skip
        plant = PLANT
        wishes = plant.wishes.model_copy(update={"no_single_stop": stop, "redundancy": spare})
        ctx = bench_of(plant.model_copy(update={"wishes": wishes}))
        found = cables._board_amps(ctx, (), 400.0, 3)
        assert asked.pop() == lost
        assert found == {"SB1": 70.0, "UP1": pytest.approx(30_000 / math.sqrt(3.0) / 400.0)}


def chain(**fed_from: tuple[str, ...]) -> dict[str, Any]:
    """Machines by what feeds them."""
    return {t: SimpleNamespace(id=t, fed_from=f) for t, f in fed_from.items()}


def test_feeders_come_before_what_they_feed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if volts lost on the way to a board were left out, those of its better feeder
    counted alone, or boards that feed each other never came to an end."""
    made = chain(M=("B", "A"), A=("G",), B=("A",), G=(), X=("no",))
    order = [m.id for m in cables._down([*made.values()])]
    assert order.index("G") < order.index("A") < order.index("B") < order.index("M")
    assert [m.id for m in cables._down([*chain(A=("B",), B=("A",)).values()])] == ["A", "B"]
    asked: list[Any] = []
    drops = {("A", "G"): 1.0, ("B", "A"): 0.5, ("M", "B"): 0.3, ("M", "A"): 2.0}

    def cable(_: Any, m: Any, one: Any, second: bool, __: Any, volts: float, phases: int,
              before: float, feeds: bool) -> Any:  # fmt: skip
        asked.append((m.id, one, second, volts, phases, before, feeds))
        return SimpleNamespace(total_pct=before + drops[m.id, one])

    monkeypatch.setattr(cables, "_cable", cable)
    monkeypatch.setattr(cables, "way", lambda _, source, tag, target: source)
    monkeypatch.setattr(cables, "target_of", lambda *_: "there")
    monkeypatch.setattr(cables, "_board_amps", lambda *_: {})
    supply = SimpleNamespace(phases=3, voltage_v=400.0)
    plan: Any = SimpleNamespace(bodies={t: t for t in made})
    for mains, phases in ((None, 3), (SimpleNamespace(phases=1), 1)):
        plant = SimpleNamespace(site=SimpleNamespace(supply=supply), milkings=(), equipment=made,
                                first=lambda _, m=mains: m)  # fmt: skip
        ctx: Any = SimpleNamespace(plant=plant)
        cables.cable_list(ctx, SimpleNamespace(plan=plan))  # type: ignore[arg-type]
        assert asked == [("A", "G", False, 400.0, phases, 0.0, True),
                         ("B", "A", False, 400.0, phases, 1.0, True),
                         ("M", "B", False, 400.0, phases, 1.5, False),
                         ("M", "A", True, 400.0, phases, 1.0, False)]  # fmt: skip
        asked.clear()


def test_where_a_cable_ends() -> None:
    """Would fail if a cable ended at a machine's foot, outside of the yard, or in the middle of the
    deck; yards lie to the hand of the milking."""

    def room(**at: float) -> Any:
        return SimpleNamespace(**{"x": 0.0, "y": 0.0, "x2": 0.0, "y2": 0.0, "w": 0.0} | at)

    bodies = {"VP1": SimpleNamespace(frame="room", room="plant", x=1.0, y=2.0, z=0.5, h=1.2),
              "RC1": SimpleNamespace(frame="deck", room="hall", x=3.0, y=4.0, z=0.0, h=1.0),
              }  # fmt: skip
    yard = room(x=10.0, w=6.0, y=-5.0, y2=5.0, floor_m=0.2)
    hall = room(x2=20.0, x=0.0, w=20.0, y=-9.0, y2=9.0, floor_m=0.0)

    def at(tag: str, kind: str, hand: int = 1, rotary_: bool = True, rooms: Any = None) -> Any:
        deck = SimpleNamespace(rotary=rotary_, rail_radius_m=8.0, ring_radius_m=7.0, height_m=0.9)
        there = {"yard": yard, "hall": hall} if rooms is None else rooms
        plan: Any = SimpleNamespace(bodies=bodies, deck=deck, hand=hand, rooms=there)
        one = PLANT.equipment.get(tag) or machine(tag, kind)
        found = cables.target_of(None, plan, one)  # type: ignore[arg-type]
        assert found is not None
        return found.room, found.at

    assert at("VP1", "") == ("plant", (1.0, 2.0, 1.7))
    assert at("RC1", "") == ("deck", (3.0, 4.0, 1.0))
    assert at("YG1", "") == ("yard", (13.0, 5.0, 1.7))
    assert at("YG1", "", hand=-1) == ("yard", (13.0, -5.0, 1.7))
    assert at("YG1", "", rooms={"hall": hall}) == ("yard", (10.0, 9.0, 1.5))
    assert at("SO1", "sounder") == ("hall", (pytest.approx(19.9), 0.6, 2.4))
    assert at("DU1", "", hand=-1) == ("hall", (8.0, -0.6, 0.3))
    assert at("MU1", "") == ("deck", (7.0, 0.0, 0.5))
    for tag in ("MU1", "DU1"):
        assert at(tag, "", rotary_=False) == ("hall", (0.0, 0.6, pytest.approx(1.2)))


def test_a_us_list_says_at_what_voltage_small_loads_are_taken() -> None:
    """Who feeds small loads from a 120 V panel would buy cables for less than half the current."""
    from types import SimpleNamespace

    from byrewright.studies.cables import cables_note

    one = SimpleNamespace(phases=1)
    said = cables_note("US", 480.0, [one])  # type: ignore[list-item]
    assert "taken at 277 V" in said and "2.3 times the current" in said
    for region, volts, phases in (("EU", 400.0, 1), ("US", 240.0, 1), ("US", 480.0, 3)):
        one.phases = phases
        assert "times" not in cables_note(region, volts, [one])  # type: ignore[list-item]
