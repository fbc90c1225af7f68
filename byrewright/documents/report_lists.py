"""Lists of the report: the farm, defaults taken, cautions, isolation points, sources."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable

from byrewright.documents.format import System, number, quantity, words
from byrewright.documents.sheets import service_drawn
from byrewright.plant.kinds.deck import Platform
from byrewright.plant.machine import Machine
from byrewright.plant.plant import Plant
from byrewright.results import Result
from byrewright.standards.model import KNOWN_MEANING
from byrewright.standards.rulebook import Rulebook
from byrewright.standards.sources import SOURCES

TAGS_SHOWN = 8


def farm(plant: Plant, units: System) -> list[dict[str, str]]:
    """The farm in the file's own figures."""
    herd, site, deck = plant.herd, plant.site, plant.first(Platform)
    rows: list[tuple[str, str]] = [
        ("Cows in milk", number(herd.cows)),
        ("Groups", ", ".join(f"{g.name} ({g.cows})" for g in herd.groups) or "one herd"),
        ("Cows whose milk is withheld", number(herd.withheld_cows)),
        ("Milk a cow a day", quantity(herd.yield_l_day, "L/d", units)),
        ("Unit-on time, mean and spread", f"{number(herd.milk_out_time_s.mean)} and {number(herd.milk_out_time_s.spread)} s"),
    ]  # fmt: skip
    if deck is not None:
        rows += [("Stalls", number(deck.stalls)), ("Layout", deck.layout if deck.layout == "rotary" else f"{deck.rows} rows"),
                 ("Turn of the deck" if deck.layout == "rotary" else "Change of a row", quantity(deck.turn_s, "s"))]  # fmt: skip
    rows += [
        ("Milkings", "; ".join(f"{m.name} from {m.start}, within {number(m.target_h)} h" for m in plant.milkings)),
        ("Collections", "; ".join(f"{c.at}, {quantity(c.tanker_l, 'L', units)}" + (f", every {c.every_days} days" if c.every_days > 1 else "") for c in plant.collections) or "none stated"),
        ("Altitude", quantity(site.altitude_m, "m", units)),
        ("Water over the year", f"{quantity(min(site.water_temperature_c), 'degC', units)} to {quantity(max(site.water_temperature_c), 'degC', units)}"),
        ("Hot afternoon", quantity(site.hottest_c, "degC", units)),
        ("Supply", f"{site.supply.phases} phase{'s' if site.supply.phases > 1 else ''}, {number(site.supply.voltage_v)} V, {site.supply.frequency_hz} Hz"),
        ("Redundancy wished", words(plant.wishes.redundancy)),
        ("Machines and pipes in the file", f"{len(plant.equipment)} and {len(plant.pipes)}"),
    ]  # fmt: skip
    return [{"label": a, "value": b} for a, b in rows]


def defaults(plant: Plant, units: System) -> list[list[str]]:
    """Defaults the file left in place; alike machines share a row."""
    found: dict[tuple[str, str, str, str, str], list[str]] = {}
    for where, one in plant.defaults_taken():
        value = one.default
        if isinstance(value, tuple):
            value = ", ".join(words(str(v)) for v in value)
        text = words(quantity(value, one.unit, units))
        owner = plant.equipment.get(where)
        kind = type(owner).TITLE if owner else where
        found.setdefault((kind, one.meaning, text, one.why, words(one.known)), []).append(where)
    return [[_tags(places), *rest] for (_, *rest), places in found.items()]


def _tags(tags: Iterable[str]) -> str:
    every = list(dict.fromkeys(tags))
    more = f" and {len(every) - TAGS_SHOWN} more" if len(every) > TAGS_SHOWN else ""
    return ", ".join(every[:TAGS_SHOWN]) + more


def machine_cautions(plant: Plant) -> list[list[str]]:
    """Cautions that the machines' kinds bring, each with the machines it goes for."""
    found: dict[str, list[str]] = {}
    for one in plant.equipment.values():
        for caution in type(one).CAUTIONS:
            found.setdefault(caution, []).append(one.id)
    return [[_tags(tags), caution] for caution, tags in found.items()]


_STORED = {"vacuum": "vacuum", "air": "compressed air", "refrigerant": "refrigerant under pressure"}


def isolation(plant: Plant) -> list[list[str]]:
    """Machines with a source of energy: tag, name, energies, where they are isolated."""
    rows = []
    for one in plant.equipment.values():
        energies = _energies(plant, one)
        if not energies or one.can("is a valve") and not one.air_from and not one.fed_from:
            continue
        places = [*(f"breaker in {b}" for b in one.fed_from), *(f"air valve from {a}" for a in one.air_from)]
        if not places:
            places = ["its own valves, then vent"] if _piped(plant, one) else ["see its maker"]
        many = f" (×{one.count})" if one.count > 1 else ""
        rows.append([one.id, one.title + many, ", ".join(energies), ", ".join(places)])
    return rows


def _energies(plant: Plant, one: Machine) -> list[str]:
    kind = type(one)
    found: list[str] = []
    kw = one.power_kw()
    if one.fed_from or kw > 0 or one.can("gives power"):
        found.append("electricity" + (f" {quantity(round(kw, 2), 'kW')}" if kw else ""))
    if one.air_from:
        found.append("compressed air")
    if kind.ROOM == "deck" and ("runs" in one.states() or one.can("turns deck")):
        found.append("moving parts")
    if kind.SYMBOL in ("vessel", "trap", "pump_gas", "chiller", "tank"):
        found += [_STORED[s] for s in _piped(plant, one) if s in _STORED]
    if kind.SYMBOL == "heater":
        found.append("scalding water")
    if kind.ROOM == "cleaning" and kind.CAUTIONS:
        found.append("caustic and acid")
    return list(dict.fromkeys(found))


def _piped(plant: Plant, one: Machine) -> list[str]:
    every = (service_drawn(plant, p) for p in plant.pipes_at(one.id))
    return list(dict.fromkeys(s for s in every if s))


def sources(results: Result, rules: Rulebook) -> list[dict[str, str]]:
    """The sources that findings and their inputs name, and how their values are known."""
    named: dict[str, Counter[str]] = {}
    for one in results.findings:
        if one.source:
            named.setdefault(one.source, Counter())[one.known or ""] += 1
        for put_in in one.inputs:
            found = re.fullmatch(r"(.*?)\s*\(([a-z_]+)\)", put_in.source)
            key, known = (found[1], found[2]) if found else (put_in.source, "")
            if key:
                named.setdefault(key, Counter())[known] += 1
    rows = []
    for key, counts in sorted(named.items(), key=lambda kv: (kv[0] not in SOURCES, kv[0])):
        source = SOURCES.get(key)
        uses = [f"{n} {_known(k)}" for k, n in sorted(counts.items()) if k]
        plain = counts.get("", 0)
        use = "; ".join([*uses, *([f"named {plain} time{'s' if plain > 1 else ''}"] if plain else [])])
        rows.append({"title": (source.title if source else key).rstrip("."), "detail": (source.detail if source else "").rstrip("."), "use": use})  # fmt: skip
    return rows


def _known(mark: str) -> str:
    meanings: dict[str, str] = {str(k): v for k, v in KNOWN_MEANING.items()}
    return meanings.get(mark, words(mark))


