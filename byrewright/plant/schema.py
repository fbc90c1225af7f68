"""JSON Schema (draft 2020-12) of the plant file and the brief, made from the registry, for editors.

An editor that knows the schema offers keys and words and marks what is out of range. It cannot see
across the file (dangling pipes, states of a machine): the reader does that.
"""

from __future__ import annotations

from typing import Any, get_args, get_origin

from pydantic.fields import FieldInfo

from byrewright.plant.brief import Brief
from byrewright.plant.machine import Machine, kinds
from byrewright.plant.place import NAMED, Place
from byrewright.plant.plant import FORMAT, Mode, Pipe, Plant
from byrewright.plant.read import ID
from byrewright.plant.record import Record
from byrewright.plant.translate import bounds, choices, leaves, range_text, unit_of
from byrewright.plant.unsaid import MOST_MILKINGS

Schema = dict[str, Any]

DIALECT = "https://json-schema.org/draft/2020-12/schema"
QUANTITY: Schema = {
    "type": "string",
    "pattern": r"^\s*[+-]?(\d+\.?\d*|\.\d+)",
    "description": "a number with a unit, such as 150 mm or 2 hp",
}
TAG = "^" + ID.pattern.replace(r"\Z", "$")


def plant_schema() -> Schema:
    """The schema of the plant file."""
    definitions: Schema = {"quantity": QUANTITY}
    properties = {
        name: _field(info, definitions)
        for name, info in Plant.model_fields.items()
        if name not in ("byrewright", "equipment", "pipes", "modes", "place")
    }
    properties["place"] = _place(definitions)
    properties["byrewright"] = {"const": FORMAT, "description": "version of this format"}
    properties["equipment"] = _equipment(definitions)
    properties["pipes"] = {"type": "array", "items": _record(Pipe, definitions)}
    properties["modes"] = {"type": "object", "additionalProperties": _mode(definitions)}
    needed = [n for n, info in Plant.model_fields.items() if info.is_required()]
    return _top("byrewright plant file", properties, needed, definitions)


def brief_schema() -> Schema:
    """The schema of the brief, with the short forms that a brief may use."""
    definitions: Schema = {"quantity": QUANTITY}
    properties = {n: _field(info, definitions) for n, info in Brief.model_fields.items()}
    for name, most in (("milkings", MOST_MILKINGS), ("groups", 40)):
        several = properties[name]
        about = several.pop("description")
        count = {"type": "integer", "minimum": 1, "maximum": most}
        properties[name] = {"description": about, "anyOf": [count, several]}
    water = definitions["WaterSource"]
    months = water["properties"]["temperature_c"]
    one = _number("degC", True, None, None)
    water["properties"]["temperature_c"] = {"anyOf": [one, months]}
    water.pop("required", None)
    return _top("byrewright brief", properties, ["cows", "yield_l_day"], definitions)


def _top(title: str, properties: Schema, needed: list[str], definitions: Schema) -> Schema:
    return {
        "$schema": DIALECT,
        "title": title,
        "type": "object",
        "properties": properties,
        "required": needed,
        "additionalProperties": False,
        "$defs": definitions,
    }


def _equipment(definitions: Schema) -> Schema:
    """Machines by tag: the kind decides which keys a machine has."""
    every = kinds()
    for name, kind in every.items():
        own = _body(kind, definitions, without=("id",))
        own["properties"]["kind"] = {"const": name}
        own["required"] = ["kind", *own.get("required", [])]
        definitions[f"kind_{name}"] = {"description": kind.TITLE, **own}
    rules = [
        {"if": {"properties": {"kind": {"const": n}}}, "then": {"$ref": f"#/$defs/kind_{n}"}}
        for n in every
    ]
    machine = {
        "type": "object",
        "properties": {"kind": {"enum": list(every)}},
        "required": ["kind"],
        "allOf": rules,
    }
    return {
        "type": "object",
        "description": "machines by tag",
        "propertyNames": {"pattern": TAG},
        "additionalProperties": machine,
    }


def _place(definitions: Schema) -> Schema:
    """The plan: rooms, racks and machines each by name."""
    body = _body(Place, definitions, without=(*NAMED, "gullies"))
    for name, record in NAMED.items():
        body["properties"][name] = {
            "type": "object",
            "description": Place.model_fields[name].description or "",
            "additionalProperties": _record(record, definitions),
        }
    pair = {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}
    body["properties"]["gullies"] = {
        "type": "object",
        "description": Place.model_fields["gullies"].description or "",
        "additionalProperties": {"type": "array", "items": pair},
    }
    return {"description": Plant.model_fields["place"].description or "", **body}


def _mode(definitions: Schema) -> Schema:
    body = _body(Mode, definitions, without=("name", "positions"))
    return {**body, "additionalProperties": {"type": "string"}}


def _body(record: type[Record], definitions: Schema, without: tuple[str, ...] = ()) -> Schema:
    fields = {n: i for n, i in record.model_fields.items() if n not in without}
    made: Schema = {
        "type": "object",
        "properties": {i.alias or n: _field(i, definitions) for n, i in fields.items()},
        "additionalProperties": False,
    }
    needed = [i.alias or n for n, i in fields.items() if i.is_required()]
    return {**made, "required": needed} if needed else made


def _record(record: type[Record], definitions: Schema) -> Schema:
    name = record.__name__
    if name not in definitions:
        definitions[name] = {}
        definitions[name] = _body(record, definitions)
    return {"$ref": f"#/$defs/{name}"}


def _field(info: FieldInfo, definitions: Schema) -> Schema:
    """One field: its description with unit and range, and what it may be."""
    text = "; ".join(t for t in (info.description or "", range_text(info) or unit_of(info)) if t)
    return {"description": text, **_kind(info, definitions)}


def _kind(info: FieldInfo, definitions: Schema) -> Schema:
    annotation = info.annotation
    sorts = list(dict.fromkeys(leaves(annotation)))
    records = [s for s in sorts if isinstance(s, type) and issubclass(s, Record)]
    optional = type(None) in sorts
    if records and records[0] is not Machine:
        made = _record(records[0], definitions)
    elif words := choices(annotation):
        made = {"enum": list(words)}
    elif any(get_origin(s) is dict for s in sorts):
        return {"type": "object", "additionalProperties": {"type": "integer"}}
    elif bool in sorts:
        made = {"type": "boolean"}
    elif int in sorts or float in sorts:
        made = _number(unit_of(info), float in sorts, *bounds(info))
    else:
        made = {"type": "string"}
    if tuple in (get_origin(annotation), *(get_origin(a) for a in get_args(annotation))):
        made = _list(info, made, words_alone=str in sorts or bool(choices(annotation)))
    return {"anyOf": [made, {"type": "null"}]} if optional else made


def _list(info: FieldInfo, item: Schema, *, words_alone: bool) -> Schema:
    length = {
        key: getattr(m, name)
        for m in info.metadata
        for key, name in (("minItems", "min_length"), ("maxItems", "max_length"))
        if getattr(m, name, None) is not None
    }
    several = {"type": "array", "items": item, **length}
    alone = words_alone and any(type(m).__name__ == "BeforeValidator" for m in info.metadata)
    return {"anyOf": [item, several]} if alone else several


def _number(unit: str, fraction: bool, low: float | None, high: float | None) -> Schema:
    made: Schema = {"type": "number" if fraction else "integer"}
    if low is not None:
        made["minimum"] = low
    if high is not None:
        made["maximum"] = high
    if not unit:
        return made
    return {"anyOf": [made, {"$ref": "#/$defs/quantity"}]}
