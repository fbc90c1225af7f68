"""Valves as a draft fits them: by hand, by air, and the drains at low points."""

from __future__ import annotations

from typing import Any

from byrewright.drafting.intent import Intent
from byrewright.drafting.sheet import Sheet

LOW_POINTS_MM = {"V47": 25.0, "V85": 25.0, "V86": 25.0}
LOW_POINT_MM = 38.0
"""Drains at low points, by bore, and the bore of all others (common sizes)."""
HOLDS = "keeps its place without air: no milk dumped, no wash let in"
"""Why valves between milk and wash stay: each mode already has them where they block."""


def by_hand(sheet: Sheet, want: Intent, tag: str, label: str, **fields: Any) -> None:
    """A valve moved by hand, with a position sensor where the farm wishes one."""
    sheet.add("valve", tag, **{"label": label, "moved_by": "hand", "sensed": want.sensed, **fields})


def by_air(sheet: Sheet, tag: str, label: str, **fields: Any) -> None:
    """A valve moved by air on the controller's word, with a position sensor."""
    sheet.add(
        "valve", tag, label=label, moved_by="air", sensed=True, air_from="AV1",
        controlled_by="CT1", **fields,
    )  # fmt: skip


def by_motor(sheet: Sheet, tag: str, label: str, **fields: Any) -> None:
    """A control valve moved by a motor; it opens when its signal is lost, so that all is cooled."""
    sheet.add(
        "valve", tag, label=label, moved_by="motor", sensed=True, controlled_by="CT1",
        duty="control", on_loss="opens", **fields,
    )  # fmt: skip


def low_point(sheet: Sheet, want: Intent, tag: str, label: str) -> None:
    """A drain moved by hand at the low point of a line."""
    by_hand(
        sheet, want, tag, label, duty="drain", bore_mm=LOW_POINTS_MM.get(tag, LOW_POINT_MM),
        why={"bore_mm": "common size"},
    )  # fmt: skip
