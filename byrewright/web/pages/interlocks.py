"""Interlocks: the table of causes and its proof."""

from __future__ import annotations

from typing import Any

from nicegui import ui

from byrewright.documents.format import words
from byrewright.engine.interlocks import DRAFT, Row, by_priority
from byrewright.results import Result
from byrewright.studies.routes.words import said
from byrewright.web.answers import proof
from byrewright.web.frame import (
    Live,
    Site,
    Visit,
    findings,
    finish,
    later,
    progress,
    say,
    trouble,
)
from byrewright.web.markup import Child, table, tag
from byrewright.web.view import View, add_page

KEY = "interlocks"


def register(site: Site) -> None:
    """Add the page."""
    add_page(site, KEY, InterlocksView)


class InterlocksView(View):
    """One visitor's view of a plant's interlocks."""

    def __init__(self, v: Visit) -> None:
        super().__init__(v)
        self.study: Any = None
        self.result: Result | None = None

    def build(self) -> None:
        """The page's body."""
        t = self.v.t
        ui.html(tag("h1", t("interlocks.title")), sanitize=False)
        ui.html(say(DRAFT), sanitize=False)
        self.proof = Live(self._proof, {"stop": self.on_stop, "again": lambda *_: self.load()})
        self.table = Live(self._table, {})
        later(self.load)

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
        self.job = proof(answers, self.opened, self.study)
        await finish(self.job, lambda _: self.proof.draw())
        self.result = self.job.value if self.job.state == "done" else None
        self.proof.draw()

    # parts -----------------------------------------------------------------------------------

    def _proof(self) -> Child:
        t = self.v.t
        parts: list[Child] = [tag("h2", t("interlocks.proof"))]
        if self.result is not None:
            parts.append(findings(self.v, list(self.result.findings), ""))
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
        fitted = all(s.fitted for s in self.study.table.signals if s.tag in row.contacts)
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
