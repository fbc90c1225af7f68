"""The simulated day: timelines, played on the drawing, the turn unrolled, two plants compared."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from typing import Any

from nicegui import ui

from byrewright.documents.format import words
from byrewright.documents.shapes import Layout
from byrewright.documents.turn_strip import (
    HEIGHT_MM,
    WIDTH_MM,
    strip_share,
    strip_window,
    turn_strip,
)
from byrewright.plant.farm import minutes
from byrewright.results import Result
from byrewright.web import drawing
from byrewright.web.addresses import spoken
from byrewright.web.answers import DayAnswer, day, drawn, flows, laid_out
from byrewright.web.figures import INKS, Chart, Line, draw, figure_table, timeline
from byrewright.web.folder import NotServed, Opened
from byrewright.web.frame import (
    Live,
    Site,
    Visit,
    counts,
    findings,
    finish,
    later,
    progress,
    say,
    trouble,
)
from byrewright.web.look import inked
from byrewright.web.markup import Child, Html, join, tag
from byrewright.web.view import View, add_page

KEY = "day"
BOX = "day-drawing"
SHEET = "milk"
PLAY_S = 0.5
STRIDE = 6
"""Readings that playing moves on at a time."""


def register(site: Site) -> None:
    """Add the page."""
    add_page(site, KEY, DayView)


def there(
    answer: DayAnswer | None, key: str, name: str, values: Sequence[float]
) -> Sequence[float | None]:
    """A line with gaps where there is nothing: an empty tank has no temperature, an idle cooler no
    outlet."""
    moments = answer.moments if answer is not None else []
    if key == "day.temperature" and len(moments) == len(values):
        held = [m.held.get(name) for m in moments]
        return [
            None if h is not None and h.warm_c is None else y
            for h, y in zip(held, values, strict=True)
        ]
    if key == "day.outlets":
        return [y or None for y in values]  # written as 0 while no milk passes
    return values


def _series(answer: DayAnswer | None) -> list[Any]:
    """The series of a day that have lines."""
    every = () if answer is None else (answer.cows, *answer.result.series)
    return [one for one in every if one is not None and one.lines]


class DayView(View):
    """One visitor's view of the day: month, moment, and the plant compared with."""

    def __init__(self, v: Visit) -> None:
        super().__init__(v)
        asked = v.query.get("month", "")
        self.month = self.opened.plant.site.study_month
        self.wrong: list[str] = []
        """What in the address cannot be used, in sentences."""
        if asked and not (asked.isascii() and asked.isdigit() and 1 <= int(asked[:4]) <= 12):
            self.wrong.append(v.t("played.month_wrong"))
        elif asked:
            self.month = int(asked)
        at = v.query.get("at", "0")
        self.at = int(at) if at.isascii() and at.isdigit() and len(at) < 9 else -1
        self.beside = v.query.get("beside", "")
        self.answer: DayAnswer | None = None
        self.other: DayAnswer | None = None
        self.other_key = ""
        self.compared: Result | None = None
        self.laid: Layout | None = None
        self.note: Child = None
        self.playing = False
        self.shown_mode: str | None = None

    def build(self) -> None:
        """The page's body."""
        acts = {
            "month": self.on_month,
            "beside": self.on_beside,
            "stop": self.on_stop,
            "again": lambda *_: self.load(),
        }
        self.head = Live(self._head, acts)
        self.strip = Live(self._strip, {})
        self.clock = Live(self._clock, {})
        self.player = Live(self._player, {"at": self.on_at, "play": self.on_play})
        self.picture = Live(self._picture, {})
        self.charts = ui.element("div").classes("half gap")
        self.under = Live(self._under, {})
        self.timer = ui.timer(PLAY_S, self.on_tick, active=False)
        later(self.load)

    async def load(self) -> None:
        """Simulate, lay out the drawing, then compare."""
        answers = self.v.site.answers
        self.answer = self.other = self.compared = None
        self.job = day(answers, self.opened, self.month)
        self.head.draw()
        await finish(self.job, lambda _: self.head.draw())
        if self.job.state != "done":
            self.head.draw()
            return
        self.answer = self.job.value
        laid = await finish(laid_out(answers, self.opened, SHEET, self.v.units))
        self.laid = laid.value if laid.state == "done" else None
        if not 0 <= self.at < len(self.answer.moments):
            self.wrong.append(self.v.t("played.at_wrong"))
            self.at = 0
        if not self.at:
            self.at = self._first_milking()
        self.head.draw()
        self.player.draw()
        self.picture.draw()
        await self.beside_it()

    async def beside_it(self) -> None:
        """Compare, then draw all that depends on it."""
        await self._compare()
        self.head.draw()
        self.draw_charts()
        self.under.draw()
        self.show()

    def _first_milking(self) -> int:
        """A moment well inside the first milking, so that the page opens on something."""
        assert self.answer is not None
        many = [i for i, m in enumerate(self.answer.moments) if m.doing == "milking"]
        return many[min(len(many) - 1, 60)] if many else 0

    async def _compare(self) -> None:
        from byrewright.studies.day.compare import compare

        self.note = self.other = self.compared = None
        if not self.beside or self.beside == self.opened.slug:
            return
        try:
            other: Opened = self.v.site.folder.open(self.beside)
        except NotServed:
            return
        if not other.sound:
            self.note = say(self.v.t("played.beside_broken"), "bad")
            return
        self.job = day(self.v.site.answers, other, self.month)
        await finish(self.job, lambda _: self.head.draw())
        if self.job.state != "done":
            self.note = trouble(self.job, self.v.t)
            return
        self.other, self.other_key = self.job.value, other.key
        assert self.answer is not None and self.other is not None
        names = (spoken(self.opened.slug), spoken(other.slug))
        self.compared = compare(self.answer.result, self.other.result, names)

    # parts -----------------------------------------------------------------------------------

    def _head(self) -> Child:
        t = self.v.t
        months = [t(f"month.{m}") for m in range(1, 13)]
        month = tag(
            "div",
            tag("label", t("played.month"), for_="month"),
            tag(
                "select",
                [
                    tag("option", name, value=i, selected=i == self.month)
                    for i, name in enumerate(months, 1)
                ],
                id="month",
                data_change="month",
            ),
            cls="field",
        )
        others = [s for s in self.v.site.folder.files() if s != self.opened.slug]
        beside = None
        if others:
            beside = tag(
                "div",
                tag("label", t("played.beside"), for_="beside"),
                tag(
                    "select",
                    tag("option", t("played.nothing_beside"), value=""),
                    [tag("option", spoken(s), value=s, selected=s == self.beside) for s in others],
                    id="beside",
                    data_change="beside",
                ),
                cls="field",
            )
        parts: list[Child] = [
            tag("h1", t("played.title")),
            tag("div", month, beside, cls="row no-print"),
            [say(one, "bad") for one in self.wrong],
            self.note,
        ]
        if self.answer is not None:
            parts.append(counts(self.answer.result, t))
        if self.job is not None and not self.job.over:
            parts.append(progress(self.job, t))
        elif self.job is not None and self.job.state != "done" and self.answer is None:
            parts.append(trouble(self.job, t))
        return parts

    def _clock(self) -> Child:
        t = self.v.t
        if self.answer is None or not self.answer.moments:
            return None
        now = self.answer.moments[self.at]
        doing = t(f"doing.{now.doing}", milking=now.milking)
        flow = self.v.number(now.milk_l_min, "L/min")
        return [
            tag("h2", t("played.at", clock=now.clock, doing=doing)),
            tag("p", t("played.now", flow=flow, units=now.units, milked=now.milked)),
        ]

    def _player(self) -> Child:
        t = self.v.t
        if self.answer is None or not self.answer.moments:
            return None
        play = t("played.pause") if self.playing else t("played.play")
        slider = tag(
            "input",
            type="range",
            id="at",
            min=0,
            max=len(self.answer.moments) - 1,
            value=self.at,
            data_input="at",
            style="flex:1;min-width:220px",
        )
        return tag(
            "div",
            tag("button", play, type="button", data_act="play", id="play"),
            tag("label", t("played.time"), for_="at", cls="unseen"),
            slider,
            cls="row middle no-print",
        )

    def _picture(self) -> Child:
        if self.laid is None:
            return None
        return [
            drawn(self.v, self.laid, SHEET, BOX, self.v.t("played.drawing")),
            drawing.legend(self.laid.services, self.v.t),
        ]

    def _strip(self) -> Child:
        t = self.v.t
        if self.answer is None or not self.answer.moments:
            return None
        now = self.answer.moments[self.at].at_s
        decks = [d for d in self.answer.turns if d is not None]
        if not decks:
            return None
        cows, turn_s = next((d for d in reversed(decks) if d[0][0].on_s <= now), decks[0])
        from_s, until_s = strip_window(now, turn_s, cows[0].on_s, cows[-1].out_s)
        ends = t("played.entry"), t("played.exit")
        along = strip_share(now, from_s, until_s)
        inner = turn_strip(cows, turn_s, from_s, until_s, self.answer.clock, *ends, now)
        svg = tag(
            "svg",
            Html(inked(inner).replace("var(--accent)", "var(--focus)")),
            viewBox=f"0 0 {WIDTH_MM:g} {HEIGHT_MM:g}",
            role="img",
            aria_label=t("played.strip_label"),
        )
        return tag(
            "figure",
            tag(
                "div",
                svg,
                cls="strip",
                tabindex=0,
                data_now=f"{along:.3f}",
            ),
            tag("figcaption", t("played.strip"), cls="small quiet"),
            style="margin:14px 0 0",
        )

    def _under(self) -> Child:
        return None if self.answer is None else self._once("findings", self._findings)

    def _findings(self) -> Html:
        t = self.v.t
        assert self.answer is not None
        result = self.answer.result
        parts: list[Child] = []
        if self.compared is not None:
            parts += [figure_table(self.v, one) for one in self.compared.tables]
        looks = [f for f in result.findings if f.verdict != "holds"]
        holds = [f for f in result.findings if f.verdict == "holds"]
        parts += [tag("h2", t("plant.to_look_at")), findings(self.v, looks, t("plant.all_holds"))]
        parts += [tag("h2", t("played.holds")), findings(self.v, holds, t("played.none_holds"))]
        for key in ("day.milkings", "day.loads", "day.uses"):
            parts.append(figure_table(self.v, result.table(key)))
        parts += [tag("p", note, cls="small quiet") for note in result.notes]
        return join(parts)

    # timelines -------------------------------------------------------------------------------

    def draw_charts(self) -> None:
        """The timelines, one a series."""
        self.charts.clear()
        if self.answer is None:
            return
        charts = self._once("timelines", self._timelines)
        with self.charts:
            draw(charts)

    def _once(self, what: str, make: Callable[[], Any]) -> Any:
        """What is the same for all who look at this day alike, made and held once: small objects
        that every open page made for itself would stay behind in the memory when it closes."""
        with_it = (self.beside, self.other_key) if self.other is not None else ()
        asked = (
            self.opened.slug,
            self.opened.key,
            self.month,
            with_it,
            self.v.units,
            self.v.t.language,
        )
        return self.v.site.answers.at_once((what, *asked), make)

    def _timelines(self) -> list[Chart]:
        assert self.answer is not None
        theirs = {one.key: one for one in _series(self.other)}
        milky = {m.id for m in self.opened.plant.able("stores milk")}
        name = spoken(self.beside)
        made = []
        for one in _series(self.answer):
            lines = [
                Line(words(n), u, one.x, there(self.answer, one.key, n, y)) for n, u, y in one.lines
            ]
            if (other := theirs.get(one.key)) is not None:
                lines += [
                    Line(f"{words(n)} ({name})", u, other.x, there(self.other, one.key, n, y), True)
                    for n, u, y in other.lines
                ]
            few = {x.name for x in lines if x.name.split(" ")[0] in milky}
            first = few if len(one.lines) > len(INKS) else None
            made += timeline(self.v, one.title, lines, self.v.t("played.clock"),
                             begins_min=self._begins(), first_shown=first)  # fmt: skip
        return made

    def _begins(self) -> float:
        """When the run begins, minutes after midnight."""
        assert self.answer is not None
        return minutes(self.answer.moments[0].clock) if self.answer.moments else 0

    # playing ---------------------------------------------------------------------------------

    def show(self) -> None:
        """The chosen moment on the drawing and the strip."""
        self.clock.draw()
        self.strip.draw()
        if self.answer is None or self.laid is None or not self.answer.moments:
            return
        now = self.answer.moments[self.at]
        marks: dict[str, Any] = {"flows": True}
        if now.mode != self.shown_mode or "flow" not in marks:
            wanted = (
                {m: self.opened.plant.position(now.mode, m) for m in self.opened.plant.equipment}
                if now.mode
                else {}
            )
            marks["symbols"] = drawing.positions(self.laid, wanted)
            marks["labels"] = drawing.labels(self.opened.plant, self.laid, wanted, self.v.t)
            self.shown_mode = now.mode
        if now.mode:
            turned = flows(self.v.site.answers, self.opened, now.mode, {})
            way = turned.way("milk" if now.doing == "milking" else "wash")
            if way is not None:
                marks |= drawing.flow_marks(way)
        marks["flow"] = [*marks.get("flow", []), *(f"machine {m}" for m in now.held)]
        marks["held"] = {
            tag_: {
                "share": held.share,
                "text": self.v.number(held.litres, "L"),
                "warm": self.v.number(held.warm_c, "degC") if held.warm_c is not None else "",
            }
            for tag_, held in now.held.items()
        }
        ui.run_javascript(drawing.script(BOX, marks))

    def remember(self) -> None:
        """Put month, moment and the plant beside into the address."""
        link = self.v.link(KEY, month=str(self.month), at=str(self.at), beside=self.beside)
        ui.navigate.history.replace(link)

    # what a visitor does ---------------------------------------------------------------------

    async def on_month(self, value: str, _: str) -> None:
        """Another month."""
        if value.isdigit() and 1 <= int(value) <= 12:
            self.month = int(value)
            self.remember()
            await self.load()

    async def on_beside(self, value: str, _: str) -> None:
        """A plant to compare with."""
        self.beside = value if value in self.v.site.folder.files() else ""
        self.remember()
        if self.answer is not None:
            await self.beside_it()

    def on_at(self, value: str, _: str) -> None:
        """Another moment."""
        if self.answer is not None and value.isdigit() and int(value) < len(self.answer.moments):
            self.at = int(value)
            clock = self.answer.moments[self.at].clock
            ui.run_javascript(f"byre.slide('at', null, {json.dumps(clock)})")
            self.show()
            self.remember()

    def on_play(self, _: str, __: str) -> None:
        """Play, or hold."""
        self.playing = not self.playing
        self.timer.active = self.playing
        self.player.draw()

    def on_tick(self) -> None:
        """The next moment while playing."""
        if self.answer is None or not self.playing:
            return
        self.at += STRIDE
        if self.at >= len(self.answer.moments):
            self.at = len(self.answer.moments) - 1
            self.playing = False
            self.timer.active = False
            self.player.draw()
        clock = self.answer.moments[self.at].clock
        ui.run_javascript(f"byre.slide('at', {self.at}, {json.dumps(clock)})")
        self.show()
