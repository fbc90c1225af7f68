"""What every open page is told each second: alarms that stand, watches that do not run, files that
have changed. The page itself says so when it hears nothing."""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, Response

from byrewright.web.addresses import address, shown_name, spoken
from byrewright.web.folder import NotServed
from byrewright.web.markup import Child, Html, join, tag
from byrewright.web.texts import Texts

if TYPE_CHECKING:
    from byrewright.web.frame import Site
    from byrewright.web.watching import Kind, Seen

LIVE = "/live"
LOUD: frozenset[Kind] = frozenset({"alarm", "dead", "lost", "log", "gone", "ended", "notices"})
"""What is said on every page, whichever plant it is of."""
WRONG: frozenset[Kind] = frozenset({"alarm", "dead", "lost", "log"})


def register(app: FastAPI, site: Site) -> None:
    """Add the address that pages ask each second."""

    @app.get(LIVE)
    def live(request: Request, p: str = "") -> Response:
        t = Texts(request.cookies.get("byre_language", "en"))
        return JSONResponse(told(site, t, p), headers={"cache-control": "no-store"})


def told(site: Site, t: Texts, slug: str) -> dict[str, object]:
    """What a page of a plant ("" for a page of none) is told."""
    lines: list[Child] = []
    stand, waits, sound = 0, 0, False
    kinds: set[Kind] = set()
    for name, one in site.watches.every():
        kind = one.kind()
        own = name == slug
        if kind not in LOUD and not (own and kind in ("live", "blind", "begins")):
            continue
        lines.append(_line(t, name, one, kind))
        kinds.add(kind)
        stand += standing(one)
        heard = one.heard
        waits += len(heard.snapshot.alarms) if heard is not None and kind == "gone" else 0
        sound = sound or kind == "dead" or bool(
            heard and any(a.state == "unacknowledged" for a in heard.snapshot.alarms)
        )  # fmt: skip
    title = ""
    if stand:
        title = t("live.title_alarm", count=stand)
    elif kinds & {"dead", "lost"}:
        title = t("live.title_wrong")
    elif "log" in kinds:
        title = t("live.title_log")
    elif waits:
        title = t("live.title_gone", count=waits)
    return {
        "html": join(lines),
        "title": title,
        "sound": sound,
        "wrong": bool(kinds & WRONG),
        "state": state_of(site, slug),
    }


def state_of(site: Site, slug: str) -> str:
    """What the files of a plant ("": of all) are known by now; "" where there is none."""
    with contextlib.suppress(NotServed):
        return site.folder.state_of(slug) if slug else site.folder.state()
    return ""


def standing(one: Seen) -> int:
    """How many alarms stand, or stood when it was last watched."""
    if one.heard is None:
        return len(one.past[1])
    return sum(a.state in ("unacknowledged", "acknowledged") for a in one.heard.snapshot.alarms)


def _line(t: Texts, slug: str, one: Seen, kind: Kind) -> Html:
    heard = one.heard
    farm = heard.snapshot.plant if heard is not None else one.farm
    name = shown_name(farm) if farm else spoken(slug)
    words = {"name": name, "why": one.why}
    count = len(heard.snapshot.alarms) if heard and kind == "gone" else standing(one)
    text = t(f"live.{kind}", count=count, **words)
    more: Child = None
    if heard is not None:
        shown = heard.snapshot
        if kind in ("alarm", "gone"):
            worst = min(shown.alarms, key=lambda a: (a.state == "gone", PRIORITY[a.priority]))
            more = worst.text
        elif kind in ("lost", "log"):
            more = shown.log if kind == "log" else shown.message
    elif kind in ("dead", "ended"):
        stood = t("live.stood", count=standing(one)) if standing(one) else ""
        more = " ".join(filter(None, (t(one.why_key) if one.why_key else "", stood))) or None
    return tag(
        "a",
        tag("b", text),
        tag("span", more) if more else None,
        href=address(slug, "watch"),
        cls=f"line {'wrong' if kind in WRONG else kind}",
    )


PRIORITY = {"high": 0, "medium": 1, "low": 2}


def strip(
    site: Site, t: Texts, slug: str, state: str, *, practice: bool = False, alone: bool = False
) -> Html:
    """The part of a page in which it is told; drawn at once, so that nobody waits for it. A page of
    practice says that what is told here is not practice; one that works `alone` says that it goes
    on when it hears nothing."""
    now = told(site, t, slug)
    return tag(
        "div",
        tag("div", t("live.real"), id="real") if practice else None,
        tag("div", Html(str(now["html"])), id="told", role="status", aria_live="assertive"),
        tag("div", id="silent", role="alert", hidden=True),
        tag("div", tag("span", t("live.changed" if slug else "live.changed_some")), " ",
            tag("a", t("live.reload"), href="", cls="button", data_reload=True),
            id="changed", role="status", hidden=True),
        tag("button", t("live.sound_off"), id="sound", type="button", hidden=True),
        id="live",
        data_plant=slug,
        data_state=state,
        data_title=str(now["title"]),
        data_silent=t("live.silent_alone" if alone else "live.silent"),
        data_title_silent=t("live.title_silent"),
        data_sound_on=t("live.sound_on"),
        data_sound_off=t("live.sound_off"),
        data_sound_ask=t("live.sound_ask"),
    )  # fmt: skip


def alone(site: Site, slug: str, request: Request, state: str) -> Html:
    """The same for a page that is one file and works without this server too, while it is served:
    it has no frame, and its own style."""
    from byrewright.web.look import ALONE, script

    t = Texts(request.cookies.get("byre_language", "en"))
    listens = tag("script", Html(script("live.js")))
    return join([tag("style", Html(ALONE)), strip(site, t, slug, state, alone=True), listens])
