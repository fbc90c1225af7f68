"""What the pages of a plant share: one visitor's view of it, and how it comes to an address."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from fastapi import Request
from nicegui import ui

from byrewright.web.answers import Share
from byrewright.web.frame import Site, Visit, plant_page


class View:
    """One visitor's view of a plant, and the work that it waits for."""

    def __init__(self, v: Visit) -> None:
        assert v.opened is not None
        self.v, self.opened = v, v.opened
        self.job: Share | None = None

    def on_stop(self, _: str, __: str) -> None:
        """Stop the work under way."""
        if self.job is not None:
            self.job.leave()


class Built(Protocol):
    """A view that writes its page."""

    def build(self) -> None: ...


def add_page(
    site: Site, path: str, view: Callable[[Visit], Built], key: str = "", listed: bool = True
) -> None:
    """Put a view at `/p/PLANT/path`; `listed` in the index of pages under its key, which is the
    path where none is given."""
    if listed:
        site.pages.append(key or path)

    @ui.page(f"/p/{{slug}}/{path}")
    def page(request: Request, slug: str) -> None:
        plant_page(site, request, slug, key or path, lambda v: view(v).build())
