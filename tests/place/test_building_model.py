"""The plan as a building model: sound by the standard's own rules, whole, and the same again."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest

from byrewright.documents import building_model
from byrewright.documents.plan_ifc import plan_ifc
from byrewright.errors import ByrewrightError
from byrewright.place.model import Plan
from byrewright.place.walls import walled, walls
from byrewright.plant.place import MachinePlace, Place
from byrewright.plant.plant import Plant
from byrewright.plant.sited import Sited, laid_out, sited
from tests.place.scenes import briefed

ifcopenshell = pytest.importorskip("ifcopenshell")
WRITTEN = datetime(2026, 3, 1)
MM = 0.001
ROUND_SHARE = 0.02  # a circle by chords, as the geometry kernel meshes it


def made(plant: Plant) -> Sited:
    """Its plan."""
    found = sited(plant)
    assert found is not None
    return found


@pytest.fixture(scope="module")
def small() -> Plant:
    """Rows of two by eight, laid out."""
    return laid_out(briefed("rows", 16, twin=False))


@pytest.fixture(scope="module")
def model(small: Plant) -> Any:
    """Its building model, read back."""
    return ifcopenshell.file.from_string(plan_ifc(small, made(small), WRITTEN))


@pytest.mark.filterwarnings("ignore:.*ifcopenshell:pytest.PytestUnraisableExceptionWarning")
def test_the_model_keeps_the_rules_of_the_standard(model: Any) -> None:
    """Would fail if the file broke the schema of IFC 4 or one of its where-rules: judged by a
    library of its own."""
    from ifcopenshell import validate

    log = validate.json_logger()
    validate.validate(model, log, express_rules=True)
    assert [s["message"] for s in log.statements] == []


def test_every_machine_and_pipe_is_there_and_joined(small: Plant, model: Any) -> None:
    """Would fail if a tag were missing or double, or pipes did not meet the ports of machines."""
    machines = [e.Tag for e in model.by_type("IfcElement")
                if e.Tag and "byrewright_Machine" in names(e)]  # fmt: skip
    assert sorted(machines) == sorted(small.equipment)
    laid = made(small).laid
    pipes = [p for p in small.pipes if p.id in laid]
    told = {e.Tag for e in model.by_type("IfcPipeSegment")} - set(small.equipment)
    assert told == {p.id for p in pipes}
    joins = model.by_type("IfcRelConnectsPorts")
    at = [p.Name for j in joins for p in (j.RelatingPort, j.RelatedPort)]
    for pipe in pipes:
        assert at.count(pipe.start) == at.count(pipe.end) == 1, pipe.id
    pieces = [e for c in ("IfcPipeSegment", "IfcPipeFitting") for e in model.by_type(c)
              if "byrewright_Pipe" in names(e)]  # fmt: skip
    assert len(joins) == len(pieces) + len(pipes)
    services = {line.service for line in made(small).plan.scene.lines}
    assert {s.Name for s in model.by_type("IfcDistributionSystem")} == services


def names(element: Any) -> set[str]:
    """The property sets of an element."""
    return {r.RelatingPropertyDefinition.Name for r in element.IsDefinedBy}


def test_lengths_of_pieces_come_to_the_pipes_and_shapes_stand_where_the_plan_has_them(
    small: Plant, model: Any
) -> None:
    """Would fail if pipes were cut wrongly at bends, or a shape stood elsewhere than its machine:
    volume and corners by a geometry kernel of another project."""
    from ifcopenshell import geom
    from ifcopenshell.util import shape

    found = made(small)
    settings = geom.settings()
    settings.set("use-world-coords", True)
    bodies = [b for b in found.plan.bodies.values() if b.h > 0.9]
    assert len(bodies) > 5
    for body in bodies:
        element = next(e for e in model.by_type("IfcElement") if e.Tag == body.tag)
        solid = geom.create_shape(settings, element).geometry
        corners = shape.get_vertices(solid)
        low, high = corners.min(axis=0), corners.max(axis=0)
        assert low == pytest.approx((*body.box[:2], body.z), abs=ROUND_SHARE)
        assert high == pytest.approx((*body.box[2:], body.z + body.h), abs=ROUND_SHARE)
    pipe = max(found.laid.values(), key=lambda p: p.bends)
    whole = sum(
        q.Quantities[0].LengthValue
        for e in model.by_type("IfcPipeSegment") if e.Tag == pipe.tag
        for r in e.IsDefinedBy
        if (q := r.RelatingPropertyDefinition).is_a("IfcElementQuantity")
    )  # fmt: skip
    bends = [e for e in model.by_type("IfcPipeFitting") if e.Tag == pipe.tag]
    assert len(bends) == pipe.bends
    for bend in bends:
        points = bend.Representation.Representations[0].Items[0].Directrix.Points.CoordList
        a, b = points[0], points[-1]
        whole += sum(abs(p - q) for p, q in zip(a, b, strict=True))  # both sides of the corner
    assert whole == pytest.approx(pipe.length_m, abs=pipe.bends * MM + 0.006)


def test_a_second_export_changes_only_what_changed(small: Plant, model: Any) -> None:
    """Would fail if a moved machine gave everything new names, so that notes in an architect's
    program would hang in the air."""
    one = {r.GlobalId for r in model.by_type("IfcRoot")}
    plan = made(small).plan
    body = plan.bodies["TK1"]
    place = Place(machines={"TK1": MachinePlace(at=(round(body.x - 0.4, 3), body.y))})
    moved = laid_out(small.model_copy(update={"place": place}))
    again = ifcopenshell.file.from_string(plan_ifc(moved, made(moved), WRITTEN))
    other = {r.GlobalId for r in again.by_type("IfcRoot")}
    assert len(one ^ other) < 0.1 * len(one)
    tank = next(e.GlobalId for e in model.by_type("IfcTank") if e.Tag == "TK1")
    assert tank in other
    same = plan_ifc(small, made(small), WRITTEN)
    assert same == plan_ifc(small, made(small), WRITTEN)


def test_walls_stand_once_and_doors_open_in_them(small: Plant, model: Any) -> None:
    """Would fail if two rooms each brought a wall of their own, or a door hung in none."""
    plan: Plan = made(small).plan
    every = walls(plan)
    for i, a in enumerate(every):
        for b in every[i + 1 :]:
            wide = min(a.x2, b.x2) - max(a.x, b.x)
            deep = min(a.y2, b.y2) - max(a.y, b.y)
            assert wide <= 1e-6 or deep <= 1e-6, (a.name, b.name)
    doors = sum(len(r.doors) for r in walled(plan))
    assert len(model.by_type("IfcDoor")) == len(model.by_type("IfcRelFillsElement")) == doors
    assert {s.Name for s in model.by_type("IfcSpace")} == set(plan.rooms)
    assert len(model.by_type("IfcOpeningElement")) > doors


def test_a_missing_extra_part_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if somebody without the extra part got a traceback."""
    monkeypatch.setattr(building_model, "find_spec", lambda _: None)
    with pytest.raises(ByrewrightError, match=r"make ifc.*byrewright\[ifc\]"):
        building_model.need_ifc()
