"""One sheet of the day: milk, vessels, temperatures, cold and electricity against the clock."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

from byrewright.errors import ByrewrightError
from byrewright.plant.write import write_bytes
from byrewright.results import Result, Series

INK, QUIET, ACCENT = "#1a1a1a", "#8a8a8a", "#a8432f"
DASHES = ("-", "--", ":", "-.")
MOST_LINES = 8


def write_sheet(result: Result, out: Path) -> None:
    """Draw the sheet as SVG, PDF or PNG by the name's ending; the same result, the same bytes.

    Raises:
        ByrewrightError: the result holds no series (a run of more than seven days).
    """
    found = {s.key: s for s in result.series}
    if "day.milk" not in found:
        raise ByrewrightError("no series were kept for this run: draw a run of up to seven days")
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    style: Any = {
        "svg.hashsalt": "byrewright",
        "font.size": 8,
        "axes.edgecolor": INK,
        "axes.linewidth": 0.6,
    }
    with mpl.rc_context(style):
        figure = Figure(figsize=(8.27, 11.69), layout="constrained")
        FigureCanvasAgg(figure)
        axes = figure.subplots(6, 1, sharex=True)
        figure.suptitle(f"The milking day: {result.plant}   seed {result.seed}", fontsize=10)
        panels: tuple[tuple[str, int | str | None, str], ...] = (
            ("day.milk", 0, "L/min"), ("day.content", None, "L"), ("day.content", "stores", "L"),
            ("day.temperature", "stores", "degC"), ("day.outlets", None, "degC"),
            ("day.power", 0, "kW"),
        )  # fmt: skip
        for axis, (key, which, unit) in zip(axes, panels, strict=True):
            _panel(axis, found[key], which, unit)
        axes[-1].set_xlabel("hours from the start of the run")
        kind = out.suffix.lower().lstrip(".")
        meta: dict[str, Any] = {"svg": {"Date": None}, "pdf": {"CreationDate": None}}.get(kind, {})
        drawn = io.BytesIO()
        figure.savefig(drawn, format=kind, metadata=meta)
        write_bytes(out, drawn.getvalue())


def _panel(axis: Any, series: Series, which: int | str | None, unit: str) -> None:
    lines = list(series.lines)
    if isinstance(which, int):
        lines = [lines[which]]
    else:
        # Large stores and small vessels apart: a tank's scale would flatten a receiver.
        limit = 1500.0
        big = [ln for ln in lines if max(ln[2], default=0.0) > limit]
        if which == "stores" and series.key == "day.content":
            lines = big
        elif which is None and series.key == "day.content":
            lines = [ln for ln in lines if ln not in big and max(ln[2], default=0.0) > 0]
    shown = lines[:MOST_LINES]
    for i, (name, _, values) in enumerate(shown):
        colour = ACCENT if i == 0 else (INK if i < 4 else QUIET)
        axis.plot(series.x, values, DASHES[i % 4], color=colour, linewidth=0.8, label=name)
    axis.set_ylabel(unit)
    axis.set_title(series.title, loc="left", fontsize=8)
    axis.spines[["top", "right"]].set_visible(False)
    if len(shown) > 1:
        axis.legend(fontsize=6, frameon=False, ncols=4, loc="upper right")
