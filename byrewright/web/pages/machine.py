"""Everything known of one machine or pipe, as the side of the plant page shows it."""

from __future__ import annotations

from typing import Any

from byrewright.documents.format import words
from byrewright.documents.ink import ink_of
from byrewright.documents.sheets import service_drawn
from byrewright.documents.us_units import unit_by_name
from byrewright.documents.us_words import bore_said
from byrewright.plant.machine import Machine, Upkeep
from byrewright.plant.plant import Pipe
from byrewright.plant.record import Parameter
from byrewright.plant.upkeep import every, intervals
from byrewright.results import Finding, Result
from byrewright.web.frame import Visit, findings
from byrewright.web.markup import Child, tag

NOT_FIGURES = frozenset({"id", "label"})


def about_machine(v: Visit, machine: Machine, sizing: Result | None, mode: str) -> list[Child]:
    """Figures, findings, what fails, service, tests, cautions."""
    t = v.t
    kind = type(machine)
    parts: list[Child] = []
    if machine.label and machine.label != kind.TITLE:
        parts.append(tag("p", kind.TITLE, cls="quiet"))
    parts.append(
        tag(
            "dl",
            [
                (tag("dt", one.meaning[:1].upper() + one.meaning[1:]), tag("dd", value))
                for one in machine.parameters()
                if one.name not in NOT_FIGURES and (value := figure(v, machine, one))
            ],
            cls="figures",
        )
    )
    change = tag(
        "a", t("plant.change"), href=v.link("edit", pick=machine.id), cls="button no-print"
    )
    parts.append(tag("p", change))
    if mode and v.opened is not None:
        position = v.opened.plant.position(mode, machine.id)
        if position:
            parts.append(tag("p", t("plant.position", mode=words(mode), position=words(position))))
    parts += _findings(v, sizing, lambda f: machine.id in (f.subject, (f.target or ("",))[0]))
    if machine.failures():
        parts.append(tag("h2", t("plant.fails"), cls="gap"))
        for one in machine.failures():
            inner = [
                tag("h3", t("plant.seen")),
                tag("p", _sentence(one.seen), cls="small"),
                tag("h3", t("plant.do")),
                tag("p", _sentence(one.do), cls="small"),
                tag(
                    "p",
                    t(
                        "plant.repair",
                        hours=v.number(one.repair_h, "h"),
                        part=one.part or t("plant.no_part"),
                    ),
                    cls="small quiet",
                ),
                tag(
                    "p",
                    tag(
                        "a",
                        t("plant.on_the_day"),
                        cls="button",
                        href=v.link("failures", pick=f"{machine.id} {one.way}"),
                    ),
                ),
            ]
            parts.append(
                tag("details", tag("summary", _sentence(one.way)), tag("div", inner, cls="in"))
            )
    if machine.upkeep():
        parts.append(tag("h2", t("plant.service"), cls="gap"))
        parts.append(tag("ul", [tag("li", _upkeep(v, machine, u)) for u in machine.upkeep()]))
    if machine.tests():
        parts.append(tag("h2", t("plant.tests"), cls="gap"))
        parts.append(tag("ul", [tag("li", _sentence(words(one))) for one in machine.tests()]))
    if machine.cautions():
        parts.append(tag("h2", t("plant.cautions"), cls="gap"))
        parts.append(tag("ul", [tag("li", _caution(one)) for one in machine.cautions()]))
    return parts


def about_pipe(v: Visit, pipe: Pipe, sizing: Result | None) -> list[Child]:
    """A pipe's figures and findings."""
    t = v.t
    assert v.opened is not None
    plant = v.opened.plant
    ink = ink_of(service_drawn(plant, pipe))
    rows: list[tuple[str, Child]] = [
        (t("pipe.carries"), f"{ink.letter} {ink.word}"),
        (t("pipe.from"), pipe.start),
        (t("pipe.to"), pipe.end),
        (
            t("pipe.bore"),
            bore_said(pipe.bore_mm) if v.units == "US" else v.number(pipe.bore_mm, "mm"),
        ),
        (t("pipe.length"), v.number(pipe.length_m, "m")),
        (t("pipe.rise"), v.number(pipe.rise_m, "m")),
    ]
    if pipe.slope_pct is not None:
        rows.append((t("pipe.slope"), v.number(pipe.slope_pct, "%")))
    for name, many in pipe.fittings.items():
        rows.append((words(name).capitalize(), str(many)))
    figures = tag("dl", [(tag("dt", a), tag("dd", b)) for a, b in rows], cls="figures")
    mine = _findings(v, sizing, lambda f: pipe.id in (f.subject, (f.target or ("",))[0]))
    return [tag("h2", t("pipe.title", tag=pipe.id)), figures, *mine]


def figure(v: Visit, machine: Machine, one: Parameter) -> str:
    """A figure of a machine as people read it; "" where it says nothing."""
    value: Any = getattr(machine, one.name)
    if value is None or value == () or value == "" or (one.name == "count" and value == 1):
        return ""
    if isinstance(value, tuple | list):
        return ", ".join(str(x) for x in value)
    if isinstance(value, bool):
        return v.t("yes") if value else v.t("no")
    if isinstance(value, str):
        return words(value)
    if isinstance(value, int | float):
        return v.number(value, unit_by_name(one.name, one.unit, v.units))
    return ""


def _findings(v: Visit, sizing: Result | None, mine: Any) -> list[Child]:
    heading = tag("h2", v.t("plant.sizing"), cls="gap")
    if sizing is None:
        return [heading, tag("p", v.t("work.sizing"))]
    own: list[Finding] = [f for f in sizing.findings if mine(f)]
    return [heading, findings(v, own, v.t("plant.no_findings"))]


def _upkeep(v: Visit, machine: Machine, one: Upkeep) -> str:
    assert v.opened is not None and v.opened.rules is not None
    often = every(intervals(machine, one, v.opened.rules))
    return v.t("plant.upkeep", what=_sentence(one.what), every=often)


def _caution(name: str) -> str:
    from byrewright.standards.cautions import CAUTIONS

    return CAUTIONS.get(name, words(name))


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
