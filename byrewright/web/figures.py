"""Figures of a result on a page: a table, and a timeline in ink."""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from typing import Any

from nicegui import ui

from byrewright.documents.format import number, prose, shown, unit_sign, words
from byrewright.documents.us_units import table_in
from byrewright.results import Table
from byrewright.web.frame import Visit
from byrewright.web.look import DASHES
from byrewright.web.markup import Child, Html, table, tag

INKS = (
    "var(--ink)", "var(--svc-vacuum)", "var(--svc-wash)", "var(--svc-water)",
    "var(--svc-refrigerant)", "var(--svc-air)",
)  # fmt: skip
"""Lines in order; each has its own dashes too."""
CHART_PX = 250
CLOCK = "h => String(Math.floor((%d + h * 60) / 60) %% 24).padStart(2, '0') + ':00'"
"""Hours of a run as a time of day, on the axis."""
CLOCK_STEP_H = 3
AXES = 2
MOST_POINTS = 480


def figure_table(
    v: Visit, one: Table, first: Callable[[str], Child] | None = None, most: int | None = None,
    columns: Sequence[str] | None = None,
) -> Html:  # fmt: skip
    """A result's table in the visitor's units; `first` draws what stands in the first column."""
    keep = [i for i, c in enumerate(one.columns) if columns is None or c in columns]
    one = table_in(one, v.units)
    head = []
    for i in keep:
        unit = unit_sign(one.units[i], v.units)
        name = one.columns[i]
        head.append((name[:1].upper() + name[1:]) + (f" ({unit})" if unit else ""))
    rows = []
    for row in one.rows[:most]:
        cells: list[Child] = [cell(v, row[i], one.units[i]) for i in keep]
        if first is not None:
            cells[0] = first(str(row[keep[0]]))
        rows.append(cells)
    note = tag("p", prose(one.note), cls="small quiet") if one.note else None
    left = len(one.rows) - len(rows)
    more = tag("p", v.t("figure.more", count=left), cls="small quiet") if left else None
    return tag("div", table(head, rows, caption=prose(one.title)), more, note, cls="gap")


def cell(v: Visit, value: float | str, unit: str) -> str:
    """One cell of a table."""
    if isinstance(value, str):
        return prose(words(value))
    return number(shown(value, unit, v.units)[0])


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a timeline; `beside` ones are drawn dashed, the `strong` one thick.

    A value of None is a gap: what does not exist then, such as the temperature of an empty tank.
    """

    name: str
    unit: str
    x: Sequence[float]
    values: Sequence[float | None]
    beside: bool = False
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Chart:
    """A timeline ready to be drawn; its points are held once for all who look at it."""

    title: str
    label: str
    options: dict[str, Any]


def timeline(
    v: Visit, title: str, lines: Sequence[Line], x_name: str, *,
    begins_min: float | None = None, first_shown: Collection[str] | None = None,
) -> list[Chart]:  # fmt: skip
    """A timeline. With `begins_min` the axis shows times of day; lines not in `first_shown` wait in
    the legend until they are asked for. An axis carries one quantity: where there are more than
    two, the rest is a chart below."""
    units = list(dict.fromkeys(one.unit for one in lines))
    if len(units) > AXES:
        made = []
        for part in (units[:AXES], units[AXES:]):
            some = [one for one in lines if one.unit in part]
            names = ", ".join(one.name for one in some)
            own = title if part[0] == units[0] else names[:1].upper() + names[1:]
            made += timeline(v, own, some, x_name, begins_min=begins_min, first_shown=first_shown)
        return made
    label = v.t("figure.timeline", title=title, lines=", ".join(one.name for one in lines))
    return [Chart(title, label, _options(v, lines, x_name, begins_min, first_shown))]


def draw(charts: Sequence[Chart]) -> None:
    """Draw timelines where the page now stands."""
    for one in charts:
        with ui.element("figure").style("margin:0 0 14px;min-width:0"):
            ui.html(tag("figcaption", tag("h3", one.title)), sanitize=False)
            chart = ui.echart(one.options, renderer="svg")
            chart.style(f"height:{CHART_PX}px;width:100%")
            chart.props(f"role=img aria-label={json.dumps(one.label)}")


def _options(
    v: Visit, lines: Sequence[Line], x_name: str, begins_min: float | None,
    first_shown: Collection[str] | None,
) -> dict[str, Any]:  # fmt: skip
    units = list(dict.fromkeys(one.unit for one in lines))
    text = {"color": "var(--ink)", "fontFamily": "DejaVu Sans", "fontSize": 12}
    axis = {
        "axisLabel": text,
        "nameTextStyle": text,
        "axisLine": {"show": True, "lineStyle": {"color": "var(--edge)"}},
    }
    across: dict[str, Any] = {
        "type": "value",
        "min": 0,
        "max": "dataMax",
        "name": x_name,
        "nameLocation": "middle",
        "nameGap": 24,
        "splitLine": {"show": False},
        **axis,
    }
    if begins_min is not None:
        across |= {
            "interval": CLOCK_STEP_H,
            "axisLabel": {**text, "hideOverlap": True, ":formatter": CLOCK % begins_min},
        }
    signs = [unit_sign(one.unit, v.units) for one in lines]
    asked = json.dumps([signs, begins_min, x_name])
    chosen = {one.name: first_shown is None or one.name in first_shown for one in lines}
    return {
        "animation": False,
        "textStyle": text,
        "grid": {"left": 64, "right": 64 if len(units) > 1 else 18, "top": 52, "bottom": 40},
        "legend": {
            "type": "scroll",
            "top": 0,
            "left": 0,
            "selected": chosen,
            "textStyle": text,
            "inactiveColor": "var(--quiet)",
            "pageTextStyle": text,
        },
        "tooltip": {
            "trigger": "axis",
            "confine": True,
            ":formatter": f"p => byre.tip(p, ...{asked})",
            "backgroundColor": "var(--field)",
            "borderColor": "var(--ink)",
            "textStyle": text,
        },
        "xAxis": across,
        "yAxis": [
            {
                "type": "value",
                "name": unit_sign(unit, v.units),
                "splitLine": {"show": i == 0, "lineStyle": {"color": "var(--rule)"}},
                **axis,
            }
            for i, unit in enumerate(units)
        ],
        "series": [_series(v, one, i, units) for i, one in enumerate(lines)],
    }


def thinned(x: Sequence[float], values: Sequence[float | None]) -> list[tuple[float, float | None]]:
    """As many points as a screen can show: of each short stretch the least and the largest value,
    and where a gap begins and ends.

    >>> thinned([0, 1, 2], [5.0, None, 7.0])
    [(0, 5.0), (1, None), (2, 7.0)]
    """
    every = list(zip(x, values, strict=True))
    if len(every) <= MOST_POINTS:
        return every
    step = -(-2 * len(every) // MOST_POINTS)
    kept: list[tuple[float, float | None]] = []
    for first in range(0, len(every), step):
        some = every[first : first + step]
        there = [one for one in some if one[1] is not None]
        if not there:
            kept.append(some[0])
            continue
        ends = {min(there, key=_value), max(there, key=_value)}
        if len(there) < len(some):
            ends.add(next(one for one in some if one[1] is None))
        kept += sorted(ends, key=lambda one: one[0])
    return kept


def _value(one: tuple[float, float | None]) -> float:
    return one[1] if one[1] is not None else 0.0


def _series(v: Visit, one: Line, place: int, units: list[str]) -> dict[str, Any]:
    colour = INKS[0] if one.strong else INKS[place % len(INKS)]
    dashes = "solid" if one.strong else "dashed" if one.beside else DASHES[place % len(DASHES)]
    return {
        "name": one.name,
        "type": "line",
        "showSymbol": False,
        "yAxisIndex": units.index(one.unit),
        "connectNulls": False,
        "lineStyle": {"width": 2.2 if one.strong else 1.6, "type": dashes, "color": colour},
        "itemStyle": {"color": colour},
        "emphasis": {"disabled": True},
        # no lists: of each of them the pages' framework makes a watched copy for every open page
        "data": tuple(
            (x, None if y is None else shown(y, one.unit, v.units)[0])
            for x, y in thinned(one.x, one.values)
        ),
    }
