"""From rows to arrays: washes, short lines, what is too small for a step, rows of sections."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from byrewright.engine import maker
from byrewright.engine import shape as sh
from byrewright.engine.draws import log_normal
from byrewright.engine.layout import Layout
from byrewright.engine.maker import Maker
from byrewright.plant.primitives import Stalls
from byrewright.plant.programme import WashKind, WashStep
from tests.plants import pipe, rotary

PLANT = rotary(20, 60)


def step(litres: float = 380.0, at_c: float | None = 50.0, circulates: bool = False,
         kind: Any = WashKind.WARM_RINSE) -> WashStep:  # fmt: skip
    """A step of six minutes."""
    return WashStep("rinse", kind, litres, at_c, 6.0, 0.01, circulates)


def made(*troughs: Any, cold_c: float = 10.0) -> Any:
    """A maker with wash vessels of 200 L each, a heater at 80 degC and one at 60."""
    one: Any = Maker.__new__(Maker)
    site = PLANT.site.model_copy(update={"water_temperature_c": (cold_c, *[15.0] * 11)})
    one.plant = PLANT.model_copy(update={"site": site})
    heated = [("WH1", SimpleNamespace(set_c=80.0)), ("WH2", SimpleNamespace(set_c=60.0))]
    one.low = SimpleNamespace(
        troughs=troughs, heated=heated, notes=[],
        vessels={t.vessel: SimpleNamespace(litres=200.0) for t in troughs})  # fmt: skip
    one.names = SimpleNamespace(transfers=["cold", "clean", "TR1 from WH1 to TR1",
                                           "TR1 from WH2 to TR1"])  # fmt: skip
    return one


def trough(hot: dict[str, float] | None = None, share: float = 1.0, cold: str = "cold") -> Any:
    """A wash vessel filled by heaters in parts, and cold."""
    found = [(f"TR1 from {h} to TR1", part) for h, part in (hot or {"WH1": 1.0}).items()]
    return SimpleNamespace(vessel="TR1", hot=found, cold=cold, clean="clean", share=share)


def doses(rows: list[Any]) -> dict[int, float]:
    """Litres by transfer of the first fill."""
    return {int(r[1]): r[2] for r in rows if r[3] == sh.DOSE_IN}


def test_a_step_is_mixed_warm_enough_in_the_coldest_month() -> None:
    """50 of 10 and 80 degC are four sevenths hot: would fail if water of the warmest month were
    reckoned with, or a rinse with recovered water took clean."""
    rows = made(trough())._wash_step(step(190.0))
    assert doses(rows) == {2: pytest.approx(190 * 4 / 7), 0: pytest.approx(190 * 3 / 7)}
    assert rows[-2][0] == 360.0 and rows[-2][2:4] == (0.01, sh.CIRCULATE)
    other = made(trough())._wash_step(step(190.0, kind=WashKind.ALKALINE))
    assert set(doses(other)) == {2, 1} and other[-2][4] == sh.MAIN
    two = made(trough({"WH1": 0.5, "WH2": 0.5}))._wash_step(step(190.0, 40.0))
    assert doses(two) == {2: pytest.approx(47.5), 3: pytest.approx(47.5), 0: pytest.approx(95.0)}
    for at_c, share in ((None, 0.0), (10.0, 0.0), (95.0, 1.0)):
        rows = made(trough())._wash_step(step(190.0, at_c))
        assert doses(rows).get(2, 0.0) == pytest.approx(190 * share)
        assert (0 in doses(rows)) == (share < 1.0)
    assert doses(made(trough({"WH1": 1.0}, cold=""))._wash_step(step(190.0))) == {2: 190.0}
    bare = trough()
    bare.hot = []
    assert doses(made(bare)._wash_step(step(190.0))) == {0: 190.0}


def test_a_rinse_in_as_many_fills_as_its_vessels_ask() -> None:
    """A vessel of 200 L takes 190: would fail if a rinse ran over, took longer for its fills, or a
    wash that goes round came in two."""
    rows = made(trough())._wash_step(step(400.0))
    assert len(rows) == 3 * 4 and sum(r[2] for r in rows if r[3] == sh.DOSE_IN) == pytest.approx(
        400
    )
    assert sum(r[0] for r in rows if r[3] == sh.CIRCULATE) == pytest.approx(360.0)
    assert {r[4] for r in rows if r[3] == sh.CIRCULATE} == {sh.ONCE}
    one = made(trough())
    round_ = one._wash_step(step(400.0, circulates=True))
    assert sum(doses(round_).values()) == pytest.approx(190.0) and len(one.low.notes) == 1
    assert "room for 200 L, less than the 400 L" in one.low.notes[0]
    assert round_[-2][4] == sh.ROUND and round_[-1][3] == sh.EMPTY
    half = made(trough(share=0.5), trough(share=0.5))._wash_step(step(380.0))
    assert sum(r[2] for r in half if r[3] == sh.DOSE_IN) == pytest.approx(380.0) and len(half) == 6


def pump(kg_s: float, law: int = sh.FIXED, src: str = "A", leader: str = "L") -> Any:
    """A transfer."""
    return SimpleNamespace(law=law, src=src, most_kg_s=kg_s, leader=leader)


def test_a_vessel_that_its_pumps_empty_in_a_step() -> None:
    """Would fail if two pumps on one vessel were each looked at alone, what is drawn off by itself
    counted, or a deck whose stalls pass in less than two steps were taken."""

    def asked(*transfers: Any, cap: float = 10.0, stalls: Any = "rotary 1.1",
              role: int = sh.STORE, dt: float = 0.5) -> str:  # fmt: skip
        one: Any = Maker.__new__(Maker)
        one.low = SimpleNamespace(transfers=transfers, vessels={"A": SimpleNamespace(
            role=role, cap_kg=cap, litres=cap)})  # fmt: skip
        layout, _, stall_s = str(stalls).partition(" ")
        found = SimpleNamespace(layout=layout, turn_s=20 * float(stall_s or 0), stalls=20)
        one.lowering = SimpleNamespace(first=lambda kind: ("PF1", found)
                                       if stalls and kind is Stalls else None)  # fmt: skip
        return Maker._too_small(one, dt)

    assert asked(pump(10.0), pump(10.0)) == "" and asked(pump(20.0)) == ""
    assert "holds 10 L, less than its pumps move in a step of 0.5 s" in asked(
        pump(10.0), pump(10.2)
    )
    for law in (sh.ON_OFF, sh.STEPPED, sh.LED, sh.LOADING):
        assert "holds 10 L" in asked(pump(20.2, law))
    gravity = next(x for x in range(50) if x not in (sh.FIXED, sh.ON_OFF, sh.STEPPED, sh.LED,
                                                     sh.LOADING))  # fmt: skip
    assert asked(pump(99.0, gravity)) == "" and asked(pump(99.0), role=sh.SINK) == ""
    assert "add the platform" in asked(stalls=None)
    assert asked(stalls="rotary 1.0") == "" and "less than two steps" in asked(stalls="rotary 0.9")
    assert asked(stalls="rows 0.9") == ""


def test_a_line_that_is_full_in_a_few_steps_holds_nothing() -> None:
    """Would fail if a short line were marched, or pumps that share one were counted alone."""
    for cap, kept in ((maker.LINE_STEPS * 3.0 * 0.5, True), (maker.LINE_STEPS * 1.4, False)):
        one: Any = Maker.__new__(Maker)
        pumps = [pump(1.0), pump(2.0), pump(9.0, leader="M")]
        one.low = SimpleNamespace(lines={"L": SimpleNamespace(cap_kg=cap)}, transfers=pumps)
        one._drop_short_lines(0.5)
        assert ("L" in one.low.lines) == kept


def test_rows_of_sections_follow_one_another() -> None:
    """Would fail if what points at an item of a section pointed into another."""
    one: Any = Maker.__new__(Maker)
    parts = {name: (np.full((n, 1), float(i)), np.full((n, sh.WIDE), -1, np.int64))
             for i, (name, n) in enumerate((s, 2 + k)
                                           for k, s in enumerate(sh.SECTIONS))}  # fmt: skip
    section, column, target = maker.POINTS[0]
    parts[section][1][1, column] = 1
    num = np.full(len(sh.NUMBERS), -1, np.int64)
    F, I = one._stack(parts, num)  # noqa: E741
    begins = np.concatenate([[0], np.cumsum([2 + k for k in range(len(sh.SECTIONS))])])
    ends = num[: 2 * len(sh.SECTIONS)]
    assert ends[0::2].tolist() == begins[:-1].tolist()
    assert ends[1::2].tolist() == begins[1:].tolist()
    at = {s: int(begins[i]) for i, s in enumerate(sh.SECTIONS)}
    assert I[at[section] + 1, column] == at[target] + 1 and I[at[section], column] == -1
    assert all((F[at[s] : at[s] + 2, 0] == i).all() for i, s in enumerate(sh.SECTIONS))


def test_the_tank_behind_a_refrigerant_port() -> None:
    """Would fail if a unit cooled a tank that its other port, or another machine, is joined to."""
    one: Any = Layout.__new__(Layout)
    pipes = (pipe("P", "CU1.other", "TK2.in"), pipe("Q", "TK1.in", "CU1.cold"),
             pipe("R", "CU1.cold", "V1.a"))  # fmt: skip
    one.plant = PLANT.model_copy(update={"pipes": pipes})
    one.plant.__dict__.pop("_pipes_at", None)
    assert one._behind("CU1", "cold", {"TK1", "TK2"}) == "TK1"
    assert (
        one._behind("CU1", "cold", {"TK2"}) == "" and one._behind("CU1", "other", {"TK2"}) == "TK2"
    )


def test_draws_of_a_mean_and_a_spread() -> None:
    """Would fail if the mean of many cows were not the herd's: e^(m + s^2 / 2) of a log-normal."""
    z = np.random.default_rng(1).standard_normal(200_000)
    got = log_normal(300.0, 90.0, z)
    assert got.mean() == pytest.approx(300.0, rel=0.005)
    assert got.std() == pytest.approx(90.0, rel=0.02)
    assert (log_normal(300.0, 0.0, z[:3]) == 300.0).all()


def test_water_that_comes_in_modes_of_some_work() -> None:
    """Would fail if modes of other work were asked where only some may be."""
    one: Any = Layout.__new__(Layout)
    one.plant, one.modes = PLANT, {"wash": "wash"}
    one.out = SimpleNamespace(vessels={})
    asked: list[Any] = []
    one.supplies = SimpleNamespace(to=lambda *a: asked.append(a[2:]) or [])
    node: Any = SimpleNamespace(machine="TR1")
    others = sorted(set(PLANT.modes) - {"wash"})
    one._water_to(node, "wash")
    one._water_to(node, "wash", alone=True, draws_l_min=5.0)
    one._water_to(node, "nothing", alone=True)
    assert asked == [(["wash", *others], 0.0, True), (["wash"], 5.0, False), ([], 0.0, True)]
