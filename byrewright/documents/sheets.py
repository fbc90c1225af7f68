"""What goes on which drawing sheet, and a sheet's automatic layout."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from byrewright.documents.format import drawn_system, key_figure, words
from byrewright.documents.ink import ink_of, text_width_mm
from byrewright.documents.instruments import moved_by_air, valve_words, with_instruments
from byrewright.documents.layered import Box, Run, Tie, acyclic, arrange, ranks, straightened
from byrewright.documents.shapes import Layout, Letters, Placed, Point, Routed
from byrewright.documents.symbols import symbol
from byrewright.documents.us_words import bore_in
from byrewright.plant.frames import on_deck
from byrewright.plant.graph import Graph, build
from byrewright.plant.machine import Machine
from byrewright.plant.plant import Pipe, Plant

TAG_MM, WORD_MM, LABEL_MM = 2.6, 2.0, 2.0
WRAP = 15  # letters a line below a symbol
LONGEST_TIE = 4  # columns; a longer pipe is drawn as a pair of flags
BACK_TIE = 1  # columns; the same for a pipe that runs against the flow
BAND_GAP_MM = 6.0
ON_DECK = "on deck"  # stands under what turns with it
LARGEST = 1.25  # a small sheet is drawn a little larger than life


@dataclass(frozen=True, slots=True)
class Sheet:
    """One drawing: its key (file name), title and the services it shows."""

    key: str
    title: str
    services: tuple[str, ...]


SHEETS = (
    Sheet("milk", "Milk and wash", ("milk", "wash", "drain")),
    Sheet("vacuum", "Vacuum", ("vacuum",)),
    Sheet("water", "Water and cooling", ("water", "coolant", "refrigerant")),
    Sheet("air", "Compressed air", ("air",)),
    Sheet("power", "Electric power, single line", ("power",)),
)
EVERY_SHEET = Sheet(
    "all",
    "All piped services",
    ("milk", "wash", "drain", "vacuum", "water", "coolant", "refrigerant", "air"),
)


def sheet_of(service: str) -> Sheet:
    """The sheet called `service`, or the one that shows it; ValueError names the choices."""
    if service == "all":
        return EVERY_SHEET
    for one in SHEETS:
        if service == one.key or service in one.services:
            return one
    raise ValueError(
        f"no drawing shows {service!r}; choose all, " + ", ".join(s.key for s in SHEETS)
    )


@dataclass(slots=True)
class Spot:
    """Something to be drawn: a machine, one way of a gland, a flag or a local drain."""

    key: str
    machine: str
    symbol: str
    texts: tuple[str, ...]
    above: bool = False
    flag: str = ""


@dataclass(frozen=True, slots=True)
class Link:
    """A pipe (or half of one, up to a flag) between two spots."""

    id: str
    pipe: Pipe
    service: str
    a: str
    b: str
    port_a: str
    port_b: str


def pipe_sheets(plant: Plant) -> dict[str, str]:
    """The sheet key of every pipe."""
    found: dict[str, str] = {}
    let_in = _let_in(plant)
    for pipe in plant.pipes:
        service = service_drawn(plant, pipe)
        home = sheet_of(service).key if service else "milk"
        found[pipe.id] = "milk" if pipe.id in let_in else home
    for pipe in plant.pipes:
        if service_drawn(plant, pipe) == "drain":
            found[pipe.id] = _drain_home(plant, pipe, found)
    return found


def _let_in(plant: Plant) -> set[str]:
    """Air pipes that no compressor feeds: air let into the milk side when it is washed."""
    air = [p for p in plant.pipes if service_drawn(plant, p) == "air"]
    fed = {m.id for m in plant.equipment.values() if m.can("makes air") or m.can("stores air")}
    while True:
        more = {_id(e) for p in air for e in (p.start, p.end) if {_id(p.start), _id(p.end)} & fed}
        if more <= fed:
            return {p.id for p in air if _id(p.start) not in fed}
        fed |= more


def _drain_home(plant: Plant, pipe: Pipe, found: Mapping[str, str]) -> str:
    """A drain is drawn where the machine it empties is drawn."""
    machine, seen = _id(pipe.start), set[str]()
    while machine not in seen:
        seen.add(machine)
        others = plant.pipes_at(machine)
        homes = {found[p.id] for p in others if service_drawn(plant, p) not in ("drain", None)}
        for sheet in SHEETS:
            if sheet.key in homes:
                return sheet.key
        machine = next((_id(p.start) for p in others if _id(p.end) == machine), machine)
    return "milk"


def service_drawn(plant: Plant, pipe: Pipe) -> str | None:
    """The service a pipe is drawn as: the only one, or the first that its ends allow."""
    one = plant.service_of(pipe)
    if one is not None:
        return one
    return min(plant.services_open_to(pipe), default=None)


def _id(end: str) -> str:
    return end.partition(".")[0]


def _port(end: str) -> str:
    return end.partition(".")[2]


def sheet_layout(
    plant: Plant, sheet: Sheet, mode: str | None = None, *, width_mm: float, height_mm: float,
    more: Mapping[str, str] = MappingProxyType({}),
) -> Layout:  # fmt: skip
    """A sheet drawn to fit a field, with the fewest bands that keep it large.

    `more` is a line of words below what a machine says of itself, by tag.
    """
    home = pipe_sheets(plant)
    pipes = [p for p in plant.pipes if sheet.key == "all" or home[p.id] == sheet.key]
    best: (
        tuple[float, list[tuple[float, float, list[Box], list[Run]]], dict[str, Spot], list[Link]]
        | None
    ) = None
    for bands in (1, 2, 3, 4):
        spots, links = _network(plant, pipes, more)
        rank = _ranked(spots, links)
        drawn = _bands(spots, links, rank, bands)
        wide = max((w for w, _, _, _ in drawn), default=1.0)
        tall = sum(h for _, h, _, _ in drawn) + BAND_GAP_MM * (len(drawn) - 1)
        scale = min(LARGEST, width_mm / max(wide, 1.0), height_mm / max(tall, 1.0))
        if best is None or scale > best[0] * 1.04:
            best = (scale, drawn, spots, links)
    assert best is not None
    return _composed(plant, sheet, mode, best, width_mm, height_mm)


def _network(
    plant: Plant, pipes: Iterable[Pipe], more: Mapping[str, str]
) -> tuple[dict[str, Spot], list[Link]]:
    graph = build(plant)
    riders = on_deck(plant)
    spots: dict[str, Spot] = {}
    links: list[Link] = []
    for pipe in pipes:
        ends = []
        for end in (pipe.start, pipe.end):
            machine = plant.equipment[_id(end)]
            key = _spot_key(machine, _port(end), pipe, graph)
            if key not in spots:
                one = _spot(machine, key)
                rides = machine.id in riders and type(machine).SYMBOL != "gland"
                added = (*((ON_DECK,) if rides else ()), *filter(None, (more.get(machine.id),)))
                spots[key] = replace(one, texts=(*one.texts, *added))
            ends.append(key)
        service = service_drawn(plant, pipe) or ""
        links.append(
            Link(pipe.id, pipe, service, ends[0], ends[1], _port(pipe.start), _port(pipe.end))
        )
    return spots, links


def _spot_key(machine: Machine, port: str, pipe: Pipe, graph: Graph) -> str:
    """One symbol a machine, but one a way for a gland and one a pipe for a drain."""
    if machine.can("is a drain"):
        return f"{machine.id}>{pipe.id}"
    if type(machine).SYMBOL != "gland":
        return machine.id
    for edge in graph.edges:
        if edge.machine == machine.id and port in (edge.a.port, edge.b.port):
            return edge.id
    return machine.id


def _spot(machine: Machine, key: str) -> Spot:
    kind = type(machine)
    many = f" ×{machine.count}" if machine.count > 1 else ""
    if machine.can("is a drain"):
        return Spot(key, machine.id, "drain", (machine.id,))
    if machine.can("is a valve"):
        three = len(machine.ports()) == 3
        duty = words(str(getattr(machine, "duty", "")))
        return Spot(
            key,
            machine.id,
            "valve_three" if three else "valve",
            (machine.id + many, *([duty] if duty else []), valve_words(machine)),
            three,
        )
    if kind.SYMBOL == "check":
        return Spot(key, machine.id, "check", (machine.id + many,))
    figure = (
        ""
        if kind.SYMBOL == "gland"
        else key_figure(machine, drawn_system()).replace("\u00a0", " ").replace("\u2009", " ")
    )
    title = textwrap.wrap(machine.title, WRAP, max_lines=3, placeholder="..")
    return Spot(
        key, machine.id, kind.SYMBOL, (machine.id + many, *title, *([figure] if figure else []))
    )


def _flag(spot_key: str, other: Spot, side: str) -> Spot:
    return Spot(
        spot_key, other.machine, "flag", (), flag=other.texts[0] if other.texts else other.machine
    )


def _ranked(spots: dict[str, Spot], links: list[Link]) -> dict[str, int]:
    """Columns of the spots; long pipes and those against the flow are cut into pairs of flags."""
    weight = {"milk": 0, "vacuum": 0, "water": 1, "air": 1, "coolant": 1, "wash": 2, "drain": 3}
    ordered = sorted(range(len(links)), key=lambda i: (weight.get(links[i].service, 2), i))
    ties = [(links[i].a, links[i].b) for i in ordered]
    forward = dict(zip(ordered, acyclic(spots, ties), strict=True))
    ahead = [(k.a, k.b) for i, k in enumerate(links) if forward[i]]
    rank = ranks(list(spots), ahead)
    for i, link in reversed(list(enumerate(links))):
        span = rank[link.b] - rank[link.a]
        if (forward[i] and span > LONGEST_TIE) or (not forward[i] and -span > BACK_TIE):
            _cut(spots, links, i, rank)
    flat = [k for k in links if rank[k.a] == rank[k.b]]
    for link in flat:
        _cut(spots, links, links.index(link), rank)
    return rank


def _cut(spots: dict[str, Spot], links: list[Link], i: int, rank: dict[str, int]) -> None:
    """Cut a pipe: it runs to a flag that names where it goes, and on from another flag."""
    link = links[i]
    out, back = f"{link.id}>", f">{link.id}"
    spots[out] = _flag(out, spots[link.b], "to")
    spots[back] = _flag(back, spots[link.a], "from")
    rank[out], rank[back] = rank[link.a] + 1, rank[link.b] - 1
    links[i : i + 1] = [
        replace(link, id=out, b=out),
        replace(link, id=back, a=back),
    ]


def _bands(
    spots: dict[str, Spot], links: list[Link], rank: dict[str, int], bands: int
) -> list[tuple[float, float, list[Box], list[Run]]]:
    low, high = min(rank.values(), default=0), max(rank.values(), default=0)
    cuts = _cut_places(links, rank, low, high, bands)
    for i, link in reversed(list(enumerate(links))):
        if _band(rank[link.a], cuts) != _band(rank[link.b], cuts):
            if link.a.startswith(">") or link.b.endswith(">"):
                # a flag follows its machine into the machine's band
                flag, own = (link.a, link.b) if link.a.startswith(">") else (link.b, link.a)
                rank[flag] = rank[own] + (-0.4 if flag == link.a else 0.4)  # type: ignore[assignment]
            else:
                _cut(spots, links, i, rank)
    for key in list(spots):
        if key.endswith(">") or key.startswith(">"):
            link = next(k for k in links if key in (k.a, k.b))
            own, side = (link.b, -1) if key == link.a else (link.a, 1)
            place = _band(rank[own], cuts)
            if _band(rank[own] + side, cuts) != place:
                rank[key] = rank[own] + 0.4 * side  # type: ignore[assignment]
            else:
                rank[key] = rank[own] + side
    drawn = []
    for number in range(len(cuts) + 1):
        keys = [k for k in spots if _band(rank[k], cuts) == number]
        if keys:
            drawn.append(_one_band(spots, links, rank, keys))
    return drawn


def _band(rank: float, cuts: list[float]) -> int:
    return sum(1 for c in cuts if rank > c)


def _cut_places(
    links: list[Link], rank: Mapping[str, int], low: int, high: int, bands: int
) -> list[float]:
    """Where to cut the flow into bands: near even, where few pipes cross."""
    cuts: list[float] = []
    columns = high - low + 1
    for k in range(1, bands):
        ideal = low + columns * k / bands - 0.5
        tries = [
            c + 0.5
            for c in range(low, high)
            if abs(c + 0.5 - ideal) <= max(1.0, columns / bands / 4)
        ]

        def price(c: float, ideal: float = ideal) -> tuple[float, float]:
            crossing = sum(1 for e in links if (rank[e.a] < c) != (rank[e.b] < c))
            return (crossing + abs(c - ideal) * 0.8, c)

        if tries:
            cuts.append(min(tries, key=price))
    return sorted(set(cuts))


def _one_band(
    spots: Mapping[str, Spot], links: list[Link], rank: Mapping[str, float], keys: list[str]
) -> tuple[float, float, list[Box], list[Run]]:
    inside = set(keys)
    own = [k for k in links if k.a in inside and k.b in inside]
    columns = {r: i for i, r in enumerate(sorted({rank[k] for k in keys}))}
    sides: dict[str, list[int]] = {k: [0, 0] for k in keys}
    ties = []
    for link in own:
        ahead = rank[link.a] < rank[link.b]
        a, b = (link.a, link.b) if ahead else (link.b, link.a)
        sides[a][1] += 1
        sides[b][0] += 1
        pa, pb = (link.port_a, link.port_b) if ahead else (link.port_b, link.port_a)
        room = text_width_mm(label_of(link), LABEL_MM) + (4.0 if not ahead else 1.5)
        ties.append(Tie(link.id, a, b, room, _is_low(spots[a], pa), _is_low(spots[b], pb)))
    boxes = [_box(spots[k], columns[rank[k]], max(sides[k])) for k in keys]
    wide, tall, runs = arrange(boxes, ties)
    return wide, tall, boxes, runs


def _is_low(spot: Spot, port: str) -> bool:
    return spot.symbol == "valve_three" and port == "c"


def label_of(link: Link) -> str:
    """A pipe's label: letter of its service, its own tag, its bore in mm or in inches."""
    bore = link.pipe.bore_mm
    said = bore_in(bore) if drawn_system() == "US" else f"{bore:.1f}".rstrip("0").rstrip(".")
    return f"{ink_of(link.service).letter} {link.pipe.id} ⌀{said}"


def _size(spot: Spot, ties: int) -> tuple[float, float]:
    if spot.flag:
        return text_width_mm(spot.flag, WORD_MM) + 4.2, 4.2
    shape = symbol(spot.symbol)
    return shape.w, max(shape.h, (ties - 1) * 4.6 + 4.6) if shape.grows else shape.h


def _box(spot: Spot, column: int, ties: int) -> Box:
    w, h = _size(spot, ties)
    text = max(
        (text_width_mm(t, TAG_MM if i == 0 else WORD_MM) for i, t in enumerate(spot.texts)),
        default=0.0,
    )
    lines = (TAG_MM + 1.2 + (len(spot.texts) - 1) * (WORD_MM + 0.6)) if spot.texts else 0.0
    half = max(w, text) / 2 + 0.8
    if spot.above:
        return Box(spot.key, column, half, 2.5 + lines + 0.5, h - 2.5 + 1.0)
    return Box(spot.key, column, half, h / 2 + 1.0, h / 2 + lines + 1.0)


def _composed(
    plant: Plant,
    sheet: Sheet,
    mode: str | None,
    best: tuple[
        float, list[tuple[float, float, list[Box], list[Run]]], dict[str, Spot], list[Link]
    ],
    width_mm: float,
    height_mm: float,
) -> Layout:
    scale, drawn, spots, links = best
    tall = sum(h for _, h, _, _ in drawn) + BAND_GAP_MM * (len(drawn) - 1)
    layout = Layout(sheet.title, width_mm / scale, height_mm / scale)
    top = max(0.0, (layout.height_mm - tall) / 2.4)
    by_id = {k.id: k for k in links}
    for wide, high, boxes, runs in drawn:
        left = (layout.width_mm - wide) / 2 if len(drawn) == 1 else 0.0
        for box in boxes:
            layout.placed.append(_placed(plant, spots[box.key], box, mode, left, top))
        for run in runs:
            layout.routed.append(_routed(by_id[run.tie.id], run, boxes, spots, left, top))
        top += high + BAND_GAP_MM
    seen = {r.service for r in layout.routed}
    if sheet.key == "air":
        layout.notes = tuple(moved_by_air(plant))
    order = [s.key for s in SHEETS]
    layout.notes += with_instruments(plant, layout, sheet.key, pipe_sheets(plant), order)
    layout.services = tuple(s for s in EVERY_SHEET.services if s in seen)
    return layout


def _placed(
    plant: Plant, spot: Spot, box: Box, mode: str | None, left: float, top: float
) -> Placed:
    ties = max(len(box.left), len(box.right))
    w, h = _size(spot, ties)
    x, y = box.x + left, box.y + top
    up = 2.5 if spot.above else h / 2
    words_drawn: list[Letters] = []
    if spot.flag:
        words_drawn.append(Letters(x - 0.6, y + 0.7, spot.flag, WORD_MM))
    line = y - up + h + TAG_MM + 0.6
    if spot.above:
        line = y - 2.5 - 1.2 - (len(spot.texts) - 1) * (WORD_MM + 0.6)
    for i, text in enumerate(spot.texts):
        words_drawn.append(
            Letters(x, round(line, 2), text, TAG_MM if i == 0 else WORD_MM, bold=i == 0)
        )
        line += WORD_MM + 0.6
    position = (plant.position(mode, spot.machine) or "") if mode and not spot.flag else ""
    return Placed(
        spot.key,
        spot.machine,
        spot.symbol,
        round(x - w / 2, 2),
        round(y - up, 2),
        round(w, 2),
        round(h, 2),
        position,
        tuple(words_drawn),
    )


def _routed(
    link: Link, run: Run, boxes: list[Box], spots: Mapping[str, Spot], left: float, top: float
) -> Routed:
    at = {b.key: b for b in boxes}
    start, end = at[run.tie.a], at[run.tie.b]
    ahead = run.tie.a == link.a
    points = [
        *_stub(
            start, spots[start.key], run.points[0], right=True, low=run.tie.low_a, side=start.right
        ),
        *run.points,
        *reversed(
            _stub(
                end, spots[end.key], run.points[-1], right=False, low=run.tie.low_b, side=end.left
            )
        ),
    ]
    moved: list[Point] = straightened([(x + left, y + top) for x, y in points])
    first, last = run.points[0], run.points[-1]
    label_x = first[0] + (3.4 if not ahead else 0.8)
    label = Letters(
        round(label_x + left, 2),
        round(first[1] + top - 0.8, 2),
        label_of(link),
        LABEL_MM,
        "start",
        colour=ink_of(link.service).colour,
    )
    tip = last if ahead else first
    return Routed(
        link.pipe.id,
        link.service,
        tuple(moved if ahead else moved[::-1]),
        label,
        (round(tip[0] + left, 2), round(tip[1] + top, 2)),
        "right" if ahead else "left",
    )


def _stub(
    box: Box, spot: Spot, edge: Point, *, right: bool, low: bool, side: Mapping[str, float]
) -> list[Point]:
    """From the symbol to where the pipe leaves the column."""
    w, h = _size(spot, max(len(box.left), len(box.right)))
    reach = box.x + (w / 2 if right else -w / 2)
    if low:
        foot = box.y - 2.5 + h
        return [(box.x, foot), (box.x, edge[1]), edge]
    shape = symbol(spot.symbol)
    grown = shape.grows and not spot.flag
    if grown or abs(edge[1] - box.y) < 0.01:
        return [(reach, edge[1]), edge]
    return [(reach, box.y), (edge[0], box.y), edge]
