"""The server: guard, log-in, style sheet, pages. Everything that listens is started here."""

from __future__ import annotations

import asyncio
import contextlib
import ctypes
import gc
from collections.abc import AsyncIterator, Callable
from functools import partial
from pathlib import Path
from urllib.parse import urlsplit

from fastapi import FastAPI, Request
from fastapi.middleware.gzip import GZipMiddleware
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from byrewright.web import live
from byrewright.web.access import (
    COOKIE,
    LOG_IN,
    SESSION_S,
    Gate,
    Guard,
    RefusedToStart,
    client_of,
    encrypted,
    is_loopback,
    password_hash,
    session_of,
)
from byrewright.web.answers import Answers, laid_out
from byrewright.web.folder import Folder
from byrewright.web.frame import LOOKS, UNITS, Site, frame, missing, visit
from byrewright.web.look import SCRIPTS, script, style_sheet
from byrewright.web.markup import tag
from byrewright.web.texts import Texts, languages
from byrewright.web.watching import Watches

YEAR_S = 365 * 24 * 3600
TIDY_S = 30.0
RECONNECT_S = 60.0
"""A tablet may lose the network so long and still find its unsaved changes."""
SQUEEZE = 2
"""Level at which pages are packed: a fifth larger than the highest, in a third of the time."""
SETTINGS = {"look": LOOKS, "units": UNITS}


def gate_for(folder: Folder, host: str, behind_proxy: bool = False) -> Gate:
    """Who may come in at an address to listen on; behind a proxy, others can reach any of them.

    Raises:
        RefusedToStart: others could reach it and no password is set.
    """
    kept = password_hash(folder.root)
    if behind_proxy and not is_loopback(host):
        raise RefusedToStart(
            f"{host} can be reached past the proxy. Behind a proxy on this computer, listen on "
            "127.0.0.1."
        )
    if behind_proxy and kept is None:
        raise RefusedToStart(
            f"Others reach these pages through the proxy, and no password is set for "
            f"{folder.root}. Set one with --set-password."
        )
    if not is_loopback(host) and kept is None:
        raise RefusedToStart(
            f"{host} can be reached by others, and no password is set for {folder.root}. "
            "Set one with --set-password, or serve on this computer only (127.0.0.1)."
        )
    return Gate(kept, is_loopback(host) and not behind_proxy, behind_proxy)


def build(path: Path, host: str = "127.0.0.1", behind_proxy: bool = False) -> FastAPI:
    """The application for a plant file or a folder.

    Raises:
        RefusedToStart: see `gate_for`.
    """
    from nicegui import ui

    from byrewright.web.pages import PAGES

    folder = Folder(path)
    site = Site(folder, Answers(), gate_for(folder, host, behind_proxy), Watches(folder))

    @contextlib.asynccontextmanager
    async def life(app: FastAPI) -> AsyncIterator[None]:
        warm = asyncio.get_running_loop().run_in_executor(None, warm_up, site)
        await site.watches.start()
        tidy = asyncio.create_task(tidying(warm))
        yield
        tidy.cancel()
        await site.watches.stop()
        warm.cancel()
        for end in site.at_end:
            await end()
        site.answers.end()

    app = FastAPI(
        title="byrewright", docs_url=None, redoc_url=None, openapi_url=None, lifespan=life
    )
    _plain_routes(app, site)
    live.register(app, site)
    for register in PAGES:
        register(site)
        for route in site.routes:
            route(app)
        site.routes.clear()
    ui.run_with(
        app,
        title="byrewright",
        favicon="📐",
        language="en-US",
        tailwind=False,
        show_welcome_message=False,
        reconnect_timeout=RECONNECT_S,
        gzip_middleware_factory=lambda app: GZipMiddleware(app, compresslevel=SQUEEZE),
    )
    app.add_middleware(Guard, gate=site.gate)
    _no_page(site)
    return app


def _no_page(site: Site) -> None:
    """An address without a page is answered in our own words; what scripts ask for, in short."""
    from nicegui import Client
    from nicegui import app as inner
    from nicegui.page import page

    async def answer(request: Request, error: Exception) -> Response:
        if "text/html" not in request.headers.get("accept", ""):
            return Response(status_code=404)
        with Client(page(""), request=request) as client:
            v = visit(site, request)
            frame(v, "missing", lambda: missing(v, "no_page"))
        return client.build_response(request, 404)

    inner.add_exception_handler(404, answer)


def warm_up(site: Site) -> None:
    """Read the first plants and lay out their first sheet, so that the first page comes at once."""
    from byrewright.documents.schematic import sheets_for

    for slug in list(site.folder.files())[:3]:
        opened = site.folder.open(slug)
        if opened.sound:
            laid_out(site.answers, opened, sheets_for(opened.plant)[0].key)
            site.answers.study("sizing", opened)


async def tidying(warm: asyncio.Future[None]) -> None:
    """Let go of what closed pages leave behind: rings of objects, which Python else keeps for long
    beside so much that stays."""
    with contextlib.suppress(Exception):
        await asyncio.shield(warm)
    gc.collect()
    gc.freeze()  # what is there now stays: looking through it again and again would take long
    while True:
        await asyncio.sleep(TIDY_S)
        gc.collect()
        with contextlib.suppress(AttributeError, OSError):  # a system without it keeps it
            ctypes.CDLL(None).malloc_trim(0)


def _plain_routes(app: FastAPI, site: Site) -> None:
    """What is not a page: style sheet and script, settings, log-in."""

    @app.get("/look/{name}")
    def look(name: str) -> Response:
        kept: dict[str, tuple[Callable[[], str], str]] = {
            "page.css": (style_sheet, "text/css"),
            **{one: (partial(script, one), "text/javascript") for one in SCRIPTS},
        }
        if name not in kept:
            return Response(status_code=404)
        make, kind = kept[name]
        forever = {"cache-control": f"public, max-age={YEAR_S}, immutable"}
        return Response(make(), media_type=kind, headers=forever)

    @app.post("/set")
    async def settings(request: Request) -> Response:
        answer = RedirectResponse(_back(request), 303)
        for key, value in (await _form(request)).items():
            allowed = languages() if key == "language" else SETTINGS.get(key, ())
            if value in allowed:
                answer.set_cookie(
                    f"byre_{key}",
                    value,
                    max_age=YEAR_S,
                    samesite="strict",
                    httponly=True,
                    secure=encrypted(request.scope, site.gate),
                )
        return answer

    @app.get(LOG_IN)
    def log_in_page(request: Request) -> Response:
        return _log_in(request, "")

    @app.post(LOG_IN)
    async def log_in(request: Request) -> Response:
        who = client_of(request.scope, site.gate)
        wait = site.gate.wait_s(who)
        if wait:
            return _log_in(request, "log_in.wait", 429, minutes=f"{wait / 60:.0f}")
        password = (await _form(request)).get("password", "")
        secret = await asyncio.to_thread(site.gate.log_in, who, password)
        if secret is None:
            return _log_in(request, "log_in.wrong", 401)
        answer = RedirectResponse("/", 303)
        answer.set_cookie(
            COOKIE,
            secret,
            max_age=int(SESSION_S),
            httponly=True,
            samesite="strict",
            secure=encrypted(request.scope, site.gate),
        )
        return answer

    @app.post("/log-out")
    def log_out(request: Request) -> Response:
        site.gate.log_out(session_of({"cookie": request.headers.get("cookie", "")}))
        answer = RedirectResponse(LOG_IN, 303)
        answer.delete_cookie(COOKIE)
        return answer


async def _form(request: Request) -> dict[str, str]:
    form = await request.form()
    return {k: v for k, v in form.items() if isinstance(v, str)}


def _back(request: Request) -> str:
    """The page a form was sent from, never another site."""
    parts = urlsplit(request.headers.get("referer", "/"))
    path = "/" + parts.path.lstrip("/\\")
    return path + (f"?{parts.query}" if parts.query else "")


def _log_in(request: Request, problem: str, status: int = 200, **words: object) -> Response:
    t = Texts(request.cookies.get("byre_language", "en"))
    form = tag(
        "form",
        tag("h1", t("log_in.title")),
        tag("p", t("log_in.lead")),
        tag("div", t(problem, **words), cls="say bad", role="alert") if problem else None,
        tag(
            "div",
            tag("label", t("log_in.password"), for_="password"),
            tag(
                "input",
                type="password",
                name="password",
                id="password",
                required=True,
                autocomplete="current-password",
                autofocus=True,
            ),
            cls="field",
        ),
        tag("p", tag("button", t("log_in.go"), type="submit", cls="main"), cls="gap"),
        method="post",
        action=LOG_IN,
        cls="log-in",
    )
    look = request.cookies.get("byre_look", "auto")
    page = tag(
        "html",
        tag(
            "head",
            tag("meta", charset="utf-8"),
            tag("title", t("log_in.title")),
            tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
            tag("link", rel="stylesheet", href="/look/page.css"),
            tag("link", rel="icon", href="data:,"),
        ),
        tag("body", tag("div", tag("main", form, id="main"), id="sheet", cls="alone")),
        lang=t.language,
        data_look=look if look in LOOKS else "auto",
    )
    return HTMLResponse("<!doctype html>" + page, status)


def serve(
    path: Path, host: str, port: int, ready: Callable[[str], None] = lambda url: None, *,
    behind_proxy: bool = False,
) -> None:  # fmt: skip
    """Serve until interrupted; `ready` is told the address before.

    Raises:
        RefusedToStart: the pages cannot be served this way.
    """
    import socket

    import uvicorn

    app = build(path, host, behind_proxy)
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host.strip("[]"), port))
    except OSError as error:
        listening.close()
        raise RefusedToStart(
            f"Cannot listen on {host}, port {port}: {error.strerror}; choose another --port."
        ) from None
    shown = f"[{host}]" if ":" in host else host
    ready(f"http://{shown}:{listening.getsockname()[1]}/")
    config = uvicorn.Config(
        app,
        log_level="warning",
        server_header=False,
        ws_max_size=6_000_000,
        proxy_headers=False,
        timeout_graceful_shutdown=2,
    )
    uvicorn.Server(config).run([listening])
