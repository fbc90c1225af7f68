"""A building model (IFC 4) under the hand: places, shapes, properties, ports and relations.

It knows nothing of plants. Every shape is a profile pushed or swept along a line, so no geometry
kernel is needed to write it. Each thing's GlobalId is made from the project's and its own name, so
that a second export changes only what has changed.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from importlib.util import find_spec
from typing import Any

from byrewright import __version__
from byrewright.errors import ByrewrightError

Point = tuple[float, float, float]
Box = tuple[float, float, float, float, float, float]
"""West, south, low, east, north, high, m."""
NAMESPACE = uuid.UUID("5b0d2b7a-6a0e-5b0f-9a39-0c5a3f0f7c11")
MEASURES = {
    "_m": "IfcLengthMeasure", "_m2": "IfcAreaMeasure", "_kg": "IfcMassMeasure",
}  # fmt: skip
"""Endings of names whose values carry a unit of the model itself; others are plain numbers with
their unit in their name."""


class IfcMissing(ByrewrightError):
    """The extra part that writes building models is not installed."""


def need_ifc() -> None:
    """Tell at once that the extra part is missing.

    Raises:
        IfcMissing: it is.
    """
    if find_spec("ifcopenshell") is None:
        raise IfcMissing(
            "a building model (IFC) needs an extra part that is not installed: run 'make ifc', or "
            "install byrewright[ifc]; the drawing file (DXF) works without it"
        )


class BuildingModel:
    """One IFC 4 file in the making. Metres, radians, kilograms."""

    def __init__(
        self, key: str, name: str, about: str, written: datetime,
        north: tuple[float, float] = (0.0, 1.0),
    ) -> None:  # fmt: skip
        need_ifc()
        import ifcopenshell
        import ifcopenshell.guid

        self._compress = ifcopenshell.guid.compress
        self.file: Any = ifcopenshell.file(schema="IFC4")
        self.key = key
        self._kept: dict[tuple[Any, ...], Any] = {}
        header = self.file.header
        header.file_description.description = (about,)
        header.file_name.name = name
        header.file_name.time_stamp = written.isoformat(timespec="seconds")
        header.file_name.author = ("",)
        header.file_name.organization = ("",)
        header.file_name.originating_system = f"byrewright {__version__}"
        self._frame(name, about, north)

    def _frame(self, name: str, about: str, north: tuple[float, float]) -> None:
        units = [
            self.make("IfcSIUnit", UnitType=kind, Prefix=prefix, Name=unit)
            for kind, prefix, unit in (
                ("LENGTHUNIT", None, "METRE"), ("AREAUNIT", None, "SQUARE_METRE"),
                ("VOLUMEUNIT", None, "CUBIC_METRE"), ("PLANEANGLEUNIT", None, "RADIAN"),
                ("MASSUNIT", "KILO", "GRAM"),
            )
        ]  # fmt: skip
        whole = self.make(
            "IfcGeometricRepresentationContext", ContextType="Model",
            CoordinateSpaceDimension=3, Precision=1e-5,
            WorldCoordinateSystem=self.axes((0, 0, 0)),
            TrueNorth=self.make("IfcDirection", DirectionRatios=north),
        )  # fmt: skip
        self.body = self.make(
            "IfcGeometricRepresentationSubContext", ContextIdentifier="Body", ContextType="Model",
            ParentContext=whole, TargetView="MODEL_VIEW",
        )  # fmt: skip
        project = self.rooted(
            "IfcProject", "project", Name=name, Description=about,
            UnitsInContext=self.make("IfcUnitAssignment", Units=units),
            RepresentationContexts=[whole],
        )  # fmt: skip
        site_at = self.place((0, 0, 0), None)
        site = self.rooted("IfcSite", "site", Name=name, ObjectPlacement=site_at,
                           CompositionType="ELEMENT")  # fmt: skip
        self.ground = self.place((0, 0, 0), site_at)
        self.building = self.rooted(
            "IfcBuilding", "building", Name="Milking centre", CompositionType="ELEMENT",
            ObjectPlacement=self.ground,
        )  # fmt: skip
        self.storey = self.rooted(
            "IfcBuildingStorey", "storey", Name="Operator's floor", Elevation=0.0,
            CompositionType="ELEMENT", ObjectPlacement=self.ground,
        )  # fmt: skip
        for above, below in ((project, site), (site, self.building), (self.building, self.storey)):
            self.relate("IfcRelAggregates", f"in {below.GlobalId}", RelatingObject=above,
                        RelatedObjects=[below])  # fmt: skip
        self.inside: dict[Any, list[Any]] = {}
        self.systems: dict[str, tuple[Any, list[Any]]] = {}

    # entities -----------------------------------------------------------------------------------

    def make(self, entity: str, **values: Any) -> Any:
        """A plain entity; values that are None are left out."""
        return self.file.create_entity(entity, **{k: v for k, v in values.items() if v is not None})

    def guid(self, *parts: str) -> str:
        """The GlobalId of what these words name in this project."""
        return str(self._compress(uuid.uuid5(NAMESPACE, "\n".join((self.key, *parts))).hex))

    def rooted(self, entity: str, key: str, **values: Any) -> Any:
        """An entity with a GlobalId."""
        return self.make(entity, GlobalId=self.guid(entity, key), **values)

    def relate(self, entity: str, key: str, **values: Any) -> Any:
        """A relation."""
        return self.rooted(entity, key, **values)

    # shapes -------------------------------------------------------------------------------------

    def _once(self, key: tuple[Any, ...], entity: str, **values: Any) -> Any:
        if key not in self._kept:
            self._kept[key] = self.make(entity, **values)
        return self._kept[key]

    def point(self, at: Sequence[float]) -> Any:
        """A point, each only once."""
        xyz = tuple(round(float(c), 5) + 0.0 for c in at)
        return self._once(("point", xyz), "IfcCartesianPoint", Coordinates=xyz)

    def way(self, along: Sequence[float]) -> Any:
        """A direction, each only once."""
        xyz = tuple(round(float(c), 6) + 0.0 for c in along)
        return self._once(("way", xyz), "IfcDirection", DirectionRatios=xyz)

    def axes(self, at: Point, up: Point | None = None, east: Point | None = None) -> Any:
        """A frame of axes at a point: its upward axis and its first one."""
        return self.make(
            "IfcAxis2Placement3D", Location=self.point(at),
            Axis=self.way(up) if up else None, RefDirection=self.way(east) if east else None,
        )  # fmt: skip

    def place(self, at: Point, above: Any, up: Point | None = None,
              east: Point | None = None) -> Any:  # fmt: skip
        """A local placement."""
        return self.make("IfcLocalPlacement", PlacementRelTo=above,
                         RelativePlacement=self.axes(at, up, east))  # fmt: skip

    def pushed(self, profile: Any, long: float, at: Point = (0, 0, 0), up: Point | None = None,
               east: Point | None = None) -> Any:  # fmt: skip
        """A profile pushed along its axis."""
        return self.make(
            "IfcExtrudedAreaSolid", SweptArea=profile, Position=self.axes(at, up, east),
            ExtrudedDirection=self.way((0, 0, 1)), Depth=round(long, 5),
        )  # fmt: skip

    def block(self, wide: float, deep: float, high: float, at: Point = (0, 0, 0)) -> Any:
        """A box: its size, and the middle of its underside."""
        key = ("rectangle", round(wide, 4), round(deep, 4))
        profile = self._once(key, "IfcRectangleProfileDef", ProfileType="AREA",
                             XDim=key[1], YDim=key[2])  # fmt: skip
        return self.pushed(profile, high, at)

    def drum(self, radius: float, high: float) -> Any:
        """An upright cylinder."""
        key = ("circle", round(radius, 4))
        profile = self._once(key, "IfcCircleProfileDef", ProfileType="AREA", Radius=key[1])
        return self.pushed(profile, high)

    def tube(self, radius: float, wall: float, long: float) -> Any:
        """A straight pipe along the third axis of its own frame."""
        key = ("tube", round(radius, 4), round(wall, 4))
        profile = self._once(key, "IfcCircleHollowProfileDef", ProfileType="AREA",
                             Radius=key[1], WallThickness=key[2])  # fmt: skip
        return self.pushed(profile, long)

    def swept(self, points: Sequence[Point], radius: float, inner: float, arc: bool = False) -> Any:
        """A pipe along points; with `arc`, round through three of them."""
        coordinates = tuple(tuple(round(c, 5) for c in p) for p in points)
        listed = self.make("IfcCartesianPointList3D", CoordList=coordinates)
        index = tuple(range(1, len(points) + 1))
        piece = self.make("IfcArcIndex" if arc else "IfcLineIndex", wrappedValue=index)
        curve = self.make("IfcIndexedPolyCurve", Points=listed, Segments=[piece],
                          SelfIntersect=False)  # fmt: skip
        return self.make("IfcSweptDiskSolid", Directrix=curve, Radius=radius, InnerRadius=inner)

    def ring(self, path: float, radius: float, inner: float) -> Any:
        """A pipe laid in a circle about the origin of its own frame."""
        circle = self.make("IfcCircle", Position=self.axes((0, 0, 0)), Radius=path)
        return self.make("IfcSweptDiskSolid", Directrix=circle, Radius=radius, InnerRadius=inner)

    def outline(self, points: Sequence[tuple[float, float]]) -> Any:
        """A closed line on the ground."""
        closed = [self.point(p) for p in (*points, points[0])]
        return self.make("IfcPolyline", Points=closed)

    def circle(self, x: float, y: float, radius: float) -> Any:
        """A circle on the ground."""
        middle = self.make("IfcAxis2Placement2D", Location=self.point((x, y)))
        return self.make("IfcCircle", Position=middle, Radius=radius)

    def sheet(self, outer: Any, holes: Sequence[Any], thick: float) -> Any:
        """A flat piece with holes, its underside at the origin of its own frame."""
        if holes:
            profile = self.make("IfcArbitraryProfileDefWithVoids", ProfileType="AREA",
                                OuterCurve=outer, InnerCurves=list(holes))  # fmt: skip
        else:
            profile = self.make("IfcArbitraryClosedProfileDef", ProfileType="AREA",
                                OuterCurve=outer)  # fmt: skip
        return self.pushed(profile, thick)

    def shape(self, items: Sequence[Any]) -> Any:
        """The body of an element."""
        disk = any(item.is_a("IfcSweptDiskSolid") for item in items)
        one = self.make(
            "IfcShapeRepresentation", ContextOfItems=self.body, RepresentationIdentifier="Body",
            RepresentationType="AdvancedSweptSolid" if disk else "SweptSolid", Items=list(items),
        )  # fmt: skip
        return self.make("IfcProductDefinitionShape", Representations=[one])

    # elements -----------------------------------------------------------------------------------

    def element(
        self, what: str, key: str, name: str, place: Any, items: Sequence[Any] = (), *,
        tag: str | None = None, about: str = "", within: Any = None, **more: Any,
    ) -> Any:  # fmt: skip
        """Something built or set: `what` is its class with its type behind a dot.

        A class without a type says in `about` what it is.
        """
        entity, _, kind = what.partition(".")
        made = self.rooted(
            entity, key, Name=name, ObjectType=about or None, ObjectPlacement=place, Tag=tag,
            Representation=self.shape(items) if items else None,
            PredefinedType=kind or "USERDEFINED", **more,
        )  # fmt: skip
        self.inside.setdefault(within or self.storey, []).append(made)
        return made

    def properties(self, of: Any, name: str, values: Mapping[str, Any],
                   also: Sequence[Any] = ()) -> None:  # fmt: skip
        """A property set of one element, or of several alike; the unit of a number stands in its
        name."""
        made = [
            self.make("IfcPropertySingleValue", Name=key, NominalValue=self._value(key, value))
            for key, value in values.items()
            if value is not None and value != ""
        ]
        if made:
            key = f"{of.GlobalId} {name}"
            one = self.rooted("IfcPropertySet", key, Name=name, HasProperties=made)
            self.relate("IfcRelDefinesByProperties", key, RelatedObjects=[of, *also],
                        RelatingPropertyDefinition=one)  # fmt: skip

    def _value(self, key: str, value: Any) -> Any:
        if isinstance(value, bool):
            return self.make("IfcBoolean", wrappedValue=value)
        if isinstance(value, int | float):
            positive = key.endswith("Diameter")
            kind = "IfcPositiveLengthMeasure" if positive else next(
                (m for end, m in MEASURES.items() if key.endswith(end)), "IfcReal"
            )  # fmt: skip
            return self.make(kind, wrappedValue=float(value))
        if key == "Reference":
            return self.make("IfcIdentifier", wrappedValue=str(value))
        return self.make("IfcLabel" if len(str(value)) < 255 else "IfcText",
                         wrappedValue=str(value))  # fmt: skip

    def quantities(self, of: Any, name: str, values: Mapping[str, float]) -> None:
        """A set of base quantities: lengths, and what ends in Area or Volume."""
        made = []
        for key, value in values.items():
            kind = next((k for k in ("Area", "Volume") if key.endswith(k)), "Length")
            made.append(self.make(f"IfcQuantity{kind}", Name=key, **{f"{kind}Value": value}))
        key = f"{of.GlobalId} {name}"
        one = self.rooted("IfcElementQuantity", key, Name=name, Quantities=made)
        self.relate("IfcRelDefinesByProperties", key, RelatedObjects=[of],
                    RelatingPropertyDefinition=one)  # fmt: skip

    def hole(self, wall: Any, key: str, name: str, at: Any, item: Any) -> Any:
        """An opening in a wall."""
        made = self.rooted("IfcOpeningElement", key, Name=name, ObjectPlacement=at,
                           Representation=self.shape([item]), PredefinedType="OPENING")  # fmt: skip
        self.relate("IfcRelVoidsElement", key, RelatingBuildingElement=wall,
                    RelatedOpeningElement=made)  # fmt: skip
        return made

    def port(self, of: Any, key: str, name: str, flow: str, system: str, at: Point) -> Any:
        """A port of an element, at a point of the element's own frame."""
        return self.rooted(
            "IfcDistributionPort", f"{of.GlobalId} {key}", Name=name, FlowDirection=flow,
            PredefinedType="PIPE", SystemType=system,
            ObjectPlacement=self.place(at, of.ObjectPlacement),
        )  # fmt: skip

    def nest(self, of: Any, ports: Iterable[Any]) -> None:
        """Ports belong to an element."""
        every = list(ports)
        if every:
            self.relate("IfcRelNests", of.GlobalId, RelatingObject=of, RelatedObjects=every)

    def join(self, a: Any, b: Any) -> None:
        """Two ports meet."""
        self.relate("IfcRelConnectsPorts", f"{a.GlobalId} {b.GlobalId}", RelatingPort=a,
                    RelatedPort=b)  # fmt: skip

    def serves(self, service: str, kind: str, member: Any) -> None:
        """A member of a system of pipes."""
        if service not in self.systems:
            made = self.rooted(
                "IfcDistributionSystem", f"system {service}", Name=service, PredefinedType=kind,
                ObjectType=service if kind == "USERDEFINED" else None,
            )  # fmt: skip
            self.systems[service] = (made, [])
        if member not in self.systems[service][1]:
            self.systems[service][1].append(member)

    def text(self) -> str:
        """The file."""
        spaces = list(self.file.by_type("IfcSpace"))
        if spaces:
            self.relate("IfcRelAggregates", "rooms", RelatingObject=self.storey,
                        RelatedObjects=spaces)  # fmt: skip
        for place, members in self.inside.items():
            self.relate("IfcRelContainedInSpatialStructure", f"in {place.GlobalId}",
                        RelatingStructure=place, RelatedElements=members)  # fmt: skip
        for service, (system, members) in self.systems.items():
            self.relate("IfcRelAssignsToGroup", f"system {service}", RelatingGroup=system,
                        RelatedObjects=members)  # fmt: skip
            self.relate("IfcRelServicesBuildings", f"system {service}", RelatingSystem=system,
                        RelatedBuildings=[self.building])  # fmt: skip
        return str(self.file.to_string())
