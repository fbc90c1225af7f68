"""What every page has: the sheet's frame, the index along the top, the title block, live parts."""

from __future__ import annotations

import asyncio
import inspect
import json
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, cast

from fastapi import FastAPI, Request
from nicegui import ui

from byrewright.documents.format import System, prose, quantity
from byrewright.documents.schematic import INVENTED
from byrewright.plant.plant import Plant
from byrewright.results import FREE_SIGN, VERDICTS, Result, Verdict, worst_first
from byrewright.web.access import Gate
from byrewright.web.addresses import address, shown_name
from byrewright.web.answers import Answers, Share
from byrewright.web.folder import Folder, NotServed, Opened
from byrewright.web.live import strip
from byrewright.web.look import SCRIPTS, own_style, script, style_sheet
from byrewright.web.markup import Child, Html, join, tag
from byrewright.web.texts import Texts, languages
from byrewright.web.watching import Watches

MARK = {"holds": "+", "tight": "~", "fails": "×", "unknown": "?", "free": FREE_SIGN}
"""A sign beside each verdict, so that it never rests on colour alone; "free" for what is held to no
limit."""
LOOKS = ("auto", "light", "dark")
UNITS = ("metric", "US")
TICK_S = 0.15
SHORT_DIGEST = 10

CLICK = (
    "(e)=>{const t=e.target.closest('[data-act]');"
    "if(t&&!t.disabled&&!['INPUT','SELECT','TEXTAREA'].includes(t.tagName))"
    "emit([t.dataset.act,t.dataset.value||'',(t.dataset.with||'').split(' ').filter(x=>x)"
    ".map(i=>document.getElementById(i)?.value||'').join('\\n')])}"
)
CHANGED = (
    "(e)=>{const t=e.target;if(t.dataset.{which})"
    "emit([t.dataset.{which},t.type==='checkbox'?(t.checked?'yes':''):t.value,t.dataset.value||''])}"
)
TYPING_PAUSE_S = 0.35

Action = Callable[[str, str], Any]


@dataclass
class Site:
    """What is served: the folder, its answers, who may come in, the pages there are."""

    folder: Folder
    answers: Answers
    gate: Gate
    watches: Watches
    pages: list[str] = field(default_factory=list)
    """Keys of the pages of a plant, in the order of the index."""
    routes: list[Callable[[FastAPI], None]] = field(default_factory=list)
    """What a page adds besides itself (a download); taken up once when it registers."""
    at_end: list[Callable[[], Awaitable[None]]] = field(default_factory=list)
    """Called when the server ends."""


@dataclass
class Visit:
    """One opening of a page: whose language and units, and which plant."""

    site: Site
    t: Texts
    units: System
    look: str
    path: str
    query: dict[str, str]
    opened: Opened | None = None
    state: str = ""
    """What the plant's files were known by just before they were read; of no plant, all of them."""

    def number(self, value: float | int | str | None, unit: str) -> str:
        """A value with its unit as this visitor reads it."""
        return quantity(value, unit, self.units)

    def link(self, page: str, **query: str) -> str:
        """The address of a page of this plant."""
        assert self.opened is not None
        return address(self.opened.slug, page, **query)


def visit(site: Site, request: Request, slug: str | None = None) -> Visit:
    """Who comes, and to which plant.

    Raises:
        NotServed: there is no such plant.
    """
    cookies = request.cookies
    look = cookies.get("byre_look", "auto")
    units = cookies.get("byre_units", "metric")
    # before they are read: what is written meanwhile is then noticed
    state = site.folder.state_of(slug) if slug is not None else site.folder.state()
    return Visit(
        site,
        Texts(cookies.get("byre_language", "en")),
        cast(System, units if units in UNITS else "metric"),
        look if look in LOOKS else "auto",
        request.url.path,
        dict(request.query_params),
        site.folder.open(slug) if slug is not None else None,
        state,
    )


class Live:
    """A part of a page that is drawn anew when something happened in it."""

    def __init__(
        self, render: Callable[[], Child], acts: Mapping[str, Action], cls: str = ""
    ) -> None:
        self.render, self.acts = render, acts
        self.shown = join([render()])
        self.html = ui.html(self.shown, sanitize=False)
        if cls:
            self.html.classes(cls)
        self.html.on("click", self._act, js_handler=CLICK)
        self.html.on("change", self._act, js_handler=CHANGED.replace("{which}", "change"))
        self.html.on(
            "input",
            self._act,
            js_handler=CHANGED.replace("{which}", "input"),
            throttle=TYPING_PAUSE_S,
            leading_events=False,
        )

    def draw(self) -> None:
        """Draw it anew, without touching what the visitor types."""
        made = join([self.render()])
        if made == self.shown:
            return
        self.shown = made
        client = self.html.client
        if client.has_socket_connection:
            call = f"byreMorph.draw({json.dumps(self.html.html_id)},{json.dumps(made)})"
            client.run_javascript(call)
        else:
            self.html.set_content(made)

    async def _act(self, event: Any) -> None:
        name, value, which = (str(a) for a in event.args[:3])
        act = self.acts.get(name)
        if act is None:
            return
        answer = act(value, which)
        if inspect.isawaitable(answer):
            await answer


async def finish(job: Share, show: Callable[[Share], None] | None = None) -> Share:
    """Wait for work without holding up anybody, telling its steps."""
    job.join()
    told = ("", -1)
    while not job.over:
        if show is not None and (job.what, job.done) != told:
            told = (job.what, job.done)
            show(job)
        await asyncio.sleep(TICK_S)
    return job


def later(work: Callable[[], Any]) -> None:
    """Start work once the page is on its way to the browser."""
    ui.timer(0.01, work, once=True)


# the frame ---------------------------------------------------------------------------------


def frame(v: Visit, page: str, body: Callable[[], None]) -> None:
    """A whole page: head, index, the page's own body, title block."""
    title = v.t("title.page", page=v.t(f"page.{page}"), name=_name(v))
    ui.page_title(title)
    ui.add_head_html(
        f'<link rel="stylesheet" href="/look/page.css?{_version(style_sheet())}">'
        f"<script>document.documentElement.dataset.look='{v.look}'</script>"
        + "".join(
            f'<script src="/look/{name}?{_version(script(name))}"></script>' for name in SCRIPTS
        )
    )
    own = v.opened.plant.colours.stated() if v.opened is not None and v.opened.sound else {}
    if own:
        ui.add_head_html(f"<style>{own_style(own)}</style>")
    # the head stands in the page itself, so that it is painted before any script has run
    skip = tag("a", v.t("frame.skip"), href="#main", cls="skip")
    slug = v.opened.slug if v.opened else ""
    practice = page == "practice" or v.query.get("practice") == "yes"
    told = strip(v.site, v.t, slug, v.state, practice=practice)
    ui.add_body_html(join([skip, tag("header", _top(v, page), told)]))
    with ui.element("div").props("id=sheet"):
        with ui.element("main").props('id=main tabindex="-1"'):
            body()
        ui.html(_foot(v), sanitize=False, tag="footer")


def _version(text: str) -> str:
    from byrewright.web.folder import digest_of

    return digest_of(text)[:SHORT_DIGEST]


def _name(v: Visit) -> str:
    if v.opened is None or v.opened.file is None:
        return v.opened.slug if v.opened else "byrewright"
    return shown_name(v.opened.plant.site.name)


def _top(v: Visit, page: str) -> Html:
    links: list[Html] = []
    if v.opened is not None and v.opened.sound:
        for number, key in enumerate(v.site.pages, 1):
            links.append(
                tag(
                    "li",
                    tag(
                        "a",
                        tag("span", str(number), cls="no", aria_hidden="true"),
                        v.t(f"page.{key}"),
                        href=v.link(key),
                        aria_current="page" if key == page else None,
                    ),
                )
            )
    nav = tag("nav", tag("ul", links), aria_label=v.t("frame.index")) if links else None
    return tag(
        "div",
        tag("a", v.t("frame.plants"), href="/", cls="name"),
        nav,
        tag("div", _settings(v), cls="set"),
        cls="top",
    )


def _settings(v: Visit) -> Html:
    def pick(key: str, now: str, options: Mapping[str, str]) -> Html:
        return tag(
            "select",
            [
                tag("option", text, value=value, selected=value == now)
                for value, text in options.items()
            ],
            name=key,
            aria_label=v.t(f"frame.{key}"),
            onchange="this.form.requestSubmit()",
        )

    every = languages()
    picks: list[Child] = [
        pick("units", v.units, {u: v.t(f"units.{u}") for u in UNITS}),
        pick("look", v.look, {one: v.t(f"look.{one}") for one in LOOKS}),
    ]
    if len(every) > 1:
        picks.append(pick("language", v.t.language, every))
    forms: list[Child] = [tag("form", picks, method="post", action="/set", cls="one")]
    if v.site.gate.hash is not None:
        leave = tag("button", v.t("frame.log_out"), type="submit")
        forms.append(tag("form", leave, method="post", action="/log-out"))
    return join(forms)


def _foot(v: Visit) -> Html:
    notice = tag("div", tag("b", v.t("foot.advises")), v.t("foot.cautions"))
    if v.opened is None:
        return tag("div", notice, cls="foot")
    invented = None
    if v.opened.file is not None and INVENTED in v.opened.plant.site.name:
        invented = tag("span", v.t("foot.invented"), cls="invented")
    file = v.opened.path.relative_to(v.site.folder.root)
    state = v.opened.digest[:SHORT_DIGEST]
    return tag(
        "div",
        tag("div", tag("b", _name(v)), invented),
        notice,
        tag("div", tag("b", v.t("foot.file")), str(file)),
        tag(
            "div",
            tag("b", v.t("foot.state")),
            tag("span", state, cls="mono"),
            tag(
                "div", v.t("foot.printed"), " ", tag("span", cls="printed mono"), cls="printed-line"
            ),
        ),
        cls="foot",
        data_paper=f"{_name(v)}, {file}, {state}",
    )


# parts that several pages use --------------------------------------------------------------


def mark(verdict: Verdict | Literal["free"], t: Texts) -> Html:
    """A verdict's sign, with its word for those who do not see it."""
    return tag(
        "span",
        tag("span", MARK[verdict], aria_hidden="true"),
        tag("span", t(f"verdict.{verdict}"), cls="unseen"),
        cls=f"mark {verdict}",
    )


def counts(result: Result, t: Texts) -> Html:
    """How many findings of each verdict, and how many are held to no limit."""
    number, free = result.count(), result.unjudged()
    return tag(
        "ul",
        [
            tag(
                "li",
                mark(x, t),
                tag("b", number[x]),
                t(f"verdict.{x}"),
                cls=None if number[x] else "zero",
            )
            for x in VERDICTS
        ]
        + (
            [tag("li", mark("free", t), tag("b", free), t("verdict.free"), cls="zero")]
            if free
            else []
        ),
        cls="counts",
    )


def say(text: Child, kind: str = "") -> Html:
    """A remark; `bad` ones are told to screen readers at once."""
    return tag("div", text, cls=f"say {kind}".strip(), role="alert" if kind == "bad" else "status")


def progress(job: Share, t: Texts, stop: bool = True) -> Html:
    """How far work is, with a way to stop it."""
    bar = (
        tag("progress", value=job.done, max=job.total, aria_label=t("work.progress"))
        if job.total
        else tag("progress", aria_label=t("work.progress"))
    )
    key = f"step.{job.what}"
    what = t(key) if t.has(key) else prose(job.what)
    text = t("work.step", what=what or t("work.begins"))
    button = (
        tag("button", t("work.stop"), type="button", data_act="stop", id="stop") if stop else None
    )
    return tag("div", tag("p", text), bar, tag("p", button), cls="say", role="status")


def trouble(job: Share, t: Texts) -> Html:
    """What to say of work that did not end well; what was stopped can be begun again."""
    if job.state == "stopped":
        again = tag("button", t("work.again"), type="button", data_act="again", id="again")
        return say([tag("p", t("work.stopped")), again])
    return say([tag("b", t("work.failed")), " ", job.problem], "bad")


def broken(v: Visit) -> None:
    """The body of a page whose plant file cannot be used."""
    opened = v.opened
    assert opened is not None
    lines: list[Child] = [
        tag("h1", v.t("broken.title")),
        tag("p", v.t("broken.lead", count=len(opened.problems))),
    ]
    for one in opened.problems:
        place = v.t("broken.line", line=one.line) if one.line else ""
        lines.append(
            say(
                [
                    tag("b", place),
                    " ",
                    tag("span", one.key, cls="mono"),
                    " ",
                    one.sentence,
                    tag("div", one.repair, cls="quiet small"),
                ]
            )
        )
    if opened.message:
        lines.append(say(opened.message, "bad"))
    lines.append(tag("p", v.t("broken.next")))
    ui.html(join(lines), sanitize=False)


def plant_page(
    site: Site, request: Request, slug: str, page: str, body: Callable[[Visit], None]
) -> None:
    """A page of a plant: its body, or what is wrong with the file, or that there is none."""
    try:
        v = visit(site, request, slug)
    except NotServed:
        v = visit(site, request)
        frame(v, "missing", lambda: missing(v))
        return
    sound = v.opened is not None and v.opened.sound

    def whole() -> None:
        gone = ", ".join(not_held(v.opened.plant, v.query)) if v.opened is not None else ""
        if gone:
            ui.html(say(v.t("frame.not_held", what=gone), "bad"), sanitize=False)
        body(v)

    frame(v, page, whole if sound else (lambda: broken(v)))


def not_held(plant: Plant, query: Mapping[str, str]) -> list[str]:
    """What an address names and the plant file does not have: a mode, a tag, a position."""
    tags = {*plant.equipment, *(p.id for p in plant.pipes)}
    mode, pick = query.get("mode", ""), query.get("pick", "")
    gone = [mode] if mode and mode not in plant.modes else []
    kind, _, rest = pick.partition(" ")
    if pick and (rest if kind in ("machine", "pipe") else kind) not in tags:
        gone.append(pick)
    for part in filter(None, query.get("turn", "").split(",")):
        machine, _, position = part.partition(":")
        held = plant.equipment.get(machine)
        if held is None or position not in held.states():
            gone.append(part)
    return gone


def missing(v: Visit, what: str = "missing") -> None:
    """The body of a page for an address without a plant, or without a page (`no_page`)."""
    back = tag("p", tag("a", v.t("missing.back"), href="/", cls="button"))
    lines = [tag("h1", v.t(f"{what}.title")), tag("p", v.t(f"{what}.lead")), back]
    ui.html(join(lines), sanitize=False)


def findings(v: Visit, some: list[Any], empty: str) -> Html:
    """Findings one under another, the worst first; opening one shows how it was worked out."""
    from byrewright.documents.format import room
    from byrewright.documents.us_units import explained_in, finding_in

    if not some:
        return tag("p", empty, cls="quiet")
    items = []
    for plain in worst_first(some):
        one = finding_in(plain, v.units)
        margin = (
            tag("span", room(plain, v.units), cls="mono quiet small")
            if one.margin is not None and one.limit
            else None
        )
        sign = mark(one.verdict if plain.judged else "free", v.t)
        inner: list[Child] = []
        for heading, rows in explained_in(plain, v.units).parts:
            inner += [
                tag("h3", heading),
                *(tag("p", prose(r), cls="small") for r in rows),
            ]
        items.append(
            tag(
                "details",
                tag("summary", sign, tag("span", prose(one.sentence)), margin),
                tag("div", inner, cls="in"),
                id=f"finding-{one.name}",
            )
        )
    return join(items)
