"""The electric single line: each board a bar, its supplies at the left, its loads hanging below."""

from __future__ import annotations

from byrewright.documents.format import drawn_system, number, power_unit, shown
from byrewright.documents.ink import text_width_mm
from byrewright.documents.shapes import Layout, Letters, Path, Placed, Routed
from byrewright.documents.symbols import symbol
from byrewright.documents.us_words import section_in
from byrewright.plant.machine import Machine
from byrewright.plant.plant import Plant
from byrewright.plant.sited import sited
from byrewright.studies.cables import cables_of, section_words

STEP_MM, SUPPLY_MM, ROW_MM = 11.0, 40.0, 62.0
APART_MM = 10.0  # between two boards side by side
BREAKER_MM = 2.4
TAG_MM, NAME_MM = 2.6, 2.3  # a board's tag is read from afar as well
LARGEST, SMALLEST = 1.2, 0.6

RATING_MM = 1.6
Ratings = dict[tuple[str, str], tuple[str, str]]
Bar = tuple[str, int, list[Machine]]  # board, part, loads


def power_layout(plant: Plant, title: str, width_mm: float, height_mm: float) -> Layout:
    """Layout of the single line in a field, as large as fits."""
    scale = LARGEST
    while True:
        width = width_mm / scale
        shelves = _shelves(plant, _bars(plant, int((width - SUPPLY_MM) // STEP_MM)), width)
        if len(shelves) * ROW_MM * scale <= height_mm or scale <= SMALLEST:
            break
        scale -= 0.02
    layout = Layout(title, width, height_mm / scale, services=("power",))
    rated = _ratings(plant)
    top = max(2.0, (layout.height_mm - len(shelves) * ROW_MM) / 2.4)
    for shelf in shelves:
        left = 0.0
        for board, part, loads in shelf:
            _row(layout, plant, board, part, loads, left, top, rated)
            left += _length(plant, board, part, loads) + APART_MM
        top += ROW_MM
    layout.notes = (
        "Crossed line: breaker. Ratings are of each machine. Licensed electrical design decides.",
        *(["Beside it: its rating, and its cable's copper section"
           f"{'' if drawn_system() == 'US' else ' in mm²'}; both first guesses."] if rated else []),
    )  # fmt: skip
    return layout


def _ratings(plant: Plant) -> Ratings:
    """Breaker and cable of every feeder, by board and what it feeds; none without a plan."""
    made = sited(plant)
    if made is None:
        return {}
    found: Ratings = {}
    for c in cables_of(plant, made):
        if c.breaker_a:
            size = section_in(section_words(c), drawn_system())
            size = size.replace(" x ", "x").replace(" kcmil", "kcmil")  # breakers stand 11 mm apart
            found[c.way.board, c.way.tag] = (
                f"{c.breaker_a:g} A", size
            )  # fmt: skip
    return found


def _rate(layout: Layout, rated: Ratings, feeder: str, fed: str, x: float, y: float) -> None:
    """The two ratings beside a breaker."""
    for i, text in enumerate(rated.get((feeder, fed), ())):
        layout.letters.append(Letters(x + 1.7, y + 0.5 + 2.2 * i, text, RATING_MM, "start"))


def _length(plant: Plant, board: str, part: int, loads: list[Machine]) -> float:
    tag_, name = _board_texts(plant.equipment[board], part)
    written = text_width_mm(tag_, TAG_MM) + text_width_mm(name, NAME_MM)
    return SUPPLY_MM + max(len(loads) * STEP_MM, written)


def _shelves(plant: Plant, bars: list[Bar], width: float) -> list[list[Bar]]:
    """Boards side by side while they fit, in their order."""
    shelves: list[list[Bar]] = []
    room = 0.0
    for bar in bars:
        need = _length(plant, *bar)
        if not shelves or need > room:
            shelves.append([])
            room = width
        shelves[-1].append(bar)
        room -= need + APART_MM
    return shelves


def _boards(plant: Plant) -> list[str]:
    """What is drawn as a bar: boards, and supplies that feed a machine with no board between."""
    feeders = {f for m in plant.equipment.values() for f in m.fed_from}

    def feeds_a_load(feeder: str) -> bool:
        return any(feeder in m.fed_from and m.id not in feeders for m in plant.equipment.values())

    return [m.id for m in plant.equipment.values()
            if m.id in feeders and (m.fed_from or feeds_a_load(m.id))]  # fmt: skip


def _bars(plant: Plant, per_row: int) -> list[Bar]:
    rows: list[Bar] = []
    for board in _boards(plant):
        loads = [m for m in plant.equipment.values() if board in m.fed_from]
        step = max(4, per_row)
        for part, first in enumerate(range(0, len(loads), step)):
            rows.append((board, part, loads[first : first + step]))
    return rows


def _row(
    layout: Layout,
    plant: Plant,
    board: str,
    part: int,
    loads: list[Machine],
    left: float,
    top: float,
    rated: Ratings,
) -> None:
    bar_y = top + 16
    machine = plant.equipment[board]
    ends = left + max(SUPPLY_MM + len(loads) * STEP_MM - 3, SUPPLY_MM + 8)
    layout.extra.append(Path(((left + 6, bar_y), (ends, bar_y)), False))
    layout.extra.append(Path(((left + 6, bar_y + 0.7), (ends, bar_y + 0.7)), False))
    tag_, name = _board_texts(machine, part)
    begins = left + SUPPLY_MM + text_width_mm(tag_, TAG_MM)
    layout.letters += [
        Letters(left + SUPPLY_MM, bar_y - 2, tag_, TAG_MM, "start", bold=True),
        Letters(begins, bar_y - 2, name, NAME_MM, "start", bold=True),
    ]
    for k, supply in enumerate(machine.fed_from if not part else ()):
        _supply(layout, plant, supply, board, left + 11 + k * 15, top, bar_y)
        _rate(layout, rated, supply, board, left + 11 + k * 15, bar_y - 5.5)
    for k, load in enumerate(loads):
        x = left + SUPPLY_MM + 2 + k * STEP_MM
        _load(layout, plant, load, board, x, bar_y)
        _rate(layout, rated, board, load.id, x, bar_y + 5)


def _board_texts(machine: Machine, part: int) -> tuple[str, str]:
    """A board's tag, and what follows it."""
    rating = getattr(machine, "rating_a", None)
    extra = f", {number(rating)} A" if rating else ""
    return machine.id, f"  {machine.title}{extra}{', carried on' if part else ''}"


def _supply(
    layout: Layout, plant: Plant, supply: str, board: str, x: float, top: float, bar_y: float
) -> None:
    machine = plant.equipment.get(supply)
    if machine is None:
        return
    key = f"{board} from {supply}"  # one supply feeds several boards
    rating = getattr(machine, "supply_kva", None) or getattr(machine, "rating_kva", None)
    shape = symbol(type(machine).SYMBOL)
    if machine.fed_from and not machine.can("stands by"):
        layout.placed.append(
            Placed(
                key,
                supply,
                "flag",
                x - 5,
                top + 2,
                10,
                4.4,
                "from",
                (Letters(x - 0.6, top + 5, supply, 1.9),),
            )
        )
        _wire(layout, key, x, top + 6.4, bar_y)
        return
    words = (
        Letters(x, bar_y + 5.2, supply, 2.4, bold=True),
        *([Letters(x, bar_y + 8, f"{number(rating)} kVA", 1.9)] if rating else []),
    )
    layout.placed.append(
        Placed(key, supply, type(machine).SYMBOL, x - shape.w / 2, top, shape.w, shape.h, "", words)
    )
    _wire(layout, key, x, top + shape.h, bar_y)


def _wire(layout: Layout, key: str, x: float, y0: float, y1: float) -> None:
    layout.routed.append(Routed(key, "power", ((x, y0), (x, y1)), None, None))
    _breaker(layout, x, (y0 + y1) / 2)


def _breaker(layout: Layout, x: float, y: float) -> None:
    half = BREAKER_MM / 2
    layout.extra += [
        Path(((x - half, y - half), (x + half, y + half))),
        Path(((x - half, y + half), (x + half, y - half))),
    ]


def _load(layout: Layout, plant: Plant, load: Machine, board: str, x: float, bar_y: float) -> None:
    end = bar_y + 11
    standby = list(load.fed_from).index(board) > 0
    layout.routed.append(
        Routed(f"{board}-{load.id}", "power", ((x, bar_y + 0.7), (x, end)), None, None)
    )
    _breaker(layout, x, bar_y + 5)
    small = _load_symbol(load)
    many = f" ×{load.count}" if load.count > 1 else ""
    kw = load.power_kw()
    rated, said = shown(kw, power_unit(load), drawn_system())
    size = f"{number(round(rated, 2))} {'hp' if said == 'hp' else 'kW'}" if kw else ""
    second = "  ".join(t for t in (size, "second supply" if standby else "") if t)
    start = end + 8
    words = [
        Letters(x + 0.4, start + 1.5, f"{load.id}{many}", 2.3, "end", bold=True, turned=True),
        Letters(x + 3.4, start + 1.5, _cut(load.title), 1.9, "end", turned=True),
    ]
    if second:
        words.append(Letters(x - 2.6, start + 1.5, second, 1.9, "end", turned=True))
    layout.placed.append(
        Placed(f"{board}-{load.id}", load.id, small, x - 3.5, end, 7, 7, "", tuple(words))
    )


def _load_symbol(load: Machine) -> str:
    name = type(load).SYMBOL
    if name in ("board", "supply", "controller", "sounder"):
        return name
    return "load_heat" if getattr(load, "heater_kw", None) else "motor"


def _cut(text: str) -> str:
    return text if len(text) <= 23 else text[:21] + ".."
