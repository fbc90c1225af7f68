"""Lists of the report: the farm, defaults taken, cautions, isolation points, sources."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from typing import Any

from byrewright.documents.format import System, number, power_unit, prose, quantity, words
from byrewright.documents.sheets import service_drawn
from byrewright.documents.us_units import unit_by_name
from byrewright.documents.us_words import text_in
from byrewright.plant.machine import Machine
from byrewright.plant.plant import Plant
from byrewright.plant.roles import IsValve, JoinsDeck, StandsCows
from byrewright.results import Result
from byrewright.standards.model import CONFIDENCE_MEANING
from byrewright.standards.rulebook import Rulebook
from byrewright.standards.sources import SOURCES
from byrewright.standards.tables import TABLES

TAGS_SHOWN = 8
TO_CHECK = "to_check"
"""Key of the table in which a study lists the values it used that are known from memory."""


def farm(plant: Plant, units: System) -> list[dict[str, str]]:
    """The farm in the file's own figures."""
    herd, site, deck = plant.herd, plant.site, plant.first(StandsCows)
    out = herd.milk_out_time_s
    water, supply = site.water_temperature_c, site.supply
    rows: list[tuple[str, str]] = [
        ("Cows in milk", number(herd.cows)),
        ("Groups", ", ".join(f"{g.name} ({g.cows})" for g in herd.groups) or "one herd"),
        ("Cows whose milk is withheld", number(herd.withheld_cows)),
        ("Milk a cow a day", quantity(herd.yield_l_day, "L/d", units)),
        (
            "Unit-on time, mean and standard deviation",
            f"{number(out.mean)} and {number(out.std_dev)} s"
            if out
            else "not stated: it follows the yield (see the assumptions)",
        ),
    ]
    if deck is not None:
        rows += [
            ("Stalls", number(deck.stalls)),
            ("Layout", deck.layout if deck.layout == "rotary" else f"{deck.rows} rows"),
            (
                "Turn of the deck" if deck.layout == "rotary" else "Change of a row",
                quantity(deck.turn_s, "s"),
            ),
        ]
    rows += [
        (
            "Milkings",
            "; ".join(
                f"{m.name} from {m.start}, within {number(m.target_h)} h" for m in plant.milkings
            ),
        ),
        (
            "Collections",
            "; ".join(
                f"{c.at}, {quantity(c.tanker_l, 'L', units)}"
                + (f", every {c.every_days} days" if c.every_days > 1 else "")
                for c in plant.collections
            )
            or "none stated",
        ),
        ("Altitude", quantity(site.altitude_m, "m", units)),
        (
            "Water over the year",
            f"{quantity(min(water), 'degC', units)} to {quantity(max(water), 'degC', units)}",
        ),
        ("Hot afternoon", quantity(site.hottest_c, "degC", units)),
        (
            "Supply",
            f"{'three phases' if supply.phases == 3 else 'one phase'}, "
            f"{number(supply.voltage_v)} V, {supply.frequency_hz} Hz",
        ),
        ("Redundancy", words(plant.wishes.redundancy)),
        ("Machines and pipes in the file", f"{len(plant.equipment)} and {len(plant.pipes)}"),
    ]
    return [{"label": a, "value": b} for a, b in rows]


def assumptions(plant: Plant, results: Result, units: System) -> list[list[str]]:
    """What the answers rest on, the studies' own first; alike machines share a row."""
    taken = [
        (where, one.meaning, one.default, one.unit, one.why, one.confidence)
        for where, one in plant.defaults_taken()
    ]
    left = {(where, meaning) for where, meaning, *_ in taken}
    own = [
        (a.where, a.meaning, a.value, a.unit, a.why, a.confidence)
        for a in results.assumptions
        if (a.where, a.meaning) not in left
    ]
    found: dict[tuple[str, ...], list[str]] = {}
    for where, what, value, unit, why, known in [*own, *taken]:
        plain = ", ".join(map(str, value)) if isinstance(value, tuple) else value
        owner = plant.equipment.get(where)
        kind = type(owner).TITLE if owner else where
        if units == "US":
            unit = unit_by_name(what, unit, units)
            what, why = text_in(what, units), text_in(why, units)
        row = (kind, what, words(quantity(plain, unit, units)), prose(why), words(known))
        found.setdefault(row, []).append(where)
    return [[_tags(places), *row[1:]] for row, places in found.items()]


def _tags(tags: Iterable[str]) -> str:
    every = list(dict.fromkeys(tags))
    more = f" and {len(every) - TAGS_SHOWN} more" if len(every) > TAGS_SHOWN else ""
    return ", ".join(every[:TAGS_SHOWN]) + more


def machine_cautions(plant: Plant) -> list[list[str]]:
    """Cautions that the machines' kinds bring, each with the machines it goes for."""
    found: dict[str, list[str]] = {}
    for one in plant.equipment.values():
        for caution in one.cautions():
            found.setdefault(caution, []).append(one.id)
    return [[_tags(tags), caution] for caution, tags in found.items()]


KEEPS_ON = (
    "makes vacuum", "shares vacuum", "traps liquid", "receives milk", "stores milk",
    "keeps withheld milk", "feeds calves", "makes air", "stores air", "parts water from air",
    "makes cold",
)  # fmt: skip
"""What a machine does that keeps gas in it, under vacuum or pressure, when it is switched off."""
_STORED = {"vacuum": "vacuum", "air": "compressed air", "refrigerant": "refrigerant under pressure"}


_EMPTIED = {
    "vent": {"vacuum", "compressed air"},
    "drain": {"caustic and acid", "scalding water"},
}
"""What is done last to a machine that is shut off, by what stands in it."""


def isolation(plant: Plant, units: System = "metric") -> list[list[str]]:
    """Machines with a source of energy: tag, name, energies, where they are isolated."""
    rows = []
    for one in plant.equipment.values():
        energies = _energies(plant, one, units)
        if not energies or (isinstance(one, IsValve) and one.moved_by == "hand"):
            continue
        shut = _shut(plant, one)
        places = [
            *(_feeder(plant, b) for b in one.fed_from),
            *(f"air valve from {a}" for a in one.air_from),
            *_across(plant, one),
            *([f"shut {', '.join(shut)}"] if shut else []),
        ]
        then = [word for word, held in _EMPTIED.items() if held & {*energies}]
        places = places or [_unnamed(one)]
        places += [f"then {' and '.join(then)}"] if then else []
        many = f" (×{one.count})" if one.count > 1 else ""
        rows.append([one.id, one.title + many, ", ".join(energies), ", ".join(places)])
    return rows


def _unnamed(one: Machine) -> str:
    """Where a machine is isolated for which the plant file names no place."""
    if one.can("gives power"):
        return "its own main switch"
    if isinstance(one, IsValve):
        return "the supply of its motor, which the plant file does not name"
    return "its own valves"


def _shut(plant: Plant, one: Machine) -> list[str]:
    """The valves moved by hand that shut a machine off from what is piped to it, each the next on
    its pipe or behind a non-return valve; a valve that something moves may open unasked."""
    if isinstance(one, IsValve):
        return []
    found, seen, open_ends = [], {one.id}, [one]
    while open_ends:
        here = open_ends.pop()
        for pipe in plant.pipes_at(here.id):
            for end in (pipe.start, pipe.end):
                other = plant.equipment[end.partition(".")[0]]
                if other.id in seen:
                    continue
                seen.add(other.id)
                if isinstance(other, IsValve) and other.moved_by == "hand":
                    found.append(other.id)
                elif other.can("passes one way"):
                    open_ends.append(other)
    return sorted(found, key=lambda tag: list(plant.equipment).index(tag))


def _across(plant: Plant, one: Machine) -> list[str]:
    """Where a joint of the deck is made dead: what feeds the deck through it is fed from these."""
    if not isinstance(one, JoinsDeck) or "power" not in one.carries:
        return []
    on_deck = [m for m in plant.equipment.values() if m.can("pulsates") or m.can("stands cows")]
    fed = [b for m in on_deck for b in m.fed_from]
    return [f"{_feeder(plant, b)} for the deck" for b in dict.fromkeys(fed)]


def _feeder(plant: Plant, board: str) -> str:
    feeder = plant.equipment.get(board)
    return f"main switch of {board}" if feeder and not feeder.fed_from else f"breaker in {board}"


def _power(one: Machine, kw: float, units: System) -> str:
    return quantity(round(kw, 2), power_unit(one) if units == "US" else "kW", units)


def _energies(plant: Plant, one: Machine, units: System) -> list[str]:
    kind = type(one)
    found: list[str] = []
    kw = one.power_kw()
    if one.fed_from or kw > 0 or one.can("gives power"):
        found.append("electricity" + (f" {_power(one, kw, units)}" if kw else ""))
    if isinstance(one, JoinsDeck):  # live rings, and all that passes through it
        found += ["electricity"] if "power" in one.carries else []
        found += ["moving parts", *(_STORED[s] for s in one.carries if s in _STORED)]
        found += ["caustic and acid"] if "wash" in one.carries else []
    if one.can("moves liquid") or one.can("holds milk"):  # what milk passes is washed
        found += ["caustic and acid"] if {"wash", "milk"} & {*_piped(plant, one)} else []
    if isinstance(one, IsValve) and one.moved_by == "motor":
        found.append("electricity")
    if one.air_from:
        found.append("compressed air")
    if kind.ROOM == "deck" and ("runs" in one.states() or one.can("turns deck")):
        found.append("moving parts")
    if any(one.can(word) for word in KEEPS_ON):
        found += [_STORED[s] for s in _piped(plant, one) if s in _STORED]
    if one.can("makes cold"):
        found.append(_STORED["refrigerant"])
    if one.can("heats water"):
        found.append("scalding water")
    if kind.ROOM == "cleaning" and kind.CAUTIONS:
        found.append("caustic and acid")
    return list(dict.fromkeys(found))


def _piped(plant: Plant, one: Machine) -> list[str]:
    every = (service_drawn(plant, p) for p in plant.pipes_at(one.id))
    return list(dict.fromkeys(s for s in every if s))


def _named(results: Result) -> dict[str, Counter[str]]:
    """Every source that findings and their inputs name, with how often it is known in which way."""
    named: dict[str, Counter[str]] = {}
    for one in results.findings:
        if one.source:
            named.setdefault(one.source, Counter())[one.confidence or ""] += 1
        for put_in in one.inputs:
            found = re.fullmatch(r"(.*?)\s*\(([a-z_]+)\)", put_in.source)
            key, known = (found[1], found[2]) if found else (put_in.source, "")
            if key:
                named.setdefault(key, Counter())[known] += 1
    return named


def sources(results: Result) -> list[dict[str, str]]:
    """The listed sources that the answers rest on, and how their values are known."""
    rows = []
    for key, counts in sorted(_named(results).items()):
        source = SOURCES.get(key)
        if source is None:
            continue
        use = "; ".join(f"{n} {meaning(k) if k else 'named'}" for k, n in sorted(counts.items()))
        rows.append(
            {"title": source.title.rstrip("."), "detail": source.detail.rstrip("."), "use": use}
        )
    return rows


_OWN = (
    "default",
    "plant file",
    "the plant file",
    "our choice",
    "worked out",
    "what the farm asked for",
)


def said(results: Result) -> str:
    """What single answers name in words of their own: editions, authors, arithmetic."""
    every = [k.rstrip(".") for k in _named(results) if k not in SOURCES and not k.startswith(_OWN)]
    return "; ".join(sorted(dict.fromkeys(every))) + ("." if every else "")


def to_check(results: Result, rules: Rulebook, units: System) -> list[dict[str, Any]]:
    """The values known from memory, by source: those a study used where it says so, else all."""
    used = {str(row[0]) for t in results.tables if t.key == TO_CHECK for row in t.rows}
    groups: dict[str, list[list[str]]] = {}
    for value in rules.to_check():
        if used and value.key not in used:
            continue
        groups.setdefault(value.source, []).append(
            [
                breakable(value.key),
                text_in(value.meaning, units),
                quantity(value.value, value.unit, units),
            ]
        )
    order = sorted(groups, key=lambda k: (k == "practice", -len(groups[k]), k))
    return [{"title": SOURCES[k].title if k in SOURCES else k, "rows": groups[k]} for k in order]


def tables() -> list[list[str]]:
    """The tables of sizes and properties that studies look into, and how each is known."""
    return [[t.title, SOURCES[t.source].title, words(t.confidence)] for t in TABLES]


def breakable(text: str) -> str:
    """The same text with places where a long word may be broken."""
    return re.sub(r"([._]|[0-9a-f]{16}(?=[0-9a-f]))", "\\1\u200b", text)


def meaning(mark: str) -> str:
    """How a value is known, in words; "" where it is not said."""
    meanings: dict[str, str] = {str(k): v for k, v in CONFIDENCE_MEANING.items()}
    return meanings.get(mark, words(mark))
