"""A machine moved by hand: only what it changes is worked out anew, and rightly so."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from byrewright.place import layout as laying
from byrewright.place import router as routing
from byrewright.place.ends import nets
from byrewright.plant import sited as siting
from byrewright.plant.place import MachinePlace, Place
from byrewright.plant.plant import Plant
from byrewright.plant.sited import Sited, laid_out, sited
from byrewright.studies.place import study_place
from tests.place.scenes import briefed

HAIR_M = 1e-6


def found(plant: Plant) -> Sited:
    """Its plan."""
    made = sited(plant)
    assert made is not None
    return made


def moved(plant: Plant, tag: str, east_m: float) -> Plant:
    """The plant with one machine a little to the east, as a drag leaves it: not laid out yet."""
    body = found(plant).plan.bodies[tag]
    place = Place(services=plant.place.services if plant.place else "under",
                  machines={tag: MachinePlace(at=(round(body.x + east_m, 2), body.y))})  # fmt: skip
    return plant.model_copy(update={"place": place})


@pytest.fixture(autouse=True)
def nothing_kept(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """No routes on disk from another run."""
    monkeypatch.setenv("BYREWRIGHT_CACHE", str(tmp_path))


@pytest.mark.parametrize("layout", ["rotary", "rows"])
def test_a_drag_lays_nothing_out_that_it_does_not_move(
    layout: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Would fail if a drag drafted the centre again, laid pipes of others, or made one scene after
    another of the same plant: the answer would keep the hand waiting."""
    plant = briefed(layout, 32)
    before = found(plant)
    hauled = moved(plant, "TK1", -0.23)  # its plan may have to be looked up anew: not counted
    drafted: list[str] = []
    laid: list[str] = []
    scenes: list[str] = []
    lay, scene_of, plan = routing._Router.lay, siting.scene_of, laying._Layout.plan

    def lay_told(self: Any, net: Any, *price: Any, **how: Any) -> Any:
        laid.append(net.key)
        return lay(self, net, *price, **how)

    monkeypatch.setattr(routing._Router, "lay", lay_told)
    monkeypatch.setattr(laying._Layout, "plan", lambda self: drafted.append("") or plan(self))
    monkeypatch.setattr(siting, "scene_of", lambda one: scenes.append("") or scene_of(one))
    after = laid_out(hauled)
    study_place(after, mend=False)  # as the page does
    own = {r.lines[0] for r in before.routes if any(e.startswith("TK1.") for e in r.ends)}
    assert set(laid) == own and len(scenes) == 1 and not drafted
    again = found(after)
    for kept in (siting._KEPT, siting._ROUTES, siting._LATEST, laying._DRAFTS):
        kept.clear()
    monkeypatch.setenv("BYREWRIGHT_CACHE", str(tmp_path / "other"))
    assert found(moved(plant, "TK1", -0.23)) == again  # what was kept is what is worked out anew


def test_a_copy_with_other_parts_is_another_plan() -> None:
    """Would fail if a plant changed after it was laid out were told the plan of before."""
    plant = laid_out(briefed("rows", 16))
    before = found(plant)
    assert found(plant) is before
    pipe = next(p for p in plant.pipes if p.id == "L215")
    pipes = tuple(p.model_copy(update={"bore_mm": 150.0}) if p is pipe else p for p in plant.pipes)
    wide = found(plant.model_copy(update={"pipes": pipes}))
    assert next(r for r in wide.routes if "L215" in r.lines).outside_mm > 150
    assert next(r for r in before.routes if "L215" in r.lines).outside_mm < 150


def test_a_way_looked_for_from_its_other_end_is_as_good(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Would fail if a search that begins at a caged end gave the way backwards, or a dearer one."""
    plant = briefed("rotary", 36)
    usual = found(moved(plant, "TK1", -0.31))
    asked: list[int] = []

    def caged(ex: Any, ey: Any, ez: Any, at: Any, most: int) -> bool:
        if most == routing.CAGED:
            asked.append(most)
        return most == routing.CAGED and len(asked) % 2 == 0  # the start is free, the end is not

    monkeypatch.setattr(routing, "shut_in", caged)
    monkeypatch.setenv("BYREWRIGHT_CACHE", str(tmp_path / "other"))
    for kept in (siting._KEPT, siting._ROUTES, siting._LATEST):
        kept.clear()
    turned = found(moved(plant, "TK1", -0.31))
    assert asked
    ends = {n.key: (n.start, n.end) for n in nets(turned.plan)}
    for one, other in zip(usual.routes, turned.routes, strict=True):
        start, end = ends[other.lines[0]]
        if start is None or end is None:
            continue
        assert (other.points[0], other.points[-1]) == (start.at, end.at) and other.found
        assert other.length_m == pytest.approx(one.length_m, abs=0.2)
