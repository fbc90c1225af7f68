"""The quotation: a price list chosen or brought, the totals, what has no price, the files."""

from __future__ import annotations

import hashlib
import io
import tempfile
import zipfile
from collections import OrderedDict
from datetime import date
from pathlib import Path
from typing import Any

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, Response
from nicegui import ui

from byrewright.documents.format import System
from byrewright.documents.interlocks import page_csv
from byrewright.documents.quote_files import quote_files
from byrewright.documents.quote_units import others_in, quote_in
from byrewright.documents.schedule import Page
from byrewright.quote.alternates import Difference, alternates
from byrewright.quote.prices import COLUMNS
from byrewright.quote.quotation import Quote, quote
from byrewright.quote.read_prices import LARGEST_BYTES, read_prices
from byrewright.quote.running import Running, running_cost
from byrewright.quote.template import template_rows
from byrewright.quote.terms import Terms, read_terms
from byrewright.standards.rulebook import default_rulebook
from byrewright.web.answers import Answers, Job, Share
from byrewright.web.folder import NotServed, Opened
from byrewright.web.frame import Live, Site, Visit, finish, progress, say, trouble
from byrewright.web.markup import Child, Html, table, tag
from byrewright.web.pages.pack import FIXED_TIME, attachment
from byrewright.web.view import View, add_page

KEY = "quote"
LISTS = (".xlsx", ".csv")
SIDE_LISTS = (".discounts.csv", ".currencies.csv")
"""Endings of files that lie beside a price list and belong to it."""
BROUGHT = "brought:"
MOST_BROUGHT, MOST_SHOWN = 20, 40

Brought = OrderedDict[str, tuple[str, bytes]]
Lists = tuple[tuple[str, bytes], ...]
"""Files that were brought, by name: a price list, then those that lie beside it."""


def register(site: Site) -> None:
    """Add the page, reached from the pack, with what is brought to it and taken from it."""
    brought: Brought = OrderedDict()

    add_page(site, KEY, lambda v: QuoteView(v, brought), listed=False)

    def routes(app: FastAPI) -> None:
        @app.post("/p/{slug}/prices")
        async def bring(request: Request, slug: str, name: str) -> Response:
            held = bytearray()
            async for part in request.stream():
                held += part
                if len(held) > LARGEST_BYTES:
                    return Response(status_code=413)
            if slug not in site.folder.files() or Path(name).suffix.casefold() not in LISTS:
                return Response(status_code=400)
            key = hashlib.sha256(held).hexdigest()[:16]
            brought[key] = (Path(name).name, bytes(held))
            while len(brought) > MOST_BROUGHT:
                brought.popitem(last=False)
            return JSONResponse({"key": BROUGHT + key})

        @app.get("/p/{slug}/quote.zip")
        def take(slug: str, key: str) -> Response:
            job = site.answers.known(("quote", *key.split(" ")))
            if slug not in site.folder.files() or job is None or job.state != "done":
                return Response(status_code=404)
            return attachment(job.value[1], "application/zip", f"{slug}-quotation.zip")

        @app.get("/p/{slug}/prices.csv")
        def empty(slug: str) -> Response:
            try:
                opened = site.folder.open(slug)
            except NotServed:
                return Response(status_code=404)
            if not opened.sound:
                return Response(status_code=404)
            rules = opened.rules or default_rulebook()
            rows = template_rows(opened.plant, rules, Terms())
            text = page_csv(Page("Prices", tuple(COLUMNS), tuple(rows)))
            return attachment(text.encode(), "text/csv", f"{opened.path.stem}-prices.csv")

    site.routes.append(routes)


def together(brought: Brought, key: str) -> Lists | None:
    """A list that was brought, with its discounts and currencies that were brought too."""
    if key not in brought:
        return None
    first = brought[key]
    names = [Path(first[0]).stem + end for end in SIDE_LISTS]
    sides = {name: data for name, data in brought.values() if name in names}
    return (first, *sides.items())


def state_of(path: Path | None) -> str:
    """What tells whether a list, or those beside it, are as they were."""
    if path is None:
        return "-"
    sides = [path.with_name(path.stem + end) for end in SIDE_LISTS]
    found = hashlib.sha256(b"".join(p.read_bytes() for p in (path, *sides) if p.is_file()))
    return found.hexdigest()[:16]


def price(
    answers: Answers, opened: Opened, prices: Path | Lists, terms: Path | None,
    on: date, units: System, full: bool,
) -> tuple[tuple[str, ...], Share]:  # fmt: skip
    """The work of pricing: what it is kept under, and (the quotation, its files as one archive,
    sentences on running cost and alternates)."""
    state = (
        state_of(prices) if isinstance(prices, Path)
        else hashlib.sha256(b"".join(data for _, data in prices)).hexdigest()[:16]
    )  # fmt: skip
    key = (opened.key.replace(" ", "+"), state, state_of(terms), on.isoformat(), units,
           "full" if full else "quick")  # fmt: skip

    def work(job: Job) -> tuple[Quote, bytes, list[tuple[str, tuple[str, ...]]]]:
        plant, rules = opened.plant, opened.rules or default_rulebook()
        stated = Terms() if terms is None else read_terms(terms, plant, rules)
        currency = stated.currency or plant.site.currency
        job.say("prices")
        if isinstance(prices, Path):
            known = read_prices(prices, currency)
        else:
            with tempfile.TemporaryDirectory(prefix="byrewright-prices-") as place:
                for file, held in prices:
                    (Path(place) / file).write_bytes(held)
                known = read_prices(Path(place) / prices[0][0], currency)
        made = quote(plant, known, stated, on, rules)
        running: Running | None = None
        others: tuple[Difference, ...] = ()
        told: list[tuple[str, tuple[str, ...]]] = []
        assert opened.file is not None
        if full:
            from byrewright.studies.day import run_day

            job.say("day")
            running = running_cost(plant, run_day(plant, rules), stated, rules)
            told.append((running.sentence, ()))
        if stated.alternates:
            others = alternates(opened.file, made, known, stated, rules, None, studies=full,
                                say=job.say)  # fmt: skip
            told += [(one.sentence, one.changes) for one in others_in(others, units)]
        job.say("files")
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, data in quote_files(plant, made, running, others, units).items():
                archive.writestr(zipfile.ZipInfo(name, FIXED_TIME), data)
        return quote_in(made, units), out.getvalue(), told

    return key, answers.ask(("quote", *key), work, long=full)


class QuoteView(View):
    """One visitor's quotation."""

    def __init__(self, v: Visit, brought: Brought) -> None:
        super().__init__(v)
        self.brought = brought
        every = v.site.folder.lists(self.opened.slug, *LISTS)
        self.lists = {n: p for n, p in every.items() if not n.endswith(SIDE_LISTS)}
        found = v.site.folder.lists(self.opened.slug, "terms.yaml")
        self.terms = found
        self.list = next((n for n in self.lists if "price" in n.casefold()), "")
        self.chosen = next(iter(found), "")
        self.full = False
        self.key: tuple[str, ...] = ()
        self.note: Child = None

    def build(self) -> None:
        """The page's body."""
        t = self.v.t
        ui.html(tag("h1", t("quote.title")), sanitize=False)
        ui.html(tag("p", t("quote.lead")), sanitize=False)
        acts = {"list": self.on_list, "terms": self.on_terms, "full": self.on_full,
                "price": self.on_price, "again": self.on_price, "stop": self.on_stop}  # fmt: skip
        self.live = Live(self._live, acts)

    def _live(self) -> Child:
        job = self.job
        parts: list[Child] = [self._ask(job is not None and not job.over), self.note]
        if job is None:
            return parts
        if not job.over:
            return [*parts, progress(job, self.v.t)]
        if job.state != "done":
            return [*parts, trouble(job, self.v.t)]
        return [*parts, *self._made(*job.value)]

    def _ask(self, busy: bool) -> Html:
        t = self.v.t
        lists = {**{n: n for n in self.lists},
                 **{BROUGHT + k: name for k, (name, _) in self.brought.items()
                    if not name.endswith(SIDE_LISTS)}}  # fmt: skip

        def pick(act: str, now: str, options: dict[str, str]) -> Html:
            rows = [tag("option", text, value=value, selected=value == now)
                    for value, text in options.items()]  # fmt: skip
            return tag("div", tag("label", t(f"quote.{act}"), for_=act),
                       tag("select", rows, id=act, data_change=act, disabled=busy),
                       cls="field")  # fmt: skip

        own = tag(
            "div", tag("label", t("quote.own"), for_="own"),
            tag("input", type="file", id="own", accept=",".join(LISTS), disabled=busy,
                data_bring=f"/p/{self.opened.slug}/prices", data_to="brought",
                data_large=t("quote.large")),
            tag("input", type="hidden", id="brought", data_change="list"), cls="field",
        )  # fmt: skip
        box = tag("input", type="checkbox", id="full", data_change="full", checked=self.full,
                  disabled=busy)  # fmt: skip
        none = {"": t("quote.none")}
        link = tag("a", t("quote.empty"), href=self.v.link("prices.csv"), download=True)
        return tag(
            "div",
            tag("div", pick("list", self.list, none | lists), own,
                pick("terms", self.chosen, none | {n: n for n in self.terms}), cls="row"),
            tag("div", tag("label", box, " ", t("quote.full"), cls="check"),
                tag("button", t("quote.price"), type="button", cls="main", id="price",
                    data_act="price", disabled=busy or not self.list), link, cls="row"),
            cls="no-print",
        )  # fmt: skip

    def _made(self, made: Quote, archive: bytes, told: Any) -> list[Child]:
        t = self.v.t
        money = made.currency
        parts: list[Child] = [say(made.answer, "" if made.whole else "bad")]
        if made.invented:
            parts.append(tag("p", tag("span", t("quote.invented"), cls="invented")))
        rows: list[list[Child]] = [
            [section, tag("span", f"{made.sums(section)[3]} {money}", cls="mono")]
            for section in made.sections
        ]
        rows.append([tag("b", t("quote.net")), tag("span", f"{made.net} {money}", cls="mono")])
        if made.tax_pct is not None:
            rows.append([made.tax_name, tag("span", f"{made.tax} {money}", cls="mono")])
            rows.append([tag("b", t("quote.gross")),
                         tag("span", f"{made.gross} {money}", cls="mono")])  # fmt: skip
        parts.append(table([t("quote.section"), t("quote.amount")], rows,
                           caption=t("quote.totals")))  # fmt: skip
        href = self.v.link("quote.zip", key=" ".join(self.key))
        parts.append(tag("p", tag("a", t("quote.take"), href=href, cls="button", download=True),
                         cls="gap"))  # fmt: skip
        missing = [f"{n.title} {n.plate}".strip() + f": {n.said}" for n in made.missing]
        unused = [f"{row}: {why}" for row, why in made.unused]
        for name, lines in (
            ("missing", missing), ("unused", unused), ("warnings", list(made.warnings)),
            ("excluded", [e.sentence for e in made.excluded]),
        ):  # fmt: skip
            if lines:
                more = t("quote.more", count=len(lines) - MOST_SHOWN)
                parts += [tag("h2", t(f"quote.{name}", count=len(lines))),
                          tag("ul", [tag("li", x) for x in lines[:MOST_SHOWN]]),
                          tag("p", more) if len(lines) > MOST_SHOWN else None]  # fmt: skip
        if told:
            parts.append(tag("h2", t("quote.others")))
        for sentence, changes in told:
            parts += [tag("p", tag("b", sentence)), tag("ul", [tag("li", c) for c in changes])]
        return parts

    def on_list(self, value: str, _: str) -> None:
        """Another price list, or what lies beside one."""
        name = self.brought.get(value.removeprefix(BROUGHT), ("", b""))[0]
        if name.endswith(SIDE_LISTS):
            self.job, self.note = None, say(self.v.t("quote.beside", name=name))
            self.live.draw()
            return
        self.list, self.job, self.note = value, None, None
        self.live.draw()

    def on_terms(self, value: str, _: str) -> None:
        """Other terms."""
        self.chosen, self.job = value, None
        self.live.draw()

    def on_full(self, value: str, _: str) -> None:
        """Ask day and failures too, or not."""
        self.full, self.job = value == "yes", None
        self.live.draw()

    async def on_price(self, _: str, __: str) -> None:
        """Price it."""
        self.opened = self.v.site.folder.open(self.opened.slug)
        prices: Path | Lists | None = self.lists.get(self.list)
        if self.list.startswith(BROUGHT):
            prices = together(self.brought, self.list.removeprefix(BROUGHT))
        if not self.opened.sound or prices is None:
            self.note = say(self.v.t("quote.gone"), "bad")
            self.live.draw()
            return
        self.key, self.job = price(self.v.site.answers, self.opened, prices,
                                   self.terms.get(self.chosen), date.today(), self.v.units,
                                   self.full)  # fmt: skip
        self.live.draw()
        await finish(self.job, lambda _: self.live.draw())
        self.live.draw()
