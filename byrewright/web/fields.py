"""A field of a form out of the one declaration of a figure: its unit, choices, meaning, default."""

from __future__ import annotations

import types
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from byrewright.documents.format import System, quantity, unit_sign, words
from byrewright.plant.edit import REMOVE
from byrewright.plant.problems import Problem
from byrewright.plant.record import Record, describe
from byrewright.plant.source import plain_scalar
from byrewright.web.markup import Child, Html, tag
from byrewright.web.texts import Texts

Kind = Literal["choice", "yes_no", "value", "list"]
LONGEST_INPUT = 400


@dataclass(frozen=True, slots=True)
class Field:
    """One field: dotted place in the file, meaning, unit, and how it is filled in."""

    key: str
    meaning: str
    unit: str
    kind: Kind
    options: tuple[str, ...] = ()
    default: str = ""
    why: str = ""


def fields_of(record: type[Record], above: str = "", leave: Iterable[str] = ()) -> list[Field]:
    """The fields of a record that fit on one line; groups inside it are left out."""
    found = []
    for name, info in record.model_fields.items():
        if name in leave:
            continue
        kind, options = _kind(info.annotation)
        if kind is None:
            continue
        one = describe(name, info)
        default = "" if one.needed else _shown(one.default)
        key = f"{above}.{name}" if above else name
        found.append(Field(key, one.meaning, one.unit, kind, options, default, one.why))
    return found


def _kind(annotation: Any) -> tuple[Kind | None, tuple[str, ...]]:
    while get_origin(annotation) is Annotated:
        annotation = get_args(annotation)[0]
    if get_origin(annotation) in (Union, types.UnionType):
        inner = [a for a in get_args(annotation) if a is not type(None)]
        return _kind(inner[0]) if len(inner) == 1 else (None, ())
    if get_origin(annotation) is Literal:
        options = tuple(str(o) for o in get_args(annotation))
        return ("choice", options)
    if annotation is bool:
        return "yes_no", ("true", "false")
    if annotation in (int, float, str):
        return "value", ()
    if get_origin(annotation) is tuple and _kind(get_args(annotation)[0])[0] == "value":
        return "list", ()
    return None, ()


def _shown(value: Any) -> str:
    if value is None or value == ():
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple | list):
        return ", ".join(_shown(v) for v in value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def stated(data: Any, key: str) -> str:
    """What the file says at a dotted place, as text; "" where it says nothing."""
    for part in key.split("."):
        if not isinstance(data, dict) or part not in data:
            return ""
        data = data[part]
    return "" if isinstance(data, dict) else _shown(data)


def parse(field: Field, text: str) -> Any:
    """What was typed as a value for the file; nothing typed removes the line."""
    text = text.strip()[:LONGEST_INPUT]
    if not text:
        return REMOVE
    if field.kind == "list":
        return [plain_scalar(part.strip()) for part in text.split(",") if part.strip()]
    return plain_scalar(text)


def draw(
    field: Field, value: str, t: Texts, units: System, problems: Iterable[Problem] = ()
) -> Html:
    """A label, an input, what it says in the visitor's units, and what is wrong with it."""
    wrong = [p for p in problems if p.key == field.key or p.key.startswith(f"{field.key}.")]
    ident = f"field-{field.key.replace('.', '-')}"
    told = f"{ident}-wrong"
    unit = unit_sign(field.unit)
    meaning = field.meaning[:1].upper() + field.meaning[1:]
    label = tag(
        "label", meaning, tag("span", f" ({unit})", cls="quiet") if unit else None, for_=ident
    )
    common: dict[str, Any] = {"id": ident, "data_value": field.key}
    if field.options:
        nothing = (
            t("edit.assumed", value=_word(field, field.default, t))
            if field.default
            else t("edit.not_stated")
        )
        control = tag(
            "select",
            tag("option", nothing, value=""),
            [
                tag("option", _word(field, o, t), value=o, selected=o == value)
                for o in field.options
            ],
            data_change="field",
            **common,
        )
    else:
        hint = t("edit.assumed", value=field.default) if field.default else ""
        control = tag(
            "input",
            type="text",
            value=value,
            placeholder=hint,
            data_input="field",
            autocomplete="off",
            spellcheck="false",
            maxlength=LONGEST_INPUT,
            aria_describedby=told,
            **common,
        )
    number = plain_scalar(value.strip()) if field.unit and units != "metric" else None
    said = None
    if isinstance(number, int | float) and not isinstance(number, bool):
        said = tag("div", quantity(float(number), field.unit, units), cls="small quiet")
    return tag("div", label, control, said, wrong_text(wrong, told), cls="field")


def wrong_text(wrong: Iterable[Problem], ident: str) -> Html:
    """What is wrong with a field; empty when nothing is, for the script to fill."""
    lines: list[Child] = [tag("div", p.sentence) for p in wrong]
    return tag("div", lines, id=ident, cls="wrong", aria_live="polite")


def _word(field: Field, option: str, t: Texts) -> str:
    if field.kind == "yes_no":
        return t("yes") if option == "true" else t("no")
    return words(option)
