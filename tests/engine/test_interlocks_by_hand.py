"""Rows of an interlock table against contacts, decks at rest and vacuum by a balance: by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np
import pytest

from byrewright.engine import deck
from byrewright.engine.interlocks import (
    Effect,
    Row,
    Signal,
    Table,
    active,
    by_priority,
    contacts,
    outputs,
    permitted,
    row_active,
    row_known,
)
from byrewright.engine.operating_map import RatedPump, capacity_balance, from_network
from tests.plants import machine, rotary
from tests.studies.benches import bench_of


def row(tag: str = "R", on: Any = ("a",), off: Any = ("b",), unless: Any = (), **more: Any) -> Row:
    """A row of mode x."""
    usual: dict[str, Any] = {"machine": "V1", "wanted": "open", "modes": ("x",), "text": "says",
                             "priority": "high", "do": "does", "on_delay_s": 3.0,
                             "off_delay_s": 1.0, "effects": ("S",)}  # fmt: skip
    return Row(tag, on=on, off=off, unless=unless, **usual | more)


def test_a_row_by_every_reading_of_its_contacts() -> None:
    """Would fail if one of two contacts sufficed, what is not known passed for right, or a
    spare way had to be asked where all is right."""
    one = row(unless=("c", "d"))
    for a, b, c, d in product((True, False, None), repeat=4):
        shown = {t: v for t, v in zip("abcd", (a, b, c, d), strict=True) if v is not None}
        sure = [(x, y, z, w) for x, y, z, w in product((True, False), repeat=4)
                if a in (x, None) and b in (y, None) and c in (z, None)
                and d in (w, None)]  # fmt: skip
        could = {(not x or y) and not (z and w) for x, y, z, w in sure}
        assert row_known(one, "x", shown) == (could.pop() if len(could) == 1 else None)
        assert row_active(one, "x", shown) == ((not a or bool(b)) and not (bool(c) and bool(d)))
    assert row_known(one, "y", {}) is False and not row_active(one, "y", {})
    assert one.alarm_when() == "a off or b on, unless c and d are on"
    assert one.right_when() == "a on and b off; or c and d on" and one.contacts == tuple("abcd")
    plain = row()
    assert plain.alarm_when() == "a off or b on" and plain.right_when() == "a on and b off"


def test_a_table_as_a_controller_has_it() -> None:
    """Would fail if modes were numbered from nought, a row without a contact that is there were
    kept, or half of what spares a row spared it."""
    signals = tuple(Signal(t, f"V{t}", "open", "", t in "abc", t == "d") for t in "abcd")
    rows = (row("R1", effects=("S", "T")), row("R2", ("c",), (), ("a", "b"), before=False),
            row("R3", ("d",), ()), row("R4", ("a",), (), ("a", "d"), priority="low"))  # fmt: skip
    table = Table("p", ("x", "y"), signals, (Effect("S", ""), Effect("T", "")), rows,
                  runs=(Signal("M", "MP1", "runs", "", True),))  # fmt: skip
    assert [table.number("x"), table.number("y")] == [1, 2]
    assert [table.mode(n) for n in (0, 1, 2, 3)] == [None, "x", "y", None]
    with pytest.raises(KeyError):
        table.number("z")
    assert table.row("R2") is rows[1] and table.run_contacts() == {"M": "MP1"}
    cut = {r.tag: r for r in table.as_fitted().rows}
    assert set(cut) == {"R1", "R2", "R4"} and cut["R2"].unless == ("a", "b")
    assert cut["R4"].unless == () and [s.tag for s in table.as_fitted().signals] == ["a", "b", "c"]
    assert [r.tag for r in table.without("R1", "R3").rows] == ["R2", "R4"]
    shown = {"a": True, "b": True, "d": True}
    assert active(table, "x", shown) == ("R1",)
    assert outputs(table, "x", shown) == {"S": True, "T": True}
    assert outputs(table, "x", {"a": True, "d": True}) == {"S": True, "T": False}
    assert active(table, "x", {"a": True, "d": True}) == ("R2",)
    assert not permitted(table, "x", shown) and permitted(table, "x", {"a": True, "d": True})
    got = contacts(table, {"Va": "open", "Vb": "half", "Vd": "open"}, {"d": False})
    assert got == {"a": True, "b": False, "c": False, "d": False}
    order = by_priority([rows[3], rows[0], replace(rows[1], priority="medium")])
    assert [r.tag for r in order] == ["R1", "R2", "R4"]


def test_the_track_of_a_deck() -> None:
    """60 stalls of 0.7 m stand round 6.68 m: would fail if a track lay outside where cows face out,
    or one that is stated were worked out."""
    rules = bench_of(rotary(), {"deck.stall_width_m": 0.7, "deck.track_from_shoulder_m": 0.9}).rules
    shoulder = 60 * 0.7 / (2 * math.pi)
    for facing, radius in (("in", shoulder + 0.9), ("out", shoulder - 0.9)):
        one: Any = machine("PF1", "platform", stalls=60, turn_s=480, facing=facing)
        assert deck.track_radius_m(rules, one) == round(radius, 2)
    stated: Any = machine("PF1", "platform", stalls=60, turn_s=480, rail_radius_m=5.5)
    assert deck.track_radius_m(rules, stated) == 5.5
    least: Any = machine("PF1", "platform", stalls=4, turn_s=480, facing="out")
    assert deck.track_radius_m(rules, least) == deck.LEAST_TRACK_RADIUS_M


def test_what_moves_a_full_deck() -> None:
    """Would fail if cows or their stalls were left out, the hard case were easier than the usual,
    or drives that are there were given another efficiency."""
    plant = rotary(40, 200)
    platform: Any = plant.equipment["PF1"]
    rules = bench_of(plant).rules
    load = deck.deck_load(plant, rules, platform)
    assert load.full_kg == 40 * platform.stall_mass_kg + 40 * plant.herd.cow_mass_kg
    assert load.running_n == pytest.approx(load.full_kg * 9.81 * load.resistance, rel=0.001)
    assert load.running_high_n == pytest.approx(
        load.full_kg * 9.81 * load.resistance_high, rel=0.001
    )
    assert load.resistance_high > load.resistance and load.start_n > load.running_n
    eta = plant.equipment["DU1"].efficiency  # type: ignore[attr-defined]
    assert load.running_kw == pytest.approx(load.running_n * load.speed_m_s / eta / 1000, rel=0.001)
    bare = deck.deck_load(rotary(40, 200, DU1=None), rules, platform)
    usual = rules.number("deck.drive_efficiency")
    assert bare.running_kw * usual == pytest.approx(load.running_kw * eta)


def test_vacuum_by_air_in_against_air_out() -> None:
    """Pumps of 3000 L/min, one of them fixed: would fail if a pump turned slower than it can, one
    that has a fixed speed slowed down, or vacuum held with too little air."""
    rules = bench_of(rotary()).rules
    pumps = (RatedPump(3000.0, 10.0, True, 0.4), RatedPump(3000.0, 8.0, False, 0.0))
    found = capacity_balance(pumps, 42.0, 20, 100.0, 500.0, 101.3, rules)
    assert found.table.shape == (4, 21, 3) and found.known == "unknown"
    assert (found.table[0] == 0.0).all()
    full = found.table[1, 0, 2] / 8.5  # power at the share that 500 L/min ask
    assert found.table[1, 0].tolist() == [42.0, pytest.approx(0.4), pytest.approx(0.85 * 10 * 0.4)]
    assert full == pytest.approx(0.4)
    speeds = found.table[1, :, 1]
    assert (np.diff(speeds) >= -1e-12).all() and speeds[-1] <= 1.0
    assert found.table[2, 5].tolist() == [42.0, 1.0, pytest.approx(0.85 * 8.0)]
    both = found.table[3, 0]
    assert both[1] == pytest.approx((0.4 + 1.0) / 2) and both[2] == pytest.approx(3.4 + 6.8)
    short = capacity_balance(pumps[:1], 42.0, 20, 300.0, 500.0, 101.3, rules)
    vacuum, speed, kw = short.table[1, -1]
    assert 5.0 < vacuum < 42.0 and speed == 1.0 and kw == pytest.approx(8.5)
    from byrewright.physics.air import vane_pump_l_min_free

    drawn = vane_pump_l_min_free(3000.0, vacuum, 101.3, rules)
    assert drawn == pytest.approx(6500.0 * math.sqrt(vacuum / 42.0), rel=1e-6)
    assert capacity_balance((), 42.0, 0, 1.0, 1.0, 101.3, rules).table.shape == (1, 2, 3)


def test_a_solved_map_in_the_engines_order() -> None:
    """Bit 0 of the network is B, of the engine A: would fail if pumps were taken one for the other,
    power were told at the shaft, or points between were not on a line."""
    units = np.array([0.0, 4.0])
    kpa = np.array([[0.0, 0.0], [40.0, 36.0], [44.0, 42.0], [45.0, 43.0]])
    made = from_network(("B", "A"), units, kpa, kpa / 100, kpa / 10, ("A", "B"), 4, 42.0, 0.8)
    assert made is not None and made.known == "network"
    assert made.table[1, :, 0].tolist() == [44.0, 43.5, 43.0, 42.5, 42.0]  # A alone
    assert made.table[2, 2].tolist() == [38.0, pytest.approx(0.38), pytest.approx(3.8 / 0.8)]
    assert made.table[3, 0, 0] == 45.0 and (made.table[0] == 0.0).all()
    for pumps, order in ((("B",), ("A",)), ((), ())):
        assert from_network(pumps, units, kpa, kpa, kpa, order, 4, 42.0, 0.8) is None
