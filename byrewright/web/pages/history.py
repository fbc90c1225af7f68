"""What the watch has recorded, newest first; the real plant and practice apart."""

from __future__ import annotations

import time

from nicegui import ui

from byrewright.documents.format import words
from byrewright.site.alarms import Event
from byrewright.site.log import World
from byrewright.web.frame import Live, Site, Visit, later, say
from byrewright.web.markup import Child, table, tag
from byrewright.web.view import View, add_page

KEY = "history"
LOOK_S = 1.0
CLOCK = "%Y-%m-%d %H:%M:%S"


def register(site: Site) -> None:
    """Add the page; it is reached from the watch."""

    add_page(site, KEY, HistoryView, listed=False)


class HistoryView(View):
    """One visitor's look at the log."""

    def __init__(self, v: Visit) -> None:
        super().__init__(v)
        self.world: World = "practice" if v.query.get("practice") == "yes" else "real"
        self.events: list[Event] | None = None
        self.trouble = ""

    def build(self) -> None:
        """The page's body."""
        t = self.v.t
        ui.html(tag("h1", t("history.title")), sanitize=False)
        if self.world == "practice":
            ui.html(tag("div", t("watch.practice_mark"), cls="practice"), sanitize=False)
        self.live = Live(self._rows, {})
        back = "practice" if self.world == "practice" else "watch"
        link = tag("a", t("history.back"), href=self.v.link(back), cls="button")
        ui.html(tag("p", link, cls="gap no-print"), sanitize=False)
        later(self.look)
        ui.timer(LOOK_S, self.look)

    async def look(self) -> None:
        """Read it anew where something was recorded."""
        found, trouble = await self.v.site.watches.history(self.opened, self.world)
        events = list(found)
        if events != self.events or trouble != self.trouble:
            self.events, self.trouble = events, trouble
            self.live.draw()

    def _rows(self) -> Child:
        t = self.v.t
        bad = say(self.trouble, "bad") if self.trouble else None
        if self.events is None:
            return bad
        if not self.events:
            return [bad, tag("p", t("history.none"), cls="quiet")]
        head = [t(f"history.{h}") for h in ("at", "what", "text", "mode", "by", "source")]
        mark = tag("span", t("watch.practice_word"), cls="practice")
        rows: list[list[Child]] = [
            [
                time.strftime(CLOCK, time.localtime(e.at)),
                [[mark, " "] if self.world == "practice" else None, t(f"event.{e.kind}")],
                words(e.text) if e.kind == "mode" else e.text,
                words(e.mode),
                e.who,
                tag("span", e.source, cls="quiet small"),
            ]
            for e in self.events
        ]
        return [bad, table(head, rows, caption=t("history.caption", count=len(rows)))]
