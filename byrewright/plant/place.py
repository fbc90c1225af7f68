"""The `place` section of the plant file: what a person has decided about where things stand."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from byrewright.plant.problems import nearest, show
from byrewright.plant.record import Record, par
from byrewright.plant.source import Place as Spot
from byrewright.plant.source import Source
from byrewright.plant.translate import validate

Turn = Literal["n", "e", "s", "w"]
Pair = Annotated[tuple[float, ...], Field(min_length=2, max_length=2)]
Polar = Annotated[tuple[float, ...], Field(min_length=2, max_length=3)]
Three = Annotated[tuple[float, ...], Field(min_length=3, max_length=3)]


class Pit(Record):
    """The pit under a turning deck."""

    radius_m: float = par("m", "radius", 3.0, ge=1, le=20, why="usual")
    floor_m: float = par("m", "level of its floor", -1.3, ge=-4, le=0, why="usual")


class DeckPlace(Record):
    """Dimensions of the deck that the builder needs."""

    height_m: float = par("m", "deck, or cow standing, over the operator's floor", 0.95, ge=0.5,
                          le=1.5, why="0.85 to 1.00 m is taught")  # fmt: skip
    edge_radius_m: float | None = par("m", "outer edge; from the roller track if not stated", None,
                                      ge=2, le=60)  # fmt: skip
    inner_radius_m: float | None = par("m", "inner edge; from the outer if not stated", None,
                                       ge=0.5, le=60)  # fmt: skip
    pit: Pit | None = par("", "pit under the deck", None)


class DoorPlace(Record):
    """A door in a room's wall."""

    wall: Turn = par("", "wall it is in")
    at_m: float = par("m", "its middle, from the room's south-west corner", ge=0, le=200)
    wide_m: float = par("m", "clear width", 1.0, ge=0.6, le=12, why="one person with a load")
    high_m: float = par("m", "clear height", 2.1, ge=1.8, le=8, why="usual")


class RoomPlace(Record):
    """A room: a rectangle from its south-west corner."""

    at: Pair = par("m", "south-west corner: east, north")
    size: Pair = par("m", "east, north")
    height_m: float = par("m", "clear height", 3.6, ge=2, le=15, why="usual")
    floor_m: float = par("m", "floor level", 0.0, ge=-4, le=4, why="level with the operator")
    dry: bool = par("", "no pipe with liquid may cross it", False)
    open: bool = par("", "no roof over it", False)
    fall_pct: float = par("%", "fall of the floor", 0.0, ge=0, le=10)
    doors: tuple[DoorPlace, ...] = par("", "doors", ())


class RackPlace(Record):
    """A straight run that pipes share."""

    start: Pair = par("m", "one end: east, north", alias="from")
    end: Pair = par("m", "other end: east, north", alias="to")
    level_m: float = par("m", "level of its lowest pipes", ge=-4, le=12)
    wide_m: float = par("m", "width", 1.2, ge=0.1, le=4, why="hangs from one row of drops")
    tiers: int = par("", "tiers of pipes", 3, ge=1, le=6, why="usual")


class Service(Record):
    """Free floor that a machine needs to be serviced."""

    front: float | None = par("m", "in front", None, ge=0, le=5)
    sides: float | None = par("m", "at each side", None, ge=0, le=5)
    back: float | None = par("m", "behind", None, ge=0, le=5)


class MachinePlace(Record):
    """What is decided of one machine; the rest is worked out."""

    room: str | None = par("", "room it stands in", None)
    on: Literal["deck"] | None = par("", "deck: it turns with the deck", None)
    at: Polar | None = par(
        "m", "middle of its footprint: east, north (deck: radius, angle in degrees), base level",
        None,
    )  # fmt: skip
    turn: Turn | None = par("", "side that its service space faces", None)
    size: Three | None = par("m", "length along the front, depth, height", None)
    mass_kg: float | None = par("kg", "mass of one, empty", None, ge=0.1, le=100000)
    service_m: Service | None = par("", "free floor round it", None)


class Place(Record):
    """Where things stand. What is missing is drafted."""

    services: Literal["under", "over"] = par(
        "", "under the deck in a trench, or over on a bridge", "under",
        why="no crest to lift over",
    )  # fmt: skip
    mirror: bool = par(
        "", "the plan on its other hand: the milk room south of the plant room, not north", False
    )
    north: Turn = par(
        "", "side of the plan that faces north; the plan's own sides keep their names", "n",
        why="as drawn",
    )  # fmt: skip
    deck: DeckPlace | None = par("", "dimensions of the deck", None)
    rooms: dict[str, RoomPlace] = par("", "rooms by name", {})
    racks: dict[str, RackPlace] = par("", "racks and trenches by name", {})
    gullies: dict[str, tuple[Pair, ...]] = par("", "gullies by room: east, north", {})
    machines: dict[str, MachinePlace] = par("", "what is decided of machines, by tag", {})


NAMED: dict[str, type[Record]] = {
    "rooms": RoomPlace,
    "racks": RackPlace,
    "machines": MachinePlace,
}


def read_place(source: Source, tags: dict[str, None]) -> Place | None:
    """The section as a record; problems go into `source`, each with its line."""
    data = source.data["place"]
    if not isinstance(data, dict):
        source.add("F014", ("place",), found=show(data), allowed="{services: under, rooms: ...}")
        return None
    parts: dict[str, Any] = {}
    for key, record in NAMED.items():
        if key in data:
            parts[key] = _named(source, key, record, data[key])
    machines = data.get("machines")
    for tag in machines if isinstance(machines, dict) else ():
        if tag not in tags:
            place: Spot = ("place", "machines", tag)
            source.add("F040", place, True, found=show(tag), near=nearest(tag, tags))
    rest = {k: v for k, v in data.items() if k not in NAMED}
    made = validate(Place, rest, source, ("place",))
    return None if made is None else Place.model_validate({**rest, **parts})


def _named(source: Source, key: str, record: type[Record], value: Any) -> dict[str, Record]:
    if not isinstance(value, dict):
        example = f"{{name: {{{', '.join(list(record.model_fields)[:2])}: ...}}}}"
        source.add("F014", ("place", key), found=show(value), allowed=example)
        return {}
    every = {
        name: validate(record, body, source, ("place", key, name)) for name, body in value.items()
    }
    return {name: one for name, one in every.items() if one is not None}
