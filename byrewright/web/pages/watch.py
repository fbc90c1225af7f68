"""The watch: alarms first, for the person on call; then its state, beginning and ending it.

The same page in a second world is the place to practise: marked everywhere, with a log of its own.
"""

from __future__ import annotations

import time

from nicegui import ui

from byrewright.documents.format import words
from byrewright.engine.interlocks import DRAFT
from byrewright.site.door import Heard
from byrewright.site.log import World
from byrewright.site.watch import Shown, Snapshot
from byrewright.web import drawing
from byrewright.web.answers import laid_out, sheets
from byrewright.web.frame import Live, Site, Visit, finish, later, say
from byrewright.web.live import PRIORITY
from byrewright.web.markup import Child, Html, table, tag
from byrewright.web.pages.watch_parts import (
    LONGEST_NAME,
    Beginning,
    Practising,
    missing,
    name_field,
)
from byrewright.web.view import View, add_page
from byrewright.web.watching import Seen

KEY = "watch"
PRACTICE = "practice"
LOOK_S = 0.5
CLOCK = "%Y-%m-%d %H:%M:%S"


def register(site: Site) -> None:
    """Add the page in both worlds."""
    add_page(site, KEY, lambda v: WatchView(v, "real"))
    add_page(site, PRACTICE, lambda v: WatchView(v, "practice"), listed=False)


class WatchView(View):
    """One visitor's view of a plant's watch."""

    def __init__(self, v: Visit, world: World) -> None:
        super().__init__(v)
        self.world = world
        self.seen: Seen = v.site.watches.of(self.opened.slug, world)
        self.asks_end = False
        self.note: Html | None = None
        self.tested: Html | None = None
        self.told: object = None
        self.pictures: dict[str, Html | None] = {}

    def build(self) -> None:
        """The page's body."""
        t = self.v.t
        heading = t("watch.practice_title") if self.world == "practice" else t("watch.title")
        ui.html(tag("h1", heading), sanitize=False)
        if self.world == "practice":
            ui.html(tag("div", t("watch.practice_mark"), cls="practice"), sanitize=False)
        acts = {
            "acknowledge": self.on_acknowledge,
            "ask-end": self.on_ask_end,
            "keep": self.on_keep,
            "end": self.on_end,
            "test": self.on_test,
        }
        self.alarms = Live(self._alarms, acts)
        self.state = Live(self._state, acts)
        self.ran = Live(self._ran, {})
        self.beginning = Beginning(self.v, self.seen, self.world)
        self.practising = Practising(self.v, self.seen, self.beginning)
        ui.html(self._links(), sanitize=False)
        ui.html(tag("p", DRAFT, cls="quiet small gap"), sanitize=False)
        later(self.load)
        ui.timer(LOOK_S, self.look)

    async def load(self) -> None:
        """What beginning and practising need."""
        await self.beginning.load()
        self.draw()

    def draw(self) -> None:
        """Everything that follows the watch."""
        for part in (self.alarms, self.state, self.ran, self.beginning.live, self.practising.live):
            part.draw()

    async def look(self) -> None:
        """Draw anew where something changed."""
        heard = self.seen.heard
        now: tuple[object, ...] = (self.seen.kind(),)
        if heard is not None:
            s = heard.snapshot
            now = (*now, heard.live, s.mode, s.alarms, s.message, s.log, s.pending, s.source,
                   str(s.unknown), str(s.practised), str(heard.extra))  # fmt: skip
            await self.draw_pictures(s)
        if now != self.told:
            self.told = now
            self.draw()
        else:
            self.ran.draw()

    async def draw_pictures(self, shown: Snapshot) -> None:
        """The small pictures of where, one sheet after another until one shows the machine."""

        new = {a.machine for a in shown.alarms if a.machine} - set(self.pictures)
        for machine in new:
            self.pictures[machine] = None
            label = self.v.t("watch.where", machine=machine)
            plant = self.opened.plant
            stands = plant.equipment.get(machine)
            at = str(getattr(stands, "on", machine)) if stands else machine  # a sensor sits on it
            for sheet in sheets(self.v.site.answers, self.opened):
                job = await finish(
                    laid_out(self.v.site.answers, self.opened, sheet.key, self.v.units)
                )
                made = None
                if job.state == "done":
                    made = drawing.corner(plant, job.value, at, self.v.t, label)
                if made is not None:
                    self.pictures[machine] = made
                    break
            self.alarms.draw()

    # alarms ----------------------------------------------------------------------------------

    def _alarms(self) -> Child:
        t, heard = self.v.t, self.seen.heard
        kind = self.seen.kind()
        if heard is None:
            if kind == "dead":
                stood = len(self.seen.past[1])
                key = self.seen.why_key
                why = t(key) if key else self.seen.why
                return tag(
                    "section",
                    tag("div", tag("b", t("watch.not_running")), tag("div", why),
                        tag("div", t("live.stood", count=stood)) if stood else None,
                        cls="state wrong", role="alert"),
                )  # fmt: skip
            if kind == "begins":
                return tag("section", tag("div", t("watch.begins"), cls="state"))
            if self.seen.past[1]:
                text = t("watch.ended", count=len(self.seen.past[1]))
                return tag("section", tag("div", text, cls="state ended"))
            return tag("section", tag("p", t("watch.none")))
        shown = heard.snapshot
        if not shown.alarms:
            if heard.live and shown.mode is None:
                return tag("section", tag("div", t("watch.not_judged"), cls="state"))
            text = t("watch.no_alarm") if heard.live else t("watch.unknown")
            return tag("section", tag("p", text, cls="calm" if heard.live else "state wrong"))
        alarms = sorted(shown.alarms, key=_worst)
        waits = [a for a in alarms if a.state in ("unacknowledged", "gone")]
        return tag(
            "section",
            tag("h2", t("watch.alarms", count=len(alarms))),
            name_field(t, "who") if waits else None,
            self.note,
            tag("ul", [self._alarm(a) for a in alarms], cls="alarms", aria_live="assertive"),
        )

    def _alarm(self, one: Shown) -> Html:
        t = self.v.t
        stands = one.state in ("unacknowledged", "acknowledged")
        steps = [s.strip() for s in one.do.replace("; ", ". ").split(". ") if s.strip()]
        button = None
        if one.state in ("unacknowledged", "gone"):
            button = tag(
                "button", t("watch.acknowledge"), tag("span", f" {one.text}", cls="unseen"),
                type="button", data_act="acknowledge", data_value=one.tag, data_with="who",
                cls="main" if stands else None, id=f"ack-{_id(one.tag)}",
            )  # fmt: skip
        since = time.strftime(CLOCK, time.localtime(one.since))
        facts: list[Child] = [
            tag("span", t(f"priority.{one.priority}"), cls="mono"),
            tag("span", t(f"alarm_state.{one.state}")),
            tag("span", since),
        ]
        if one.machine:
            facts.append(tag("span", one.machine, cls="mono"))
        if one.source:
            facts.append(tag("span", t("watch.other_source", source=one.source)))
        practice = tag("span", t("watch.practice_word"), cls="practice")
        return tag(
            "li",
            tag("h3", practice if self.world == "practice" else None, one.text),
            tag("ol", [tag("li", _sentence(s)) for s in steps]) if stands else None,
            self.pictures.get(one.machine),
            tag("div", facts, cls="facts"),
            button,
            cls="alarm standing" if stands else "alarm",
            id=f"alarm-{_id(one.tag)}",
        )

    # state -----------------------------------------------------------------------------------

    def _state(self) -> Child:
        t, heard = self.v.t, self.seen.heard
        if heard is None:
            return None
        shown = heard.snapshot
        mode = words(shown.mode) if shown.mode else t("watch.mode_unknown")
        live = heard.live
        parts: list[Child] = [
            tag("h2", t("watch.state")),
            say(
                [tag("b", t("watch.is_live") if live else t("watch.not_live")), " ",
                 t("watch.source", source=shown.source, mode=mode), " ", shown.message],
                "good" if live else "bad",
            ),
        ]  # fmt: skip
        if shown.log:
            parts.append(say([tag("b", t("watch.log_stopped")), " ", shown.log, " ",
                              t("watch.pending", count=shown.pending)], "bad"))  # fmt: skip
        if shown.unknown:
            rows = [
                tag("li", tag("span", k, cls="mono"), " ", why) for k, why in shown.unknown.items()
            ]
            parts.append(say([tag("b", t("watch.not_known")), tag("ul", rows)], "bad"))
        if shown.cannot:
            parts.append(missing(t, shown.cannot))
        if heard.extra.get("digest") not in (None, self.opened.digest):
            parts.append(say(t("watch.other_file"), "bad"))
        if self.world == "real":
            parts.append(self._notices(heard))
        parts.append(self._ending(shown))
        return tag("section", parts)

    def _ran(self) -> Child:
        """What the run contacts counted; nothing where there are none."""
        heard, t = self.seen.heard, self.v.t
        if heard is None or not heard.snapshot.ran:
            return None
        now = {True: t("watch.ran_runs"), False: t("watch.ran_stands")}
        head = [t(f"watch.ran_{k}") for k in ("machine", "now", "hours", "starts", "seen")]
        rows = [
            (one.machine,
             t("watch.ran_unseen") if one.runs is None or not heard.live else now[one.runs],
             f"{one.ran_h:.1f}", str(one.starts), f"{one.seen_h:.1f}")
            for one in heard.snapshot.ran
        ]  # fmt: skip
        return tag("details", tag("summary", t("watch.ran")), table(head, rows), id="ran")

    def _notices(self, heard: Heard) -> Child:
        t = self.v.t
        ways: dict[str, str] = dict(heard.extra.get("notices", {}))
        if not ways:
            return tag("p", t("watch.notices_off"), cls="quiet small")
        bad = {w: why for w, why in ways.items() if why}
        rows = [
            tag("div", t(f"watch.way_{w}"), ": ", why or t("watch.way_well"))
            for w, why in ways.items()
        ]
        test = tag("button", t("watch.test"), type="button", data_act="test", data_with="who-ends",
                   id="test")  # fmt: skip
        return say([tag("b", t("watch.notices")), rows, self.tested, tag("p", test)],
                   "bad" if bad else "")  # fmt: skip

    def _ending(self, shown: Snapshot) -> Child:
        t = self.v.t
        if not self.asks_end:
            button = tag("button", t("watch.end"), type="button", data_act="ask-end", id="ask-end")
            return [None if shown.alarms else self.note, tag("p", button, cls="gap no-print")]
        stand = [a for a in shown.alarms if a.state != "gone"]
        left = [tag("p", tag("b", t("watch.end_stand", count=len(stand)))),
                tag("ul", [tag("li", a.text) for a in stand])] if stand else None  # fmt: skip
        why = tag(
            "div",
            tag("label", t("watch.why"), for_="why"),
            tag("input", type="text", id="why", maxlength=200, autocomplete="off"),
            cls="field",
        )
        buttons = tag(
            "div",
            tag("button", t("watch.end_now"), type="button", data_act="end", id="end",
                data_with=" ".join(("who-ends", "why"))),
            tag("button", t("watch.keep"), type="button", data_act="keep", cls="main", id="keep"),
            cls="row gap",
        )  # fmt: skip
        asks = t("watch.end_asks")
        parts = [tag("h3", asks), left, self.note, name_field(t, "who-ends"), why, buttons]
        return tag("div", parts, cls="box", role="group", aria_label=asks)

    def _links(self) -> Html:
        t, v = self.v.t, self.v
        world = "yes" if self.world == "practice" else ""
        links = [
            tag("a", t("watch.history"), href=v.link("history", practice=world), cls="button"),
            tag("a", t("watch.table"), href=v.link("interlocks"), cls="button"),
        ]
        other = ("watch", "watch.to_real") if world else ("practice", "watch.to_practice")
        links.append(tag("a", t(other[1]), href=v.link(other[0]), cls="button"))
        return tag("div", links, cls="row gap no-print")

    # what a visitor does ---------------------------------------------------------------------

    async def _ask(self, do: str, **asked: str) -> str:
        return await self.v.site.watches.ask(self.opened.slug, self.world, do, **asked)

    def _answer(self, said: str) -> None:
        key = f"watch.{said}"
        known = said in ("who_needed", "why_needed", "nobody")
        self.note = say(self.v.t(key) if known else said, "bad" if known else "") if said else None

    async def on_acknowledge(self, value: str, who: str) -> None:
        """Acknowledge one alarm."""
        self._answer(await self._ask("acknowledge", tag=value, who=who.strip()[:LONGEST_NAME]))
        self.draw()

    def on_ask_end(self, _: str, __: str) -> None:
        """Ending is asked for first."""
        self.asks_end, self.note = True, None
        self.draw()

    def on_keep(self, _: str, __: str) -> None:
        """The watch goes on."""
        self.asks_end, self.note = False, None
        self.draw()

    async def on_end(self, _: str, told: str) -> None:
        """End the watch, with name and reason."""
        who, _, why = told.partition("\n")
        said_ = await self._ask("end", who=who.strip()[:LONGEST_NAME], why=why.strip())
        self._answer(said_)
        if not said_:
            self.asks_end = False
        self.draw()

    async def on_test(self, _: str, who: str) -> None:
        """Send a test notice by every way."""
        said = await self._ask("test", who=who.strip() or self.v.t("watch.somebody"))
        clock = time.strftime("%H:%M:%S")
        known = said in ("who_needed", "nobody")
        told = (
            self.v.t(f"watch.{said}") if known else self.v.t("watch.tested", clock=clock, said=said)
        )
        self.tested = tag("div", told, role="status")
        self.draw()


def _worst(one: Shown) -> tuple[bool, int, float]:
    return one.state == "gone", PRIORITY[one.priority], -one.since


def _id(tag_: str) -> str:
    return "".join(c if c.isalnum() else "-" for c in tag_)


def _sentence(text: str) -> str:
    whole = text[:1].upper() + text[1:]
    return whole if whole.endswith((".", "!", "?")) else f"{whole}."
