"""The paper of whoever owns the plant and did not design it: plain words, the figures of a day."""

from __future__ import annotations

from byrewright.documents.format import number, quantity
from byrewright.documents.papers import Paper, table_of
from byrewright.documents.readers_work import named, upkeep_by_interval
from byrewright.documents.us_units import finding_in
from byrewright.plant.plant import Plant
from byrewright.plant.roles import SuppliesPower
from byrewright.results import VERDICTS, Finding

WORST_SHOWN, LIKELY_SHOWN = 6, 8
TOLD_MOST = 260
"""Letters of the longest sentence that is told whole."""
OF_A_DAY = {
    "day.cows_an_hour": "{value} cows an hour, from the first cow on to the last, stops included.",
    "day.yard_wait": "The last cow of a group waits {value} in the yard. Smaller groups wait less.",
    "day.milk_temperature_1": "",
    "day.energy_1000_l": "Electricity: {value} of milk.",
    "day.energy_cost": "Electricity costs {value} a day by the tariff stated.",
    "day.water_day": "Fresh water: {value} a day.",
    "day.labour": "Work in the parlour: {value} a day, everybody's hours together.",
}
"""What is told of the simulated day, in this order; "" tells the study's own sentence."""
OPEN = {
    "milkline.units_per_slope": "your engineer still has to look up in the standard how many units "
    "the milkline may have to a slope.",
    "vacuum.milkline.table": "your engineer still has to look up in the standard how many units "
    "the milkline may have to a slope.",
    "wash.missed": "some lines are not washed by the plant wash; agree with your engineer how they "
    "are cleaned.",
}
"""What is not judged, as an owner would be told."""


def worst(paper: Paper) -> None:
    """What does not hold, the worst first."""
    open_ones = sorted((f for f in paper.results.findings if f.verdict != "holds"),
                       key=lambda f: VERDICTS.index(f.verdict))  # fmt: skip
    alike: dict[tuple[str, str], list[Finding]] = {}
    for one in open_ones:
        alike.setdefault((one.key, one.verdict), []).append(one)
    points = list(dict.fromkeys(_point(paper, many) for many in alike.values()))
    paper.points(points[:WORST_SHOWN])
    if len(points) > WORST_SHOWN:
        paper.text(f"And {len(points) - WORST_SHOWN} more in the engineer's report.")
    if not open_ones:
        paper.text("Nothing that was looked at fails, is tight or is unknown.")


def _point(paper: Paper, many: list[Finding]) -> str:
    first = many[0]
    label = named(paper.plant, first.label)
    if len(many) > 1:
        label = f"{', '.join(dict.fromkeys(f.title for f in many))} ({len(many)})"
    if first.verdict == "unknown":
        said = OPEN.get(first.key, f"{label}. Your engineer can say what is missing.")
        return f"Not settled yet: {said}"
    if first.verdict == "tight":
        return f"Enough, with little to spare: {label}."
    if len(many) > 1:
        return f"Does not hold: {label}: see the engineer's report."
    said = finding_in(first, paper.units).sentence
    if len(said) > TOLD_MOST:  # an owner needs its point, the engineer's file has the rest
        said = said.partition(". ")[0].rstrip(".") + "."
    return f"Does not hold: {named(paper.plant, said)}"


def day(paper: Paper) -> None:
    """The figures of the simulated day."""
    found = {f.key: f for f in paper.results.findings}
    points = []
    for key, words in OF_A_DAY.items():
        if key not in found:
            continue
        one = finding_in(found[key], paper.units)
        if not words or one.value is None:
            points.append(f"Milk: {one.sentence[:1].lower()}{one.sentence[1:]}" if not words
                          else one.sentence)  # fmt: skip
            continue
        whole = one.unit in ("1/h", "min")
        figure = round(one.value) if whole else round(one.value, 1)
        value = number(figure) if one.unit == "1/h" else quantity(figure, one.unit, paper.units)
        points.append(words.format(value=value))
    paper.points(points)
    if paper.results.days_are_of:
        paper.text(paper.results.days_are_of)


def failures(paper: Paper) -> bool:
    """What holds milking up longest, and what that comes to in a year; False where not asked."""
    ranked = table_of(paper.results, "failures.ranked")
    if ranked is None:
        return False
    heads = ("failure", "milking", "last cow later by", "milk lost")
    at = [ranked.columns.index(c) for c in heads]
    paper.text("What would hold you up longest, if it came at the worst moment. "
               "\"By hand\" means that milking continues once somebody has done what the wall "
               "sheet "
               "for the people who milk says.")  # fmt: skip
    paper.table(
        heads,
        [(named(paper.plant, str(r[at[0]])), *(r[i] for i in at[1:]))
         for r in ranked.rows[:LIKELY_SHOWN]],
        units=[ranked.units[i] for i in at],
    )  # fmt: skip
    found = {f.key: f for f in paper.results.findings}
    points = []
    stops = found.get("failures.single_stop")
    if stops is not None:
        said, _, rest = finding_in(stops, paper.units).sentence.partition(" Not counted:")
        points.append(said)
        if rest:
            points.append("Two things are left aside here: stops that keep people safe, which are "
                          "meant to stop it, and vessels and headers that have no spare and are "
                          "inspected instead.")  # fmt: skip
    hours, litres = found.get("failures.hours_year"), found.get("failures.litres_year")
    if hours is not None and litres is not None:
        lost = [quantity(hours.value, "h", paper.units), quantity(litres.value, "L", paper.units)]
        points.append(f"Over the years, failures cost about {lost[0]} of milking and {lost[1]} of "
                      "milk a year. Two failures at once, burst pipes, fire, flood and lightning "
                      "are not in these figures.")  # fmt: skip
    paper.points(points)
    return True


def supply_told(plant: Plant) -> str:
    """The supply that the plant is drawn with, and whether the site has so much."""
    drawn = sum(m.supply_kva * m.count for m in plant.machines(SuppliesPower))
    site = plant.site.supply
    kva = drawn if site.limit_kva is None else site.limit_kva
    if not kva:
        return "Power: no supply is drawn; ask the network what is to be had."
    ask = "" if site.limit_kva else "; ask the network whether it is to be had"
    return f"Power: a supply of {kva:g} kVA, {site.phases} phases{ask}."


def needs(paper: Paper) -> None:
    """People, power, what comes round by the calendar, and what to keep on the shelf."""
    plant = paper.plant
    people = max((m.operators for m in plant.milkings), default=1)
    paper.points(
        [
            f"People: {people} at each of {len(plant.milkings)} milkings a day.",
            supply_told(plant),
            *(f"Every {every}. {'; '.join(items)}." for every, items
              in upkeep_by_interval(plant, paper.rules, most_days=31)),
        ]
    )  # fmt: skip
    if table_of(paper.results, "failures.shelf") is not None:
        paper.text("Spare parts to keep on the farm, those that save most time first:")
        paper.of_result("failures.shelf", ("part", "of", "fits"), 8)
