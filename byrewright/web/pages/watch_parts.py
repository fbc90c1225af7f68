"""Parts of the watch page beside the alarms: beginning a watch, and practising on one."""

from __future__ import annotations

import asyncio
import csv
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from byrewright.documents.format import words
from byrewright.errors import ByrewrightError
from byrewright.site.addresses import cannot_come
from byrewright.site.log import World
from byrewright.site.service import PROTOCOLS, Order, Protocol, addresses_of
from byrewright.site.watch import Snapshot
from byrewright.studies.routes.words import moves, said
from byrewright.web.answers import Share
from byrewright.web.frame import Live, Visit, finish, progress, say, trouble
from byrewright.web.markup import Child, Html, tag
from byrewright.web.texts import Texts
from byrewright.web.watching import Seen, WatchRefused

LONGEST_NAME = 60
REAL: tuple[Protocol, ...] = tuple(p for p in PROTOCOLS if p != "simulated")
MAP_COLUMNS = {"tag", "area", "address"}
MOST_MAPS = 40


def name_field(t: Texts, field: str) -> Html:
    """Who acts; this device remembers it."""
    return tag(
        "div",
        tag("label", t("watch.who"), for_=field),
        tag(
            "input", type="text", id=field, data_remember="who", autocomplete="name",
            maxlength=LONGEST_NAME,
        ),
        cls="field",
    )  # fmt: skip


def missing(t: Texts, cannot: tuple[str, ...]) -> Html:
    """The alarms that cannot come with an address map."""
    rows = [tag("li", one) for one in cannot]
    head = tag("summary", t("watch.cannot", count=len(cannot)))
    return tag("details", head, tag("ul", rows, cls="in"), id="cannot")


def picked(field: str, label: str, options: Mapping[str, str], now: str, act: str) -> Html:
    """A choice out of a list."""
    return tag(
        "div",
        tag("label", label, for_=field),
        tag(
            "select",
            [tag("option", text, value=key, selected=key == now) for key, text in options.items()],
            id=field,
            data_change=act,
            data_value=field,
        ),
        cls="field",
    )


class Beginning:
    """What is to be watched, and how it is read; what cannot be seen is said before."""

    def __init__(self, v: Visit, seen: Seen, world: World) -> None:
        assert v.opened is not None
        self.v, self.opened, self.seen, self.world = v, v.opened, seen, world
        self.study: Any = None
        self.job: Share | None = None
        self.order = Order(protocol="simulated" if world == "practice" else "modbus", world=world)
        self.device = "1"
        self.cannot: tuple[str, ...] = ()
        self.note: Html | None = None
        self.busy = False
        self.live = Live(
            self.render,
            {
                "begin": self.on_begin,
                "field": self.on_field,
                "stop": self.on_stop,
                "again": lambda *_: self.load(),
            },
        )

    async def load(self) -> None:
        """The table is needed to begin."""
        self.job = self.v.site.answers.study("routes", self.opened)
        await finish(self.job, lambda _: self.live.draw())
        if self.job.state == "done":
            self.study = self.job.value
        self.live.draw()

    def render(self) -> Child:
        """The form; nothing while a watch runs."""
        t = self.v.t
        if self.seen.heard is not None or (self.seen.kind() == "begins" and not self.busy):
            return None
        parts: list[Child] = [
            tag("h2", t("watch.begin_title")),
            tag("p", t(f"watch.lead_{self.world}")),
        ]
        if self.study is None:
            if self.job is not None:
                failed = self.job.over and self.job.state != "done"
                parts.append(trouble(self.job, t) if failed else progress(self.job, t))
            return tag("section", parts)
        modes = {m: words(m) for m in self.study.table.modes}
        if self.world == "real":
            fields = self._fields(modes)
        else:
            first = {"": t("watch.first_mode")}
            fields = [picked("mode", t("watch.mode"), first | modes, self.order.mode, "field")]
        parts += [tag("div", fields, cls="row"), self.note]
        if self.cannot:
            again = tag(
                "button", t("watch.all_the_same"), type="button", id="all-the-same",
                data_act="begin", data_value="yes", data_with="who-begins",
            )  # fmt: skip
            parts += [missing(t, self.cannot), tag("p", again)]
        go = tag(
            "button", t("watch.begins") if self.busy else t("watch.begin"), type="button",
            data_act="begin", data_with="who-begins", cls="main", id="begin", disabled=self.busy,
        )  # fmt: skip
        parts.append(tag("div", name_field(t, "who-begins"), go, cls="row"))
        return tag("section", parts, cls="no-print")

    def _fields(self, modes: dict[str, str]) -> list[Child]:
        t, order = self.v.t, self.order
        maps = {"": t("watch.default_map")} | self._maps()
        plain = {"": t("watch.from_controller")}
        ways: dict[str, str] = {p: t(f"watch.{p}") for p in REAL}
        made: list[Child] = [
            picked("protocol", t("watch.read_from"), ways, order.protocol, "field"),
            self._text("where", t(f"watch.{order.protocol}_where"), order.where),
            picked("addresses", t("watch.addresses"), maps, order.addresses, "field"),
            picked("mode", t("watch.mode"), plain | modes, order.mode, "field"),
        ]
        if order.protocol == "modbus":
            made.append(self._text("device", t("watch.device"), self.device))
        box = tag(
            "input", type="checkbox", id="contacts_only", data_change="field",
            data_value="contacts_only", checked=order.contacts_only,
        )  # fmt: skip
        made.append(tag("label", box, " ", t("watch.contacts_only"), cls="check"))
        return made

    def _text(self, field: str, label: str, value: str) -> Html:
        box = tag(
            "input", type="text", id=field, value=value, data_change="field", data_input="field",
            data_value=field,
        )  # fmt: skip
        return tag("div", tag("label", label, for_=field), box, cls="field")

    def _maps(self) -> dict[str, str]:
        """Address maps in the plant's folder."""
        folder = self.seen.path.parent
        found: dict[str, str] = {}
        for path in sorted([*folder.glob("*.csv"), *folder.glob("*/*.csv")])[:MOST_MAPS]:
            try:
                with path.open(encoding="utf-8-sig", newline="") as file:
                    head = file.readline(2000).replace(";", ",")
            except (OSError, UnicodeDecodeError):
                continue
            inside = path.resolve().is_relative_to(self.v.site.folder.root)
            if inside and set(next(csv.reader([head]), ())) >= MAP_COLUMNS:
                name = str(path.relative_to(folder))
                found[name] = name
        return found

    def on_field(self, value: str, field: str) -> None:
        """One field of what is to be watched."""
        before = self.order, self.device
        if field == "device":
            self.device = value
        elif field == "contacts_only":
            self.order = replace(self.order, contacts_only=value == "yes")
        elif field == "where":
            self.order = replace(self.order, where=value.strip())
        elif field == "protocol":
            protocol = next((p for p in REAL if p == value), REAL[0])
            self.order = replace(self.order, protocol=protocol)
        elif field == "mode":
            self.order = replace(self.order, mode=value if value in self.opened.plant.modes else "")
        elif field == "addresses":
            self.order = replace(self.order, addresses=value if value in self._maps() else "")
        if (self.order, self.device) != before:  # the same, told late, takes no answer away
            self.cannot, self.note = (), None
            self.live.draw()

    async def on_begin(self, all_the_same: str, who: str) -> None:
        """Begin to watch."""
        if self.busy or self.study is None:
            return
        self.note, self.cannot = None, ()
        try:
            order = self._asked(who.strip()[:LONGEST_NAME])
            where = await asyncio.to_thread(addresses_of, self.study.table, order)
            lost = cannot_come(where, self.study.table)
            if lost and not all_the_same:
                self.cannot = tuple(r.text for r in lost)
            else:
                self.busy = True
                self.live.draw()
                await self.v.site.watches.begin(self.opened, order)
        except ByrewrightError as error:
            self.note = say(str(error), "bad")
        finally:
            self.busy = False
        self.live.draw()

    def _asked(self, who: str) -> Order:
        t, name = self.v.t, self.order.addresses
        device = int(self.device) if self.device.isascii() and self.device.isdigit() else -1
        if not 0 <= device <= 255:
            raise WatchRefused(t("watch.device_wrong"))
        if not who:
            raise WatchRefused(t("watch.who_needed"))
        path = str(Path(self.seen.path.parent, name)) if name else ""
        return replace(self.order, device=device, who=who, addresses=path).checked()

    def on_stop(self, _: str, __: str) -> None:
        """Stop the work under way."""
        if self.job is not None:
            self.job.leave()


class Practising:
    """The simulated controller of a practice watch: its mode, and positions put wrong."""

    def __init__(self, v: Visit, seen: Seen, beginning: Beginning) -> None:
        assert v.opened is not None
        self.v, self.slug, self.seen, self.beginning = v, v.opened.slug, seen, beginning
        self.note: Html | None = None
        self.live = Live(
            self.render,
            {"mode": self.on_mode, "practise": self.on_practise, "right": self.on_right},
        )

    def render(self) -> Child:
        """What it shows and what can be put wrong."""
        t, heard, study = self.v.t, self.seen.heard, self.beginning.study
        if self.seen.world != "practice" or heard is None or study is None:
            return None
        mode, wrong = _practised(heard.snapshot)
        if mode not in study.scenes:
            return None
        plant = study.plant
        positions = {
            f"{m}={p}": f"{m} {said(p)}"
            for m, many in study.scenes[mode].others.items()
            for p in many
            if p in plant.equipment[m].states()
        }
        modes = {m: words(m) for m in study.table.modes}
        pick = {"": t("watch.practice_pick")} | positions
        right = tag(
            "button", t("watch.practice_right"), type="button", data_act="right", id="right"
        )
        stands = moves(plant, wrong.items()) if wrong else t("watch.practice_none")
        return tag(
            "section",
            tag("h2", t("watch.practice_controller")),
            tag("p", t("watch.practice_lead")),
            tag(
                "div",
                picked("watch-mode", t("watch.practice_mode"), modes, mode, "mode"),
                picked("practise", t("watch.practice_wrong"), pick, "", "practise"),
                right,
                cls="row",
            ),
            tag("p", t("watch.practice_now", wrong=stands)),
            self.note,
        )

    async def _ask(self, mode: str, wrong: str) -> None:
        answer = await self.v.site.watches.ask(
            self.slug, "practice", "practise", mode=mode, wrong=wrong
        )
        self.note = say(answer, "bad") if answer else None

    async def on_mode(self, value: str, _: str) -> None:
        """The mode that the simulated controller serves; everything right in it."""
        await self._ask(value, "")

    async def on_practise(self, value: str, _: str) -> None:
        """Put one more position wrong."""
        heard = self.seen.heard
        if heard is None or "=" not in value:
            return
        mode, wrong = _practised(heard.snapshot)
        machine, _, position = value.partition("=")
        wrong[machine] = position
        await self._ask(mode, " ".join(f"{m}={p}" for m, p in wrong.items()))

    async def on_right(self, _: str, __: str) -> None:
        """Everything right."""
        await self._ask("", "")


def _practised(shown: Snapshot) -> tuple[str, dict[str, str]]:
    pairs = shown.practised.get("wrong", "").split()
    return shown.practised.get("mode", ""), dict(p.split("=", 1) for p in pairs)
