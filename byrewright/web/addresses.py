"""Where a page of a plant is, and how plants are called on pages."""

from __future__ import annotations

from urllib.parse import quote, urlencode

from byrewright.documents.schematic import INVENTED


def address(slug: str, page: str, **query: str) -> str:
    """The address of a page of a plant."""
    asked = {k: v for k, v in query.items() if v}
    return f"/p/{quote(slug, safe='~')}/{page}" + (f"?{urlencode(asked)}" if asked else "")


def spoken(slug: str) -> str:
    """A plant's address as people read it."""
    return slug.replace("~", " / ").replace("_", " ")


def shown_name(name: str) -> str:
    """A farm's name without the word that marks it as invented (the foot shows that)."""
    return " ".join(name.replace(INVENTED, "").split()) or name
