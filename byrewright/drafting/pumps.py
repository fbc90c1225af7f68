"""Pumps for water, wash and chilled liquid as a draft begins with them."""

from __future__ import annotations

from typing import Any

from byrewright.drafting.sheet import Sheet


def liquid_pump(sheet: Sheet, tag: str, label: str, first: tuple[float, float, float], board: str,
                why_speed: str = "", **fields: Any) -> None:  # fmt: skip
    """A pump whose flow L/min, head m and motor kW are first guesses; with `why_speed` it has a
    speed drive."""
    flow_l_min, head_m, motor_kw = first
    why = dict.fromkeys(("flow_l_min", "head_m", "motor_kw"), "first guess")
    if why_speed:
        fields["speed"] = "variable"
        why["speed"] = why_speed
    sheet.add(
        "liquid_pump", tag, label=label, flow_l_min=flow_l_min, head_m=head_m, motor_kw=motor_kw,
        fed_from=board, controlled_by="CT1", why=why, **fields,
    )  # fmt: skip
