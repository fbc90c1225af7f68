"""Records of the plant file: typed fields that carry unit, range, default and reason.

`par` declares a field once; the reader, the schema, the web form, the assumptions list and the
documents all read that one declaration.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, field_validator
from pydantic.fields import FieldInfo
from pydantic_core.core_schema import ValidationInfo

from byrewright.standards.units import UnitError, parse_quantity

NEEDED: Any = ...


def par(
    unit: str,
    meaning: str,
    default: Any = NEEDED,
    *,
    ge: float | None = None,
    le: float | None = None,
    why: str = "",
    confidence: str = "common_practice",
    alias: str | None = None,
    refers: str = "",
) -> Any:
    """Declare a field: its unit ("" for a plain number or word), meaning, range and default.

    A field with a default says `why`; a default of None means "not stated", which a study must
    answer with an assumption of its own or with `unknown`. `alias` is the key in the file where a
    Python name cannot be. `refers` marks a field that names machines: what they must be able to
    do, or "*" for any machine.
    """
    extra: dict[str, Any] = {"unit": unit, "confidence": confidence}
    if why:
        extra["why"] = why
    if refers:
        extra["refers"] = refers
    return Field(default, description=meaning, ge=ge, le=le, json_schema_extra=extra, alias=alias)


def motor_start() -> Any:
    """How a machine's motor starts, as a field; sizing assumes it where it is not stated."""
    return par("", "how its motor starts", None)


@dataclass(frozen=True, slots=True)
class Parameter:
    """What is declared of one field."""

    name: str
    meaning: str
    unit: str
    default: Any
    needed: bool
    why: str
    confidence: str


def describe(name: str, info: FieldInfo) -> Parameter:
    """The declaration of one field as plain data."""
    extra = info.json_schema_extra if isinstance(info.json_schema_extra, dict) else {}
    return Parameter(
        name=name,
        meaning=info.description or "",
        unit=str(extra.get("unit", "")),
        default=None if info.is_required() else info.get_default(call_default_factory=True),
        needed=info.is_required(),
        why=str(extra.get("why", "")),
        confidence=str(extra.get("confidence", "common_practice")),
    )


def _tidy(number: float) -> float:
    """Twelve figures, so that 3 in is 76.2 mm and not 76.19999999999999."""
    return float(f"{number:.12g}")


class Record(BaseModel):
    """A part of the plant file. Unknown keys are refused; values never change once read."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, allow_inf_nan=False, populate_by_name=True
    )

    @field_validator("*", mode="before")
    @classmethod
    def _read_units(cls, value: Any, info: ValidationInfo) -> Any:
        """Turn "150 mm" or ["7 degC", 8] into plain numbers in the declared unit."""
        unit = cls.unit_of(info.field_name or "")
        if not unit:
            return value
        try:
            if isinstance(value, str):
                return _tidy(parse_quantity(value, unit))
            if isinstance(value, list):
                return [_tidy(parse_quantity(v, unit)) if isinstance(v, str) else v for v in value]
        except UnitError as error:
            raise ValueError(str(error)) from None
        if isinstance(value, bool):
            raise ValueError(f"expected a number in {unit}")
        return value

    @classmethod
    def unit_of(cls, name: str) -> str:
        """The declared unit of a field, or "" when it has none."""
        info = cls.model_fields.get(name)
        if info is None or not isinstance(info.json_schema_extra, dict):
            return ""
        return str(info.json_schema_extra.get("unit", ""))

    @classmethod
    def parameters(cls) -> Iterator[Parameter]:
        """Every declared field, in order."""
        for name, info in cls.model_fields.items():
            yield describe(name, info)

    def defaulted(self) -> Iterator[Parameter]:
        """The fields that were not stated and took a default that has a reason."""
        for one in self.parameters():
            if one.name not in self.model_fields_set and one.why:
                yield one


def in_words(value: object) -> float | str:
    """A value of a file as a number, or in words.

    >>> in_words(("rinse", "last_rinse")), in_words(True), in_words(None), in_words(2.5)
    ('rinse, last rinse', 'yes', 'not stated', 2.5)
    """
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return value
    if isinstance(value, tuple | list):
        said = (in_words(v) for v in value)
        return ", ".join(v if isinstance(v, str) else f"{v:g}" for v in said) or "none"
    return "not stated" if value is None else str(value).replace("_", " ")
