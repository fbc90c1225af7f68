"""The first page: the plants of the folder."""

from __future__ import annotations

from fastapi import Request
from fastapi.responses import RedirectResponse, Response
from nicegui import ui

from byrewright.web.frame import Site, address, frame, spoken, visit
from byrewright.web.markup import Child, join, tag


def register(site: Site) -> None:
    """Add the page."""

    @ui.page("/")
    def start(request: Request) -> Response | None:
        files = site.folder.files()
        if len(files) == 1 and site.folder.only is not None:
            return RedirectResponse(address(next(iter(files)), site.pages[0]))
        v = visit(site, request)

        def body() -> None:
            parts: list[Child] = [tag("h1", v.t("start.title"))]
            if not files:
                parts.append(tag("p", v.t("start.empty")))
            parts.append(
                tag(
                    "ul",
                    [
                        tag(
                            "li",
                            tag(
                                "a",
                                tag("span", spoken(slug)),
                                tag(
                                    "span",
                                    str(path.relative_to(site.folder.root)),
                                    cls="quiet mono small",
                                ),
                                href=address(slug, site.pages[0]),
                            ),
                        )
                        for slug, path in files.items()
                    ],
                    cls="plants",
                )
            )
            ui.html(join(parts), sanitize=False)

        frame(v, "start", body)
        return None
