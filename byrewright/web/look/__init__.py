"""How the pages look: colours out of the drawings' palette, one style sheet, one script."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path

from byrewright.documents.ink import ACCENT, INK, PAPER, QUIET, RULE, SERVICE_INK, UNKNOWN_INK

HERE = Path(__file__).parent

LIGHT: Mapping[str, str] = {
    "paper": PAPER,
    "field": "#ffffff",
    "shade": "#f1eee4",
    "ink": INK,
    "quiet": QUIET,
    "rule": RULE,
    "edge": "#77736a",
    "accent": ACCENT,
    "on-accent": "#ffffff",
    "focus": "#1f4e8c",
    **{f"svc-{name}": ink.colour for name, ink in SERVICE_INK.items()},
}
"""Paper by day; the same as in the printed drawings."""

DARK: Mapping[str, str] = {
    "paper": "#191a18",
    "field": "#22231f",
    "shade": "#2a2b26",
    "ink": "#ece8dc",
    "quiet": "#b3aea0",
    "rule": "#4b4a43",
    "edge": "#8d897d",
    "accent": "#ff9184",
    "on-accent": "#191a18",
    "focus": "#8db8f2",
    "svc-milk": "#ece8dc",
    "svc-wash": "#d79be2",
    "svc-vacuum": "#8db8f2",
    "svc-water": "#6fcfc0",
    "svc-coolant": "#7cc7ec",
    "svc-refrigerant": "#eba974",
    "svc-air": "#d8c264",
    "svc-drain": "#b3aea0",
    "svc-power": "#9ccf7f",
    "svc-signal": "#bdbdbd",
}
"""The same drawing on dark paper."""

DASHES = ("solid", "dashed", "dotted", "solid", "dashed", "dotted")
"""Of the lines of a timeline, in order."""


def variables(colours: Mapping[str, str]) -> str:
    """Colours as style variables."""
    return "".join(f"--{name}:{value};" for name, value in colours.items())


@cache
def style_sheet() -> str:
    """The whole style sheet, colours of both themes included."""
    light, dark = variables(LIGHT), variables(DARK)
    head = (
        f":root{{{light}color-scheme:light}}\n"
        f":root[data-look=dark]{{{dark}color-scheme:dark}}\n"
        f"@media (prefers-color-scheme:dark){{:root[data-look=auto]{{{dark}color-scheme:dark}}}}\n"
        f"@media print{{:root,:root[data-look]{{{light}color-scheme:light}}}}\n"
    )
    return head + (HERE / "page.css").read_text(encoding="utf-8")


def own_style(colours: Mapping[str, str]) -> str:
    """A plant's own service colours, by day and on paper; dark pages keep theirs, which read."""
    own = variables({f"svc-{name}": colour for name, colour in colours.items()})
    return (
        f":root[data-look=light]{{{own}}}"
        f"@media (prefers-color-scheme:light){{:root[data-look=auto]{{{own}}}}}"
        f"@media print{{:root,:root[data-look]{{{own}}}}}"
    )


SCRIPTS = ("page.js", "morph.js", "keep.js", "live.js", "place.js", "bring.js")
"""Zoom, pan and marks on drawings; redrawing without touching what is typed; keeping what is typed;
what is heard; machines moved on the plan."""


@cache
def script(name: str) -> str:
    """One script of the pages."""
    return (HERE / name).read_text(encoding="utf-8")


ALONE = """
#live [hidden]{display:none}
#live .line{
 display:block;padding:10px 12px;min-height:48px;border:2px solid var(--ink);color:var(--ink)}
#live .line.wrong{background:#a8321f;color:#fff;border-color:#a8321f}
#live .line span{display:block}
#live #changed,#live #silent{padding:10px 12px;margin:0 0 10px;border:2px solid var(--ink);
 background:var(--shade)}
#live #silent{position:sticky;top:0}
@media print{#live{display:none}}
"""
"""What is heard, on pages that have a style of their own."""


def inked(svg: str) -> str:
    """A drawing whose colours follow the theme: fixed colours become variables."""
    for ink in (*SERVICE_INK.items(), ("drain", UNKNOWN_INK)):
        name, one = ink
        svg = svg.replace(f'stroke="{one.colour}" ', f'stroke="var(--svc-{name})" ')
        svg = svg.replace(f'fill="{one.colour}"', f'fill="var(--svc-{name})"')
    fixed = ((INK, "ink"), (PAPER, "paper"), (ACCENT, "accent"), (QUIET, "quiet"), (RULE, "rule"))
    for colour, name in fixed:
        svg = svg.replace(f'"{colour}"', f'"var(--{name})"')
    return svg
