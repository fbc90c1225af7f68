"""A service drawing to look at and to touch: the sheet's geometry with marks for pages."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from typing import Any

from byrewright.documents.format import System, drawn_in
from byrewright.documents.ink import ink_of
from byrewright.documents.shapes import Layout, Letters, Placed, Routed
from byrewright.documents.svg import (
    arrow_svg,
    crossings_svg,
    letters_svg,
    line_svg,
    n,
    rect_svg,
    shape_svg,
)
from byrewright.documents.symbols import symbol
from byrewright.plant.plant import Plant
from byrewright.studies.routes.turn import Way
from byrewright.studies.routes.words import said
from byrewright.web.look import inked
from byrewright.web.markup import Html, tag
from byrewright.web.texts import Texts

FIELD_MM = {"wide": (300.0, 190.0), "power": (300.0, 200.0)}
"""Field that sheets are laid out for on a screen."""
GAP = " "
"""Between the letters of a symbol, so that what is seen is read as words."""
CORNER_MM = (96.0, 54.0)
"""How much of a sheet a small picture shows."""


def layout(plant: Plant, sheet: str, units: System = "metric") -> Layout:
    """The sheet's layout for a screen, lettered in the reader's units."""
    from byrewright.documents.power_line import power_layout
    from byrewright.documents.sheets import sheet_layout, sheet_of

    one = sheet_of(sheet)
    with drawn_in(units):
        if one.key == "power":
            return power_layout(plant, one.title, *FIELD_MM["power"])
        width, height = FIELD_MM["wide"]
        return sheet_layout(plant, one, width_mm=width, height_mm=height)


def drawing(plant: Plant, laid: Layout, box_id: str, t: Texts, label: str) -> Html:
    """A drawing with zoom tools; machines and pipes in it can be picked (`pick`)."""
    body = [_pipe(run, t) for run in laid.routed]
    body.append(Html(inked("".join(crossings_svg(laid.routed)))))
    body += [_machine(plant, one, t) for one in laid.placed]
    body += [_arrow(run) for run in laid.routed]
    body.append(Html(inked("".join(shape_svg(s) for s in laid.extra))))
    body += [
        Html(f'<g class="{"word" if x.size_mm < 2.4 else "tag"}">{inked(letters_svg(x))}</g>')
        for x in laid.letters
    ]
    size = f"0 0 {n(laid.width_mm)} {n(laid.height_mm)}"
    svg = tag("svg", body, viewBox=size, data_size=size, role="group", aria_label=label)
    tools = tag(
        "div",
        [
            tag("button", sign, type="button", data_zoom=by, aria_label=t(f"drawing.{key}"))
            for key, sign, by in (
                ("nearer", "+", "1.3"),
                ("farther", "−", "0.77"),
                ("whole", "▢", "0"),
            )
        ],
        cls="tools",
        role="group",
        aria_label=t("drawing.tools"),
    )
    shape = f"aspect-ratio:{n(laid.width_mm)}/{n(laid.height_mm)}"
    return tag("div", svg, tools, cls="drawing", id=box_id, style=shape,
               data_sum=hashlib.sha256(svg.encode()).hexdigest()[:16])  # fmt: skip


def corner(plant: Plant, laid: Layout, machine: str, t: Texts, label: str) -> Html | None:
    """A small picture of where a machine is; None where this sheet does not show it."""
    own = [p for p in laid.placed if p.machine == machine and not _flag(p)]
    if not own:
        return None
    one = own[0]
    wide, high = CORNER_MM
    left = min(max(one.x + one.w / 2 - wide / 2, 0), max(laid.width_mm - wide, 0))
    top = min(max(one.y + one.h / 2 - high / 2, 0), max(laid.height_mm - high, 0))

    def near(x: float, y: float) -> bool:
        return left - wide < x < left + 2 * wide and top - high < y < top + 2 * high

    def crosses(run: Routed) -> bool:
        xs, ys = [x for x, _ in run.points], [y for _, y in run.points]
        return (min(xs) < left + wide and max(xs) > left
                and min(ys) < top + high and max(ys) > top)  # fmt: skip

    here = rect_svg(one.x - 1.5, one.y - 1.5, one.w + 3, one.h + 3, "none")
    body: list[Html] = [_pipe(run, t, still=True) for run in laid.routed if crosses(run)]
    body.append(Html(here.replace("<rect ", '<rect class="here" ').replace(' fill="none"', "")))
    body += [_machine(plant, p, t, still=True) for p in laid.placed if near(p.x, p.y)]
    view = f"{n(left)} {n(top)} {n(wide)} {n(high)}"
    svg = tag("svg", body, viewBox=view, role="img", aria_label=label)
    return tag("div", svg, cls="corner")


def _pipe(run: Routed, t: Texts, still: bool = False) -> Html:
    ink = ink_of(run.service)
    points = " ".join(f"{n(x)},{n(y)}" for x, y in run.points)
    parts = [
        Html(f'<polyline class="hit" points="{points}"/>'),
        Html(f'<g class="line">{inked(line_svg(run.points, ink))}</g>'),
        Html(f'<polyline class="run" points="{points}"/>'),
    ]
    if run.label:
        parts.append(Html(f'<g class="word">{inked(letters_svg(run.label))}</g>'))
    if run.pipe.startswith("-") or still:
        return tag("g", parts[1:] if still else parts)
    return tag(
        "g",
        parts,
        data_pipe=run.pipe,
        data_act="pick",
        data_value=f"pipe {run.pipe}",
        role="button",
        tabindex=-1,
        aria_label=t("drawing.pipe", tag=run.pipe, service=ink.word),
    )


def _arrow(run: Routed) -> Html:
    if not run.arrow_at:
        return Html("")
    return Html(inked(arrow_svg(run.arrow_at, run.arrow_to, ink_of(run.service).colour)))


def symbol_of(placed: Placed, position: str = "") -> str:
    """The inside of a machine's symbol, in a position."""
    shapes = symbol(placed.symbol).draw(placed.w, placed.h, position)
    drawn = inked("".join(shape_svg(s, placed.x, placed.y) for s in shapes))
    return drawn.replace("var(--accent)", "var(--ink)")  # red is for what is wrong


def _machine(plant: Plant, placed: Placed, t: Texts, still: bool = False) -> Html:
    def kind(place: int) -> str:
        if _flag(placed):
            return "flag"
        return "tag" if place == 0 else "word"

    words = [
        Html(GAP + f'<g class="{kind(i)}">{inked(letters_svg(w))}</g>')
        for i, w in enumerate(placed.words)
    ]
    box = rect_svg(placed.x, placed.y, placed.w, placed.h, "none")
    ring = box.replace("<rect ", '<rect class="ring" ').replace(' fill="none"', "")
    inner = [
        Html(ring),
        Html(f'<g class="symbol">{symbol_of(placed, placed.position)}</g>'),
        *words,
    ]
    machine = plant.equipment.get(placed.machine)
    if machine is None or still:
        return tag("g", inner[1:] if still else inner)
    return tag(
        "g",
        inner,
        data_machine=placed.machine,
        data_tag=placed.words[0].text if placed.words else None,
        data_key=placed.key,
        data_act="pick",
        data_value=f"machine {placed.machine}",
        role="button",
        tabindex=-1 if _flag(placed) else 0,
        aria_label=label_of(plant, placed, t),
    )


def label_of(plant: Plant, placed: Placed, t: Texts, position: str = "") -> str:
    """What a machine on the sheet is called aloud: what is written in and beside its symbol, and
    how it stands."""
    shapes = symbol(placed.symbol).draw(placed.w, placed.h, placed.position)
    inside = [s.text for s in shapes if isinstance(s, Letters)]
    written = " ".join([*inside, *(w.text for w in placed.words)])
    title = plant.equipment[placed.machine].title
    name = written if title in written else f"{written} {title}"
    return t("drawing.named", name=name, position=said(position)) if position else name


def labels(
    plant: Plant, laid: Layout, wanted: Mapping[str, str | None], t: Texts
) -> dict[str, str]:
    """Names aloud of machines that stand in a position, by key of the symbol on the sheet."""
    return {
        one.key: label_of(plant, one, t, wanted.get(one.machine) or "")
        for one in laid.placed
        if one.machine in plant.equipment and not _flag(one)
    }


def _flag(placed: Placed) -> bool:
    return placed.symbol == "flag"


def positions(laid: Layout, wanted: Mapping[str, str | None]) -> dict[str, str]:
    """Symbols redrawn for positions that differ in look: by key of the symbol on the sheet."""
    return {
        one.key: symbol_of(one, wanted.get(one.machine) or "")
        for one in laid.placed
        if not _flag(one) and one.machine in wanted
    }


def legend(services: Iterable[str], t: Texts) -> Html:
    """Patterns, letters and names of the services on a sheet."""
    items = []
    for service in services:
        ink = ink_of(service)
        line = inked(line_svg(((0, 1.5), (16, 1.5)), ink))
        items.append(
            tag(
                "li",
                tag("svg", Html(line), viewBox="0 0 16 3", aria_hidden="true"),
                tag("span", ink.letter, cls="mono"),
                " ",
                ink.word,
            )
        )
    ways = [
        tag("li", tag("b", sign, aria_hidden="true", cls=f"how {key}"), t(f"drawing.{key}"))
        for key, sign in (("flows", "━╸━╸"), ("stands", "━━━"), ("empty", "───"))
    ]
    return tag("ul", [*items, *ways], cls="legend", aria_label=t("drawing.legend"))


def flow_marks(way: Way) -> dict[str, Any]:
    """The marks of one fluid's way: where it is, where it stands, and where it moves against the
    sense in which a pipe is drawn."""
    marks = {
        "flow": [f"pipe {p}" for p in sorted(way.pipes)]
        + [f"machine {m}" for m in sorted(way.machines)]
    }
    marks["standing"] = [f"pipe {p}" for p in sorted(way.standing)]
    marks["back"] = [f"pipe {p}" for p in sorted(way.back)]
    return marks


def script(box_id: str, marks: Mapping[str, object]) -> str:
    """The call that puts marks on a drawing."""
    import json

    return f"byre.mark({json.dumps(box_id)}, {json.dumps(dict(marks))})"
