"""HTML out of Python values, with every text escaped."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

EMPTY = frozenset({"input", "br", "hr", "img", "meta", "link"})


class Html(str):
    """Text that is HTML already; all other text is escaped before it goes into a page."""

    __slots__ = ()


Child = str | Html | int | None | Iterable["Child"]


def tag(name: str, /, *children: Child, **attributes: str | int | float | bool | None) -> Html:
    """An element. `cls` is the class, `_` in a name stands for `-`; True is a bare attribute and
    False or None leaves it out.

    >>> tag("p", "a < b", cls="note")
    '<p class="note">a &lt; b</p>'
    >>> tag("input", type="text", disabled=True, data_act="go")
    '<input type="text" disabled data-act="go">'
    """
    parts = [name]
    for key, value in attributes.items():
        if value is None or value is False:
            continue
        key = {"cls": "class", "for_": "for"}.get(key, key.replace("_", "-"))
        parts.append(key if value is True else f'{key}="{escape(str(value))}"')
    head = f"<{' '.join(parts)}>"
    return Html(head) if name in EMPTY else Html(f"{head}{join(children)}</{name}>")


def join(children: Iterable[Child]) -> Html:
    """Several pieces as one."""
    out: list[str] = []
    for child in children:
        if isinstance(child, Html):
            out.append(str(child))
        elif isinstance(child, str | int):
            out.append(escape(str(child)))
        elif child is not None:
            out.append(join(child))
    return Html("".join(out))


def table(
    head: Iterable[Child], rows: Iterable[Iterable[Child]], *, caption: Child = None, cls: str = ""
) -> Html:
    """A table with a heading row, in a frame that scrolls sideways by itself."""
    return tag(
        "div",
        tag(
            "table",
            tag("caption", caption) if caption else None,
            tag("thead", tag("tr", [tag("th", h, scope="col") for h in head])),
            tag("tbody", [tag("tr", [tag("td", c) for c in row]) for row in rows]),
        ),
        cls=f"table {cls}".strip(),
        tabindex=0,
        role="region",
        aria_label=caption if isinstance(caption, str) else None,
    )
