"""What each reader needs of a plant, and nothing else: one function a paper."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from byrewright.documents import reader_farmer
from byrewright.documents import report_lists as lists
from byrewright.documents.format import System, drawn_in, key_figure, quantity, words
from byrewright.documents.papers import Paper, table_of
from byrewright.documents.plan_lists import GROUP_WORDS, builders_list, in_rows, room_words
from byrewright.documents.plan_sheets import plan_sheets, plan_svg
from byrewright.documents.readers_work import (
    alarm_rows,
    by_hand,
    differs_by_hand,
    input_output,
    numbered,
    small_plan,
    told_by_name,
    upkeep_rows,
)
from byrewright.documents.schematic import Issue, schematic_svg, sheets_for
from byrewright.documents.us_units import finding_in
from byrewright.documents.us_words import SECTION, section_in
from byrewright.plant.plant import Plant
from byrewright.plant.roles import IsValve, JoinsDeck, PassesOneWay
from byrewright.plant.sited import sited
from byrewright.results import Result
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.cables import cables_of, section_words
from byrewright.studies.count import LISTED_APART, Item, count
from byrewright.studies.failures.tables import OUT_NOTE
from byrewright.studies.routes.words import said
from byrewright.studies.sizing import headlines

NO_PLAN = "The plant file does not say where things stand: add place: {services: under}."
NOT_ASKED = "Not looked at for this paper: ask for it with byrewright pack --full."


@dataclass(frozen=True, slots=True)
class Reader:
    """A reader: title and first words of the paper, the studies it needs, what fills it."""

    title: str
    lead: str
    needs: tuple[str, ...]
    fill: Callable[[Paper, Issue], None]


def paper_for(
    key: str, plant: Plant, results: Result, issue: Issue, units: System = "metric",
    drawn: dict[str, str] | None = None, rules: Rulebook | None = None,
) -> Paper:  # fmt: skip
    """The paper of one reader; `drawn` keeps its sheets for the next, of one issue and units."""
    reader = READERS[key]
    paper = Paper(key, reader.title, reader.lead, plant, results, units,
                  {} if drawn is None else drawn, rules or default_rulebook())  # fmt: skip
    with drawn_in(units):
        reader.fill(paper, issue)
    return paper


def _plan(paper: Paper, issue: Issue, *starts: str) -> None:
    """The plan's sheets whose keys begin so, in that order."""
    sheets = plan_sheets(paper.plant, paper.units)
    for start in starts:
        for one in sheets:
            if one.key.startswith(start):
                if one.key not in paper.drawn:
                    paper.drawn[one.key] = plan_svg(paper.plant, one, issue=issue)
                paper.sheet(one.title, paper.drawn[one.key])


def _drawing(paper: Paper, issue: Issue, *keys: str) -> None:
    for one in sheets_for(paper.plant):
        if one.key in keys:
            if one.key not in paper.drawn:
                paper.drawn[one.key] = schematic_svg(paper.plant, one.key, issue=issue,
                                                     units=paper.units)  # fmt: skip
            paper.sheet(one.title, paper.drawn[one.key])


def _machines(paper: Paper, abilities: Sequence[str] = ()) -> None:
    """Machines, alike ones together, with their main figure."""
    found: dict[tuple[str, str], list[str]] = {}
    number: dict[tuple[str, str], int] = {}
    for one in paper.plant.equipment.values():
        if isinstance(one, LISTED_APART) or (abilities and not any(map(one.can, abilities))):
            continue
        same = (one.title, "" if one.can("controls") else key_figure(one, paper.units))
        found.setdefault(same, []).append(one.id)
        number[same] = number.get(same, 0) + one.count
    rows = [(number[k], k[0], k[1], ", ".join(tags)) for k, tags in found.items()]
    paper.table(("how many", "what", "each", "tags"), rows)


def farmer(paper: Paper, issue: Issue) -> None:
    """What you get, what it does in a day, what can go wrong, what it needs from you."""
    paper.head("First: what is not right or not settled yet")
    reader_farmer.worst(paper)
    paper.head("What you get")
    _machines(
        paper,
        ("stands cows", "gives milk", "makes vacuum", "moves milk", "cools milk", "makes cold",
         "stores milk", "heats water", "generates power", "makes air", "gives wash", "controls"),
    )  # fmt: skip
    paper.head("What it does in a day")
    if paper.of_result("milkings", ("milking", "begun", "last off", "time", "cows", "milk",
                                    "clean at"), 6):  # fmt: skip
        reader_farmer.day(paper)
    else:
        paper.points(finding_in(f, paper.units).sentence for f in headlines(paper.results))
        paper.text(f"The simulated day: {NOT_ASKED}")
    paper.head("What can go wrong, and what then")
    if not reader_farmer.failures(paper):
        paper.text(NOT_ASKED)
    paper.head("What it needs from you")
    reader_farmer.needs(paper)
    paper.cautions("animals", "food", "chemicals", "hot_water", "pits", first=False)


def builder(paper: Paper, issue: Issue) -> None:
    """What must be built, where and when, with the plan."""
    made = sited(paper.plant)
    if made is None:
        paper.text(NO_PLAN)
    else:
        unit = "Feet" if paper.units == "US" else "Metres"
        paper.text(f"{unit} east and north of the middle of the deck or pit; levels over the "
                   "operator's floor. Each group says by when it must be there.")  # fmt: skip
        groups: dict[str, list[Sequence[str | float]]] = {}
        for row in in_rows(builders_list(paper.plant, made))[1:]:
            groups.setdefault(str(row[0]), []).append(row[1:])
        for group, many in groups.items():
            paper.head(GROUP_WORDS[group])
            paper.text(f"Ready {many[0][-1]}.")
            paper.table(
                ("what", "where", "east", "north", "level", "size or amount"),
                [r[:6] for r in many], units=("", "", "m", "m", "m", ""),
                places=dict.fromkeys((2, 3, 4), 2),
            )  # fmt: skip
    paper.text("Loads, slabs, drainage, gas-tightness of pits and ventilation are designed by "
               "licensed people to local codes; these are the plant's needs.")  # fmt: skip
    paper.cautions("pits", "rotating")
    _plan(paper, issue, "P6", "P1", "P2", "P3", "P4", "P5")


def _by_size(one: Item) -> tuple[str, str, float]:
    return one.title, str(one.figures.get("service", "")), float(one.figures.get("bore_mm", 0.0))


def _valves(plant: Plant) -> list[tuple[str, str, str, str]]:
    """Every valve by its tag: what it is for, service and bore, and its kind."""
    kinds = {t: i for i in count(plant) if i.group == "valves" for t in i.tags}
    return [
        (one.id, one.title, kinds[one.id].plate, kinds[one.id].title)
        for one in plant.equipment.values() if isinstance(one, IsValve | PassesOneWay)
    ]  # fmt: skip


def fitter(paper: Paper, issue: Issue) -> None:
    """Pipe by room, fittings, valves, falls, supports, tests, and the sketches."""
    made = sited(paper.plant)
    paper.head("Before the first cut")
    paper.points(
        [
            "Measure each run: lengths here come from the plan unless the list says measured.",
            "Milk, wash and vacuum fall towards their drain over their whole length.",
            "Weld or join milk lines flush and crevice-free, and flush out what was left inside.",
            "Test each line tight before it is hidden, at the pressure its maker and the local "
            "code state; vacuum lines also by their fall with the pumps off.",
        ]
    )
    if made is not None:
        from byrewright.documents.plan_pipes import pipe_list

        heads, *rows = pipe_list(paper.plant, made)
        at = [list(heads).index(h) for h in ("pipe", "service", "from", "to", "bore mm", "length m",
                                             "length is", "cut m", "bends", "supports",
                                             "least fall %", "runs empty")]  # fmt: skip
        rooms: dict[str, list[list[str | float | int]]] = {}
        for row in rows:
            rooms.setdefault(str(row[1]), []).append([row[i] for i in at])
        paper.text("Behind each length: m measured, p from the plan, g guessed. Cut: what bends "
                   "take is off. Levels, high and low points stand in the sketches.")  # fmt: skip
        for room, many in rooms.items():
            paper.head(f"Pipes: {room_words(room)}")
            for one in many:
                one[6] = {"measured": "m", "from the plan": "p"}.get(str(one[6]), "g")
                one[11] = str(one[11]).removeprefix("empties to ")
            paper.table(
                ("pipe", "service", "from", "to", "bore", "length", "", "cut", "bends", "supports",
                 "fall", "empties to"), many,
                units=("", "", "", "", "mm", "m", "", "m", "", "", "%", ""), places={5: 2, 7: 2},
            )  # fmt: skip
    items = count(paper.plant)
    paper.head("Fittings")
    paper.table(("what", "for", "count"),
                [(i.title, i.plate, i.amount) for i in sorted(items, key=_by_size)
                 if i.group == "fittings"])  # fmt: skip
    paper.head("Valves")
    paper.table(("tag", "what", "for", "kind"), _valves(paper.plant))
    paper.head("Supports")
    paper.table(("what", "for", "count"), [(i.title, i.plate, i.amount)
                for i in sorted(items, key=_by_size) if i.group == "supports"])  # fmt: skip
    paper.cautions("pressure", "vacuum", "hot_water", "pits")
    _drawing(paper, issue, "milk", "vacuum", "water", "air")
    _plan(paper, issue, "P3", "S")


def electrician(paper: Paper, issue: Issue) -> None:
    """Motors, boards, cables, load steps, lock-outs, earthing; a licensed person confirms."""
    paper.text("Every size here is a first guess for a licensed electrician, who confirms or "
               "changes it by the local code before anything is bought.")  # fmt: skip
    paper.head("Boards and supply: what does not hold, and what does")
    paper.findings(("power",))
    paper.of_result("power.feeders", ("from", "to", "usual", "worst", "with this lost",
                                      "breaker and cable"))  # fmt: skip
    paper.head("Motors and heaters")
    paper.of_result("power.motors", ("tag", "machine", "count", "rated, each", "start",
                                     "start, each", "fed from"))  # fmt: skip
    made = sited(paper.plant)
    if made is not None:
        paper.head("Cables")
        section = "" if paper.units == "US" else SECTION
        paper.table(
            ("from", "to", "what", "supply", "current", "breaker", "section", "length",
             "drop from the supply"),
            [(c.way.board, c.way.tag, c.title, "second" if c.second else "first",
              c.amps or "-", c.breaker_a or "-", section_in(section_words(c), paper.units),
              c.way.length_m, c.total_pct if c.amps else "-")
             for c in cables_of(paper.plant, made)],
            units=("", "", "", "", "A", "A", section, "m", "%"),
        )  # fmt: skip
    steps = {t.key.rpartition(".")[2]: t for t in paper.results.tables if ".start_order." in t.key}
    for source, table in steps.items():
        paper.head(f"Load steps on {source}, in this order")
        paper.table(table.columns, table.rows, units=table.units)
    paper.head("Change-over")
    paper.points(
        [
            "Mains and standby are interlocked mechanically and electrically: the standby can "
            "never feed the mains. Prove it by trying.",
            "Where a board has two feeds, only one is closed at a time unless the network agrees.",
            "After a loss of power nothing that turns starts by itself near people.",
        ]
    )
    turns = bool(paper.plant.able("turns deck"))
    paper.head("Earthing, bonding and stray voltage")
    paper.points(
        [
            f"Bond {'deck, rails, ' if turns else ''}stalls, reinforcement, milk and water pipes "
            "and troughs together, and the bond to the earth bar"
            + ("; across the turning deck through its own brush." if turns else "."),
            "Measure between points that a cow can touch at once, hoof to muzzle and hoof to "
            "udder, with all loads on, with each drive started, and on standby power. Write the "
            "values down; what is allowed is for the local code and the vet.",
            "Measure earth resistance, insulation, loop impedance and residual current devices.",
        ]
    )
    paper.head("Lock-outs")
    paper.table(
        ("tag", "machine", "energies", "isolated at"), lists.isolation(paper.plant, paper.units)
    )
    paper.cautions("electricity", "generator", "rotating")
    _drawing(paper, issue, "power")
    _plan(paper, issue, "E1")


def controls(paper: Paper, issue: Issue) -> None:
    """Inputs, outputs, what each mode sets, and the interlocks."""
    rows = input_output(paper.plant)
    counts: dict[str, int] = {}
    for row in rows:
        counts[row[2]] = counts.get(row[2], 0) + int(row[3])
    paper.head("Inputs and outputs")
    paper.points(f"{many} {what}" for what, many in counts.items())
    paper.table(("tag", "signal", "sort", "count", "controller"), rows)
    paper.head("What each mode sets")
    for name, mode in paper.plant.modes.items():
        set_here = [f"{t} {said(p)}" for t, p in mode.positions.items()]
        paper.text(f"{words(name).capitalize()} ({', '.join(map(words, mode.does))})"
                   + (f", like {words(mode.like)}" if mode.like else "") + ": "
                   + (", ".join(set_here) or "as usual") + ".")  # fmt: skip
    paper.head("Interlocks")
    paper.text("They protect milk; they are no safety function. Test sheets, alarm texts and a "
               "draft for the controller come with the command byrewright interlocks.")  # fmt: skip
    if not paper.of_result("routes.interlocks", ("row", "alarm when", "in modes", "it then acts on",
                                                 "priority", "delay")):  # fmt: skip
        paper.text(f"The table: {NOT_ASKED}")
    paper.head("What the study of wrong positions found")
    paper.findings(("routes",))
    paper.head("Position sensors that see every wrong position")
    paper.of_result("routes.sensors", ("machine", "what", "state", "why"))
    paper.cautions("rotating", "electricity")


def _amounts(paper: Paper, items: Sequence[Item]) -> list[tuple[str, str, str]]:
    """Counted things with their amount in the reader's units."""
    return [
        (i.title, i.plate,
         f"{i.amount:g}" if i.unit == "each" else quantity(round(i.amount, 1), "m", paper.units))
        for i in items
    ]  # fmt: skip


def refrigeration(paper: Paper, issue: Issue) -> None:
    """What makes and carries cold, what it is held to, and the drawing."""
    paper.head("Machines")
    _machines(paper, ("cools milk", "makes cold", "buffers cold", "takes expansion", "stores milk",
                      "recovers heat"))  # fmt: skip
    paper.head("What cooling is held to")
    paper.findings(("cooling", "cooler", "storage", "tank", "chilled", "recovery"))
    cold = ("coolant", "refrigerant")
    coolant = [i for i in count(paper.plant) if i.figures.get("service") in cold]
    paper.head("Pipe, fittings and valves of the cold side")
    paper.table(("what", "figures", "amount"), _amounts(paper, coolant))
    paper.text("Refrigerant, its charge, leak tests and relief are the certified firm's own work "
               "and by its own papers.")  # fmt: skip
    paper.cautions("refrigerant", "pressure", "electricity")
    _drawing(paper, issue, "water")


def inspector(paper: Paper, issue: Issue) -> None:
    """Hygiene: what touches milk, where it could stand, temperatures, and proof of the wash."""
    paper.head("What touches milk")
    paper.text("The plant file states no materials: ask the maker of each part below for its "
               "statement of materials in contact with food.")  # fmt: skip
    milk = [i for i in count(paper.plant) if i.figures.get("service") in ("milk", "wash")]
    paper.table(("what", "figures", "amount"), _amounts(paper, milk))
    paper.head("Drains, falls and dead ends")
    paper.findings(("milkline", "place.low_point", "place.gravity", "place.trip",
                    "place.turning_gap", "place.gutter", "place.fall_room"))  # fmt: skip
    if not any(f.key.startswith("place.") for f in paper.results.findings):
        paper.text(f"Low points and falls on the plan: {NOT_ASKED}")
    paper.head("Milk against wash and water")
    if any(f.key.startswith("routes") for f in paper.results.findings):
        paper.findings(("routes",))
    else:
        paper.text(f"Wrong valves: {NOT_ASKED}")
    paper.head("Temperatures")
    paper.findings(("cooling", "storage", "day"), open_only=True)
    told = ("day.milk_temperature_1", "day.milk_temperature_2", "day.wash_start", "day.wash_return")
    paper.points(finding_in(f, paper.units).sentence for f in paper.results.findings
                 if f.key in told)  # fmt: skip
    if paper.results.days_are_of:
        paper.text(paper.results.days_are_of)
    paper.head("Proof of the wash")
    paper.findings(("wash", "cleaning"))
    paper.of_result("wash.steps", ("step", "what it is", "water", "temperature", "time",
                                   "product"))  # fmt: skip
    paper.of_result("wash.chemicals", ("product", "a wash", "a day", "a month"))
    paper.head("Wrong valves that would spoil or lose milk, and what sees them")
    paper.of_result("routes.single", ("wrong", "does", "at", "loses", "unit", "seen by"))
    paper.cautions("food", "chemicals")
    _drawing(paper, issue, "milk")


def milker(paper: Paper, issue: Issue) -> None:
    """Start-up, milking, wash, alarms, and a card for each failure that needs hands."""
    plant = paper.plant
    turns = plant.first(JoinsDeck) is not None
    paper.head("Start-up")
    paper.points(
        [
            "Walk round: nobody below the deck or in its way, guards on, stops pulled out and "
            "tried."
            if turns
            else "Walk round: nobody in the way of gates, guards on.",
            "Filter in, drains shut, tank valve on the right tank, wash disconnected or shut off.",
            "Vacuum on: wait for its steady value; listen for air.",
            "Sound the warning, then start the deck." if turns else "Let the first cows in.",
        ],
        numbered=True,
    )
    usual = next((n for n, m in plant.modes.items() if "milking" in m.does), None)
    if usual is not None:
        paper.head(f"Valves turned by hand, as they stand for {words(usual)}")
        paper.table(("tag", "what", "stands"), by_hand(plant, usual))
        paper.head("Where other modes differ by hand")
        paper.table(("mode", "turn"), differs_by_hand(plant, usual))
    paper.head("What each alarm or sign means")
    paper.table(("you see", "it may be", "do"), alarm_rows(plant))
    paper.cautions("animals", "rotating", "chemicals", "hot_water", "food")
    ranked = table_of(paper.results, "failures.ranked")
    to_do = table_of(paper.results, "failures.to_do")
    paper.head("On the wall: failures that need hands")
    if ranked is None or to_do is None:
        paper.text(NOT_ASKED)
        return
    acts = {str(r[ranked.columns.index("failure")]): r[ranked.columns.index("acts take")]
            for r in ranked.rows}  # fmt: skip
    cards = []
    for row in to_do.rows:
        failure, seen, done = (
            str(row[to_do.columns.index(c)]) for c in ("failure", "seen", "done")
        )
        minutes = acts.get(failure, 0.0)
        if isinstance(minutes, int | float) and minutes > 0:
            steps = [told_by_name(plant, s[:1].upper() + s[1:])
                     for s in (s.strip(" .;") for s in numbered(done))]  # fmt: skip
            title, tag = told_by_name(plant, failure), failure.partition(" ")[0]
            cards.append((title, seen, steps, small_plan(plant, tag)))
    paper.cards(cards)


def service(paper: Paper, issue: Issue) -> None:
    """Items and intervals, parts, and the settings as they were left."""
    paper.head("What is due, and how often")
    paper.table(("what", "on", "every"), upkeep_rows(paper.plant, paper.rules))
    paper.head("Parts on the shelf")
    if paper.of_result("failures.shelf", ("part", "of", "fits", "failures take")):
        paper.text("What is changed at its time, such as socks, liners and seals, comes on top.")
    else:
        paper.text(NOT_ASKED)
    paper.head("Taken out for service during milking")
    if paper.of_result("failures.service", ("tag", "machine", "can be out",
                                            "before it goes out, or why not")):  # fmt: skip
        paper.text(OUT_NOTE)
    paper.head("Settings as designed; write in what was left")
    rows = []
    for one in paper.plant.equipment.values():
        for p in type(one).parameters():
            if p.name.startswith(("set_", "led_at", "stop_", "start_at", "switch_")):
                value = getattr(one, p.name)
                if isinstance(value, int | float):
                    rows.append((one.id, p.meaning, f"{value:g} {p.unit}".strip(), ""))
    paper.table(("tag", "setting", "designed", "as left"), rows)
    paper.head("Machines")
    _machines(paper)
    paper.cautions("electricity", "vacuum", "pressure", "rotating", "pits")


READERS: Mapping[str, Reader] = {
    "farmer": Reader("For the farmer", "What you get, what it does in a day, what can go wrong and "
                     "what it needs from you.", ("sizing", "day", "failures"), farmer),
    "builder": Reader("For the builder", "What must stand before the plant comes, where and how "
                      "strong.", ("sizing",), builder),
    "fitter": Reader("For the pipe fitter", "Pipe by room, fittings, valves, supports, falls and "
                     "tests; drawings and sketches at the end.", ("sizing",), fitter),
    "electrician": Reader("For the electrician", "Loads, boards, cables, steps, lock-outs and "
                          "bonding. A licensed person confirms all of it.", ("sizing",),
                          electrician),
    "controls": Reader("For controls", "Inputs and outputs, modes, interlocks.",
                       ("sizing", "routes"), controls),
    "refrigeration": Reader("For refrigeration", "What makes and carries cold, and what it is held "
                            "to.", ("sizing",), refrigeration),
    "inspector": Reader("For the inspector", "What touches milk, how it drains, how cold it is "
                        "kept and how the wash is proven.", ("sizing", "day", "routes"), inspector),
    "milker": Reader("For the people who milk", "How to start, milk, change over and wash, and "
                     "what to do when something fails.", ("sizing", "failures"), milker),
    "service": Reader("For service", "What is due, which parts, and the settings.",
                      ("sizing", "failures"), service),
}  # fmt: skip
"""Readers in the order of their papers; the engineer's file is the report itself."""
