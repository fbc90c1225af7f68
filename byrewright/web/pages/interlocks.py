"""Interlocks: the table, its proof, and the live watch with alarms and history."""

from __future__ import annotations

import time
from typing import Any

from fastapi import Request
from nicegui import ui

from byrewright.documents.format import words
from byrewright.engine.interlocks import DRAFT, Row, by_priority
from byrewright.results import Result
from byrewright.site.alarms import Event
from byrewright.site.watch import Shown
from byrewright.studies.routes.words import moves, said
from byrewright.web.answers import Job, proof
from byrewright.web.frame import (
    Live,
    Site,
    Visit,
    findings,
    finish,
    later,
    plant_page,
    progress,
    say,
    trouble,
)
from byrewright.web.markup import Child, Html, table, tag
from byrewright.web.watching import PROTOCOLS, SIMULATED, Watches, Watching, WatchRefused

KEY = "interlocks"
LOOK_S = 1.0
CLOCK = "%Y-%m-%d %H:%M:%S"
LONGEST_NAME = 60


def register(site: Site) -> None:
    """Add the page."""
    site.pages.append(KEY)
    watches = Watches()
    site.at_end.append(watches.end_all)

    @ui.page("/p/{slug}/interlocks")
    def interlocks(request: Request, slug: str) -> None:
        plant_page(site, request, slug, KEY, lambda v: InterlocksView(v, watches).build())


class InterlocksView:
    """One visitor's view of a plant's interlocks."""

    def __init__(self, v: Visit, watches: Watches) -> None:
        assert v.opened is not None
        self.v, self.opened, self.watches = v, v.opened, watches
        self.study: Any = None
        self.result: Result | None = None
        self.job: Job | None = None
        self.protocol, self.where, self.mode, self.who = SIMULATED, "", "", ""
        self.note: Html | None = None
        self.events: list[Event] = []
        self.told: object = None

    def build(self) -> None:
        """The page's body."""
        t = self.v.t
        ui.html(tag("h1", t("interlocks.title")), sanitize=False)
        ui.html(say(DRAFT), sanitize=False)
        acts = {
            "protocol": self.on_protocol,
            "where": self.on_where,
            "mode": self.on_mode,
            "begin": self.on_begin,
            "end": self.on_end,
            "who": self.on_who,
            "acknowledge": self.on_acknowledge,
            "practise": self.on_practise,
            "right": self.on_right,
        }
        self.live = Live(self._live, acts)
        self.proof = Live(self._proof, {"stop": self.on_stop})
        self.table = Live(self._table, {})
        self.past = Live(self._past, {})
        later(self.load)
        ui.timer(LOOK_S, self.look)

    async def load(self) -> None:
        """Ask the routes study, first for the table, then for the proof."""
        answers = self.v.site.answers
        self.job = answers.study("routes", self.opened)
        await finish(self.job, lambda _: self.proof.draw())
        if self.job.state != "done":
            self.proof.draw()
            return
        self.study = self.job.value
        self.table.draw()
        self.live.draw()
        self.job = proof(answers, self.opened, self.study)
        await finish(self.job, lambda _: self.proof.draw())
        self.result = self.job.value if self.job.state == "done" else None
        self.proof.draw()

    def look(self) -> None:
        """Draw the live parts anew where something changed."""
        now = self.watching
        seen = None
        if now is not None:
            shown = now.snapshot
            seen = (
                now.live,
                shown.mode,
                shown.alarms,
                shown.message,
                now.mode,
                tuple(now.wrong.items()),
            )
        if seen != self.told:
            self.told = seen
            self.live.draw()
        events = self.watches.history(self.opened)
        if events != self.events:
            self.events = events
            self.past.draw()

    @property
    def watching(self) -> Watching | None:
        """The watch of this plant, where one runs."""
        return self.watches.running.get(self.opened.slug)

    # parts -----------------------------------------------------------------------------------

    def _live(self) -> Child:
        t = self.v.t
        now = self.watching
        heading = tag("h2", t("interlocks.watch"))
        if now is None:
            return tag(
                "section", heading, tag("p", t("interlocks.watch_lead")), self.note, self._begin()
            )
        shown = now.snapshot
        state = t("interlocks.is_live") if now.live else t("interlocks.not_live")
        mode = words(shown.mode) if shown.mode else t("interlocks.mode_unknown")
        parts: list[Child] = [
            heading,
            say(
                [
                    tag("b", state),
                    " ",
                    t("interlocks.source", source=shown.source, mode=mode),
                    " ",
                    shown.message,
                ],
                "good" if now.live else "bad",
            ),
        ]
        if now.digest != self.opened.digest:
            parts.append(say(t("interlocks.other_file"), "bad"))
        parts.append(self._alarms(shown.alarms, now.live))
        if now.controller is not None:
            parts.append(self._practice(now))
        parts.append(
            tag(
                "p",
                tag("button", t("interlocks.end"), type="button", data_act="end", id="end"),
                cls="gap",
            )
        )
        return tag("section", parts)

    def _begin(self) -> Child:
        t = self.v.t
        if self.study is None:
            return tag("p", t("interlocks.table_first"), cls="quiet")
        modes = self.study.table.modes
        picks = tag(
            "div",
            tag("label", t("interlocks.read_from"), for_="protocol"),
            tag(
                "select",
                [
                    tag("option", t(f"interlocks.{p}"), value=p, selected=p == self.protocol)
                    for p in PROTOCOLS
                ],
                id="protocol",
                data_change="protocol",
            ),
            cls="field",
        )
        where = None
        if self.protocol != SIMULATED:
            where = tag(
                "div",
                tag("label", t(f"interlocks.{self.protocol}_where"), for_="where"),
                tag("input", type="text", id="where", value=self.where, data_change="where"),
                cls="field",
            )
        first = (
            t("interlocks.from_controller") if self.protocol != SIMULATED else t("plant.no_mode")
        )
        mode = tag(
            "div",
            tag("label", t("interlocks.mode"), for_="watch-mode"),
            tag(
                "select",
                tag("option", first, value=""),
                [tag("option", words(m), value=m, selected=m == self.mode) for m in modes],
                id="watch-mode",
                data_change="mode",
            ),
            cls="field",
        )
        go = tag(
            "button", t("interlocks.begin"), type="button", data_act="begin", cls="main", id="begin"
        )
        return tag("div", picks, where, mode, go, cls="row")

    def _alarms(self, alarms: tuple[Shown, ...], live: bool) -> Child:
        t = self.v.t
        if not alarms:
            return tag("p", t("interlocks.no_alarm") if live else t("interlocks.alarms_unknown"))
        name = tag(
            "div",
            tag("label", t("interlocks.who"), for_="who"),
            tag(
                "input",
                type="text",
                id="who",
                value=self.who,
                data_input="who",
                data_change="who",
                autocomplete="off",
                maxlength=LONGEST_NAME,
            ),
            cls="field",
        )
        items: list[Child] = []
        for one in alarms:
            waits = one.state in ("unacknowledged", "gone")
            button = (
                tag(
                    "button",
                    t("interlocks.acknowledge"),
                    tag("span", f" {one.tag}", cls="unseen"),
                    type="button",
                    data_act="acknowledge",
                    data_value=one.tag,
                    id=f"ack-{one.tag}",
                )
                if waits
                else None
            )
            since = time.strftime(CLOCK, time.localtime(one.since))
            cls = "alarm standing" if one.state in ("unacknowledged", "acknowledged") else "alarm"
            items.append(
                tag(
                    "li",
                    tag("span", t(f"priority.{one.priority}"), cls="mono"),
                    tag(
                        "div",
                        tag("b", one.text),
                        tag("div", one.do),
                        tag("div", t(f"alarm_state.{one.state}"), ", ", since, cls="quiet small"),
                    ),
                    button,
                    cls=cls,
                )
            )
        return [
            name,
            self.note,
            tag("ul", items, style="list-style:none;padding:0", aria_live="assertive"),
        ]

    def _practice(self, now: Watching) -> Child:
        t = self.v.t
        scene = now.study.scenes[now.mode]
        mode = tag(
            "div",
            tag("label", t("interlocks.practice_mode"), for_="watch-mode"),
            tag(
                "select",
                [
                    tag("option", words(m), value=m, selected=m == now.mode)
                    for m in now.study.table.modes
                ],
                id="watch-mode",
                data_change="mode",
            ),
            cls="field",
        )
        wrong = tag(
            "div",
            tag("label", t("interlocks.practice_wrong"), for_="practise"),
            tag(
                "select",
                tag("option", t("interlocks.practice_pick"), value=""),
                [
                    tag("option", f"{m} {said(p)}", value=f"{m}:{p}")
                    for m, many in scene.others.items()
                    for p in many
                    if p in now.study.plant.equipment[m].states()
                ],
                id="practise",
                data_change="practise",
            ),
            cls="field",
        )
        right = tag(
            "button", t("interlocks.practice_right"), type="button", data_act="right", id="right"
        )
        stands = (
            moves(now.study.plant, now.wrong.items())
            if now.wrong
            else t("interlocks.practice_none")
        )
        return tag(
            "div",
            tag("h3", t("interlocks.practice")),
            tag("p", t("interlocks.practice_lead")),
            tag("div", mode, wrong, right, cls="row"),
            tag("p", t("interlocks.practice_now", wrong=stands)),
        )

    def _proof(self) -> Child:
        t = self.v.t
        parts: list[Child] = [tag("h2", t("interlocks.proof"))]
        if self.result is not None:
            shown = sorted(self.result.findings, key=lambda f: f.verdict == "holds")
            parts.append(findings(self.v, shown, ""))
        elif self.job is not None:
            parts.append(
                trouble(self.job, t)
                if self.job.over and self.job.state != "done"
                else progress(self.job, t)
            )
        return tag("section", parts)

    def _table(self) -> Child:
        t = self.v.t
        if self.study is None:
            return None
        rows = by_priority(self.study.table.rows)
        head = [
            t(f"interlocks.{h}")
            for h in ("cause", "wanted", "modes", "urgency", "do", "delay", "status")
        ]
        return tag(
            "section",
            tag("h2", t("interlocks.table")),
            tag("p", t("interlocks.table_lead")),
            table(
                head, [self._row(r) for r in rows], caption=t("interlocks.caption", count=len(rows))
            ),
        )

    def _row(self, row: Row) -> list[Child]:
        t = self.v.t
        fitted = all(s.fitted for s in self.study.table.signals if s.tag in (*row.on, *row.off))
        proof = t("interlocks.needed", proof=row.proof) if row.needed else t("interlocks.backup")
        status = [
            tag("div", t("interlocks.fitted") if fitted else t("interlocks.to_fit")),
            tag("div", proof, cls="quiet small"),
        ]
        return [
            [tag("b", row.text), tag("div", row.tag, cls="mono quiet small")],
            f"{row.machine} {said(row.wanted)}",
            ", ".join(words(m) for m in row.modes),
            t(f"priority.{row.priority}"),
            row.do,
            self.v.number(row.on_delay_s, "s"),
            status,
        ]

    def _past(self) -> Child:
        t = self.v.t
        heading = tag("h2", t("interlocks.history"))
        if not self.events:
            return tag("section", heading, tag("p", t("interlocks.no_history"), cls="quiet"))
        head = [t(f"interlocks.{h}") for h in ("at", "what", "text", "in_mode", "by")]
        rows = [
            [
                time.strftime(CLOCK, time.localtime(e.at)),
                t(f"event.{e.kind}"),
                e.text,
                words(e.mode),
                e.who,
            ]
            for e in self.events
        ]
        return tag("section", heading, table(head, rows, caption=t("interlocks.history_caption")))

    # what a visitor does ---------------------------------------------------------------------

    def on_protocol(self, value: str, _: str) -> None:
        """Where to read from."""
        self.protocol = value if value in PROTOCOLS else SIMULATED
        self.live.draw()

    def on_where(self, value: str, _: str) -> None:
        """The controller's address."""
        self.where = value.strip()

    def on_mode(self, value: str, _: str) -> None:
        """The mode stated, or served by the simulated controller."""
        self.mode = value if value in self.opened.plant.modes else ""
        now = self.watching
        if now is not None and now.controller is not None and self.mode:
            now.mode = self.mode
            now.wrong.clear()
            self.live.draw()

    async def on_begin(self, _: str, __: str) -> None:
        """Begin to watch."""
        self.note = None
        try:
            await self.watches.begin(self.opened, self.study, self.protocol, self.where, self.mode)
        except WatchRefused as error:
            self.note = say(self.v.t(error.key), "bad")
        except OSError as error:
            self.note = say(str(error), "bad")
        self.live.draw()

    async def on_end(self, _: str, __: str) -> None:
        """End the watch."""
        await self.watches.end(self.opened.slug)
        self.live.draw()

    def on_who(self, value: str, _: str) -> None:
        """Who acknowledges."""
        self.who = value.strip()[:LONGEST_NAME]

    def on_acknowledge(self, value: str, _: str) -> None:
        """Acknowledge one alarm."""
        now = self.watching
        if now is None:
            return
        self.note = None if self.who else say(self.v.t("interlocks.who_needed"), "bad")
        if self.who:
            now.watch.acknowledge(self.who, value)
        self.live.draw()

    def on_practise(self, value: str, _: str) -> None:
        """Put a wrong position on the simulated controller."""
        now = self.watching
        machine, _, position = value.partition(":")
        if now is not None and position in now.study.scenes[now.mode].others.get(machine, ()):
            now.wrong[machine] = position
            self.live.draw()

    def on_right(self, _: str, __: str) -> None:
        """Everything right on the simulated controller."""
        now = self.watching
        if now is not None:
            now.wrong.clear()
            self.live.draw()

    def on_stop(self, _: str, __: str) -> None:
        """Stop the work under way."""
        if self.job is not None:
            self.job.cancel.set()
