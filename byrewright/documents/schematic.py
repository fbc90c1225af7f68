"""Service drawings of a plant: ink-line sheets with border, legend and title block."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from byrewright import __version__
from byrewright.documents.format import System, drawn_in, drawn_system
from byrewright.documents.ink import ACCENT, PAPER, QUIET, RULE, ink_of, own_colours, text_width_mm
from byrewright.documents.power_line import power_layout
from byrewright.documents.shapes import Layout, Letters
from byrewright.documents.sheets import SHEETS, Sheet, sheet_layout, sheet_of
from byrewright.documents.svg import (
    Box,
    cloud_svg,
    layout_svg,
    letters_svg,
    line_svg,
    n,
    rect_svg,
    rule_svg,
    sheet_svg,
)
from byrewright.plant.plant import Plant
from byrewright.site.checks.points import other_points, vacuum_points

PAGES = {"A4": (297.0, 210.0), "A3": (420.0, 297.0)}
BORDER_MM, FOOT_MM, INSET_MM = 8.0, 19.0, 5.0
FITS_A4 = 0.86  # least scale at which the smaller page is still read with ease
INVENTED = "(invented)"
SERVICES_A_ROW, SERVICE_MM = 4, 40.0
NOTES_SHOWN, NOTE_MM = {1: 6, 2: 5}, 2.0
"""Lines of notes below so many rows of services, and their pitch."""

TESTED = (
    '"test": a tester\'s connection; A airflow, V vacuum, Pe exhaust (ISO 6690); TP temperature, '
    "PP pressure (ISA-5.1)."
)

SIZES = {
    "metric": "bore in mm",
    "US": "size in inches as it is bought (OD: a tube, by its outside; decimals: the bore)",
}
"""What stands at a pipe behind its tag."""


@dataclass(frozen=True, slots=True)
class Issue:
    """What the title block says of this issue; the date is passed in, never taken from a clock."""

    date: str = ""
    revision: str = "A"
    drawn_by: str = "byrewright " + __version__
    file: str = ""
    """First letters of the plant file's hash; sheets on which they differ are not of one set."""
    approved: str = ""
    """Who approved it; "" while it is for review."""


def approval(approved: str) -> str:
    """What an issue says of its standing."""
    return f"approved: {approved}" if approved else "for review, not approved"


def schematic_layout(
    plant: Plant, service: str, *, mode: str | None = None, page: str = "A3"
) -> Layout:
    """The neutral layout of a sheet in a page's field; its scale is field width / `width_mm`."""
    sheet = sheet_of(service)
    width, height = _field(page)
    if sheet.key == "power":
        return power_layout(plant, sheet.title, width, height)
    points = {} if sheet.key == "vacuum" else other_points(plant)
    if sheet.key in ("vacuum", "all"):
        points |= vacuum_points(plant)
    more = {tag: " ".join(("test", *letters)) for tag, letters in points.items()}
    layout = sheet_layout(plant, sheet, mode, width_mm=width, height_mm=height, more=more)
    if more.keys() & {p.machine for p in layout.placed}:
        layout.notes += (TESTED,)
    return layout


def schematic_svg(
    plant: Plant, service: str, *, mode: str | None = None, issue: Issue | None = None,
    units: System = "metric", clouds: Collection[str] = (),
) -> str:  # fmt: skip
    """One sheet as SVG text, A4 or A3 landscape, in millimetres.

    Args:
        plant: a checked plant.
        service: "all", a sheet's key (milk, vacuum, water, air, power) or a service on a sheet.
        mode: a mode of the plant; valves are then drawn in their positions.
        issue: date and revision for the title block.
        units: the system of units of bores and sizes.
        clouds: tags of machines and pipes to put a cloud round: what a revision changed.

    Raises:
        ValueError: no drawing shows the service, or the plant has no such mode.
    """
    if mode is not None and mode not in plant.modes:
        raise ValueError(f"the plant has no mode {mode!r}; it has " + ", ".join(plant.modes))
    sheet = sheet_of(service)
    page = "A4"
    with own_colours(plant.colours.stated()), drawn_in(units):
        layout = schematic_layout(plant, service, mode=mode, page="A4")
        if _field("A4")[0] / layout.width_mm < FITS_A4:
            page, layout = "A3", schematic_layout(plant, service, mode=mode, page="A3")
        return _page_svg(plant, sheet, layout, page, mode, issue or Issue(), clouds)


def boxes_of(layout: Layout, tags: Collection[str]) -> list[Box]:
    """Where machines and pipes of these tags stand on a sheet; a pipe's box is its label's."""
    found = [(p.x, p.y, p.x + p.w, p.y + p.h) for p in layout.placed if p.machine in tags]
    for run in layout.routed:
        if run.pipe in tags:
            at = run.label
            x, y = (at.x, at.y) if at else run.points[len(run.points) // 2]
            half = text_width_mm(at.text, at.size_mm) / 2 if at else 2.0
            found.append((x - half, y - 2.0, x + half, y + 1.0))
    return found


def sheets_for(plant: Plant) -> tuple[Sheet, ...]:
    """The sheets that have something on them for this plant."""
    from byrewright.documents.sheets import pipe_sheets

    used = set(pipe_sheets(plant).values())
    if any(m.fed_from for m in plant.equipment.values()):
        used.add("power")
    return tuple(s for s in SHEETS if s.key in used)


def _field(page: str) -> tuple[float, float]:
    width, height = PAGES[page]
    around = 2 * (BORDER_MM + INSET_MM)
    return width - around, height - around - FOOT_MM


def _page_svg(
    plant: Plant, sheet: Sheet, layout: Layout, page: str, mode: str | None, issue: Issue,
    clouds: Collection[str] = (),
) -> str:  # fmt: skip
    width, height = PAGES[page]
    scale = _field(page)[0] / layout.width_mm
    corner = BORDER_MM + INSET_MM
    left, low = BORDER_MM, height - BORDER_MM
    right = width - BORDER_MM
    frame = ((left, left), (right, left), (right, low), (left, low), (left, left))
    parts = [
        rect_svg(0, 0, width, height, PAPER),
        rule_svg(frame, 0.5),
        f'<g transform="translate({n(corner)} {n(corner)}) scale({scale:.4f})">',
        *(cloud_svg(box) for box in boxes_of(layout, clouds)),  # under the words
        layout_svg(layout),
        "</g>",
        *_legend(layout, sheet, mode, width, height),
        *title_block(plant, sheet, mode, page, width, height, issue),
    ]
    return sheet_svg(width, height, "\n".join(parts))


def _legend(
    layout: Layout, sheet: Sheet, mode: str | None, width: float, height: float
) -> list[str]:
    top = height - BORDER_MM - FOOT_MM
    parts = [rule_svg(((BORDER_MM, top), (width - BORDER_MM, top)), 0.35)]
    for i, service in enumerate(layout.services):
        x = BORDER_MM + 4 + i % SERVICES_A_ROW * SERVICE_MM
        y = top + 3.9 + i // SERVICES_A_ROW * 3.5
        ink = ink_of(service)
        parts.append(line_svg(((x, y - 0.7), (x + 13, y - 0.7)), ink))
        parts.append(letters_svg(Letters(x + 15, y, f"{ink.letter}  {ink.word}", 2.1, "start")))
    notes = list(layout.notes)
    if sheet.key != "power":
        notes.insert(
            0,
            f"Pipe: service letter, tag, {SIZES[drawn_system()]}. A flag names where it continues. "
            "Not to scale.",
        )
    if mode:
        notes.insert(1, "Filled valve or leg: shut. Filled mark: runs.")
    rows = max(1, -(-len(layout.services) // SERVICES_A_ROW))
    for i, text in enumerate(reversed(notes[: NOTES_SHOWN[rows]])):
        y = top + 17.7 - NOTE_MM * i
        parts.append(letters_svg(Letters(BORDER_MM + 4, y, text, 1.7, "start", colour=QUIET)))
    return parts


def title_block(
    plant: Plant,
    sheet: Sheet,
    mode: str | None,
    page: str,
    width: float,
    height: float,
    issue: Issue,
) -> list[str]:
    """Name, title, date and revision of a sheet, in its lower right corner."""
    right, top = width - BORDER_MM, height - BORDER_MM - FOOT_MM
    left = right - 118
    name = plant.site.name
    invented = INVENTED in name
    shown = " ".join(name.replace(INVENTED, "").split()) or name
    title = sheet.title + (f" (mode: {mode.replace('_', ' ')})" if mode else "")
    parts = [
        rule_svg(((right - 34, top), (right - 34, top + FOOT_MM)), 0.3, RULE),
        letters_svg(Letters(left + 3, top + 5, _short(shown, 44), 2.8, "start", bold=True)),
        letters_svg(Letters(left + 3, top + 10, _short(title, 50), 2.5, "start")),
        letters_svg(
            Letters(left + 3, top + 13.2, _short(approval(issue.approved), 34), 2.0, "start")
        ),
        letters_svg(
            Letters(
                left + 3,
                top + 16.4,
                "Advises; never a safety system. Check against the site.",
                1.8,
                "start",
                colour=QUIET,
            )
        ),
    ]
    if invented:
        parts.append(
            letters_svg(
                Letters(right - 37, top + 14, "INVENTED FARM", 2.2, "end", bold=True, colour=ACCENT)
            )
        )
    rows = (
        f"Sheet {sheet.key}  {page}",
        f"Date  {issue.date or 'not dated'}",
        f"Rev.  {issue.revision}" + (f"  file {issue.file}" if issue.file else ""),
        issue.drawn_by,
    )
    for i, text in enumerate(rows):
        parts.append(
            letters_svg(Letters(right - 31, top + 4.6 + i * 4, _short(text, 22), 2.0, "start"))
        )
    parts.append(rule_svg(((left, top), (left, top + FOOT_MM)), 0.35))
    return parts


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 2] + ".."
