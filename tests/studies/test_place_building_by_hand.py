"""Loads, air and noise of the building, worked by hand on rooms that are made up."""

from __future__ import annotations

from math import log10, pi
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.studies import place_building
from byrewright.studies.place_building import AIR_KJ_M3K, MILK, openings
from byrewright.studies.sizing.context import StudyContext
from tests.studies.benches import bench_of, small
from tests.studies.told import inputs


def told(ctx: StudyContext, key: str) -> Any:
    """The finding of a key."""
    (found,) = (f for f in ctx.notes.findings if f.key == key)
    return found


@pytest.mark.parametrize(("name", "kw", "volume", "flow"), [
    ("cooling", 12.0, 60.0, 12.0 / (AIR_KJ_M3K * 5.0)), ("cooling", 1.0, 300.0, 5.0),
    (MILK, 1.0, 300.0, 0.3), (MILK, 12.0, 300.0, 12.0 / (AIR_KJ_M3K * 5.0)),
])  # fmt: skip
def test_openings_by_heat_or_by_change(
    monkeypatch: pytest.MonkeyPatch, name: str, kw: float, volume: float, flow: float
) -> None:
    """Air that warms by 5 K, or one change a minute, at 2 m/s: would fail if the lesser were
    taken, changes of a minute were of a second, or a milk room had those of another."""
    rules = {"place.air_warming_k": 5.0, "place.air_changes_min": 1.0, "place.opening_m_s": 2.0,
             "place.milk_room_air_m3_s": 0.3}  # fmt: skip
    monkeypatch.setattr(place_building.checks, "warm_rooms", lambda *_: [(name, kw, volume)])
    ctx = bench_of(small(), rules)
    ((_, _, _, air, area),) = openings(None, ctx.rules)  # type: ignore[arg-type]
    assert (air, area) == pytest.approx((flow, flow / 2))
    place_building.air(ctx, SimpleNamespace(plan=None))  # type: ignore[arg-type]
    one = told(ctx, "place.air")
    assert one.value == round(flow / 2, 2) and f"{flow:.2f} m3/s" in one.sentence


def test_the_heaviest_load_and_the_track(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if the lightest load were told, one that hangs or turns stood on the floor, or the
    track's load were of one roller: a kilonewton each on twice pi eight metres."""
    kn = {"A": 3.0, "B": 7.0, "C": 90.0, "D": 90.0}
    monkeypatch.setattr(place_building.checks, "load_kn_m2", lambda _, b, __: kn[b.tag])
    bodies = {t: SimpleNamespace(tag=t, hung=t == "C", frame="deck" if t == "D" else "fixed")
              for t in kn}  # fmt: skip
    ctx = bench_of(small())
    deck = SimpleNamespace(rail_radius_m=8.0)
    made: Any = SimpleNamespace(plan=SimpleNamespace(bodies=bodies, deck=deck))
    place_building.loads(ctx, made)
    assert told(ctx, "place.load").value == 7.0 and "B puts" in told(ctx, "place.load").sentence
    monkeypatch.setattr(place_building, "design_roller_n", lambda *_: 1000.0)
    place_building.rail(ctx, made)
    track = told(ctx, "place.rail_load")
    assert track.value == round(place_building.ROLLERS / (2 * pi * 8), 1)
    assert inputs(track)["r"] == 8.0
    still = bench_of(small(PF1=None))
    place_building.rail(still, made)
    assert not still.notes.findings


@pytest.mark.parametrize(("room", "wall"), [("hall", False), ("vacuum", True)])
def test_noise_adds_up_and_fades(room: str, wall: bool) -> None:
    """Two pumps of 90 dB(A) are 93; ten metres take 20 away, a wall 25 more: would fail if levels
    were added as they are, distance were taken of the farther, or a wall stood in the same room."""
    ctx = bench_of(small(), {"place.noise_pump_db": 90.0, "place.noise_wall_db": 25.0})
    pumps = {"VP1": SimpleNamespace(tag="VP1", x=20.0, y=0.0, room=room),
             "VP2": SimpleNamespace(tag="VP2", x=110.0, y=0.0, room=room)}  # fmt: skip
    deck = SimpleNamespace(rotary=True, edge_radius_m=9.0, pit_length_m=20.0)
    made: Any = SimpleNamespace(plan=SimpleNamespace(bodies=pumps, deck=deck))
    place_building.noise(ctx, made)
    beside, there = told(ctx, "place.noise_beside"), told(ctx, "place.noise")
    assert beside.value == pytest.approx(90 + 10 * log10(2), abs=0.06)
    level = 10 * log10(10**7 + 10**5) - 25 * wall
    assert there.value == pytest.approx(level, abs=0.06)
    assert "VP1, the nearest, stands 10 m" in there.sentence
    assert ("behind a wall" in there.sentence) == wall
    deck.rotary = False
    again = bench_of(small(), {"place.noise_pump_db": 90.0, "place.noise_wall_db": 25.0})
    place_building.noise(again, made)
    assert told(again, "place.noise").value == there.value
