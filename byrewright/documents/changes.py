"""Changes between two revisions as a PDF: in words by topic, and clouded on the drawings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from byrewright.documents.format import System, prose
from byrewright.documents.plan_sheets import GENERAL, plan_sheets, plan_svg
from byrewright.documents.schematic import (
    INVENTED,
    PAGES,
    Issue,
    boxes_of,
    schematic_layout,
    schematic_svg,
    sheets_for,
)
from byrewright.documents.typeset import pdf
from byrewright.documents.us_units import change_in
from byrewright.plant.plant import Plant
from byrewright.studies.changes import TOPICS, Change

DRAWN = ("machines", "pipes", "modes")
"""Topics whose tags are clouded on the service drawings; positions are on the plan."""


def changes_pdf(
    before: Plant, after: Plant, found: Sequence[Change], names: tuple[str, str], date: str,
    units: System = "metric",
) -> bytes:  # fmt: skip
    """The changes as PDF bytes.

    Args:
        before: the older revision, whose drawings show what is gone.
        after: the newer one, whose drawings show the rest.
        found: the changes.
        names: what the two are called, older first.
        date: ISO date for the title blocks.
        units: units of figures in words and on the drawings.
    """
    title = " ".join(after.site.name.replace(INVENTED, "").split()) or after.site.name
    topics = [
        {"title": topic.capitalize(),
         "rows": [[c.what, prose(change_in(c, units))]
                  for c in found if c.topic == topic]}
        for topic in TOPICS
    ]  # fmt: skip
    data: dict[str, Any] = {
        "title": title,
        "invented": INVENTED in after.site.name,
        "date": date,
        "names": list(names),
        "count": len(found),
        "topics": [t for t in topics if t["rows"]],
        "drawings": drawings(before, after, found, date, units),
    }
    return pdf("changes.typ", data)


def drawings(
    before: Plant, after: Plant, found: Sequence[Change], date: str, units: System
) -> list[dict[str, Any]]:
    """The sheets that have a change on them, clouded: those of now, then what is gone."""
    now = {c.tag for c in found if c.topic in DRAWN and c.what != "removed"}
    gone = {c.old_tag for c in found if c.topic in DRAWN and c.what == "removed"}
    moved = {c.tag for c in found if c.topic == "positions"}
    made: list[dict[str, Any]] = []
    for plant, tags, words, revision in ((after, now, "now", "new"), (before, gone, "gone", "old")):
        for sheet in sheets_for(plant) if tags else ():
            if boxes_of(schematic_layout(plant, sheet.key), tags):
                svg = schematic_svg(plant, sheet.key, issue=Issue(date=date, revision=revision),
                                    units=units, clouds=tags)  # fmt: skip
                made.append(_drawing(f"{sheet.title}, {words}", svg))
    for plan in (s for s in plan_sheets(after, units) if moved and s.key.startswith(GENERAL)):
        svg = plan_svg(after, plan, issue=Issue(date=date, revision="new"), clouds=moved)
        made.append(_drawing(f"{plan.title}, now", svg))
    return made


def _drawing(title: str, svg: str) -> dict[str, Any]:
    page = next((p for p, (w, _) in PAGES.items() if f'width="{w:g}mm"' in svg[:200]), "A3")
    width, height = PAGES[page]
    return {"title": title, "svg": svg, "width": width, "height": height}
