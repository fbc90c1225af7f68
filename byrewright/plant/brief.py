"""The brief: about twenty lines in the farm's own words. What is left out is assumed, and said."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from byrewright.plant import climates
from byrewright.plant.decided import DraftedAgain
from byrewright.plant.farm import (
    FEWEST_ON_A_DECK,
    Cleaning,
    Clock,
    Collection,
    Group,
    Herd,
    Milking,
    MilkOutTime,
    Redundancy,
    Site,
    Supply,
    Twelve,
    Wishes,
    Work,
    clock,
    names_by_start,
)
from byrewright.plant.plant_id import made_id
from byrewright.plant.problems import BriefError, problem, show
from byrewright.plant.record import Record, par
from byrewright.plant.source import Source, load, read_text
from byrewright.plant.translate import validate
from byrewright.results import Assumption
from byrewright.standards.electrical import usual_supply

FORMAT = 1
STARTS: Mapping[int, tuple[str, ...]]
STARTS = {1: ("06:00",), 2: ("05:00", "16:00"), 3: ("05:00", "13:00", "21:00")}
MOST_MILKINGS = 6
TANKER_L = 26000.0
"""An articulated tanker (common practice, no source)."""
WITHHELD_SHARE = 0.015
"""Cows under treatment or just calved, as a share of the herd (common practice, no source)."""
CALF_L_COW_DAY = 0.6
"""Calf milk, litres a day for each cow: 8 calves to 100 cows at 8 L (common practice)."""

Recovery = Literal["none", "desuperheater", "condenser"]
Cooling = Literal["ice_bank", "direct_expansion", "chilled_water", "glycol", "inline_and_silo"]


class WaterSource(Record):
    """The water to be had."""

    origin: Literal["spring", "well", "borehole", "mains"] = par(
        "", "where it comes from", "borehole", why="not stated"
    )
    flow_l_min: float | None = par("L/min", "most it gives", None, ge=1, le=10000)
    temperature_c: Twelve = par("degC", "temperature by month, or one number")


class Brief(DraftedAgain):
    """What the farm says. Only the cows and their yield are needed."""

    brief: Literal[1] = par("", "version of this format", FORMAT)
    farm: str = par("", "name of the farm or project", "(unnamed farm)", why="not stated")
    id: str | None = par("", "id the site log goes by; made from the name if not stated", None)
    cows: int = par("", "cows in milk", ge=4, le=20000)
    yield_l_day: float = par("L/d", "milk a cow a day, mean", ge=1, le=100)
    yield_spread: float = par("", "standard deviation of yield between cows, share of the mean",
                              0.3, ge=0, le=1, why="usual between cows of one herd")  # fmt: skip
    milk_out_time_s: MilkOutTime | None = par("", "unit-on time, mean and spread", None)
    groups: tuple[Group, ...] = par("", "groups with their cows, or how many alike", ())
    withheld_cows: int = par("", "cows whose milk is withheld", ge=0, le=2000)
    milkings: tuple[Clock, ...] = par("", "start of each milking, or how many a day")
    target_h: float = par("h", "time for one milking", ge=0.3, le=24)
    operators: int = par("", "people milking", 2, ge=1, le=20,
                         why="one prepares and attaches, one watches and sprays")  # fmt: skip
    collections: tuple[Collection, ...] = par("", "tanker visits")
    calf_milk_l_day: float = par("L/d", "milk fed to calves a day", ge=0, le=50000)
    water_source: WaterSource = par("", "where water comes from, its flow and temperature")
    climate: Literal["cool", "temperate", "warm", "hot"] = par(
        "", "climate, where ambient_c is not given", "temperate", why="not stated"
    )
    ambient_c: Twelve = par("degC", "mean ambient by month")
    hemisphere: Literal["north", "south"] = par(
        "", "half of the world, for the seasons of a climate", "north",
        why="no latitude and no southern region stated")  # fmt: skip
    latitude_deg: float | None = par(
        "", "latitude, south of the equator negative; decides the hemisphere", None, ge=-66, le=72
    )
    hottest_c: float = par("degC", "hot afternoon that cooling must stand", ge=5, le=55)
    coldest_c: float | None = par("degC", "coldest night", None, ge=-60, le=30)
    room_heated_to_c: float | None = par(
        "degC", "least temperature of the rooms; 5 degC where frost comes", None, ge=0, le=30
    )
    water_hardness_mmol_l: float | None = par("mmol/L", "hardness of the water", None, ge=0, le=15)
    altitude_m: float = par(
        "m", "height above sea level", 100.0, ge=-400, le=4500, why="not stated"
    )
    region: str = par(
        "", "whose milk-temperature rules apply", "EU", why="not stated: the first of the rule sets"
    )
    supply: Supply | None = par("", "electricity: phases, voltage, limit and tariff", None)
    currency: str = par("", "currency of prices", "EUR", why="not stated")
    wage_h: float | None = par("", "cost of an hour's work", None, ge=0, le=500)
    deck: Literal["steel", "concrete"] = par(
        "", "what a rotary deck is made of", "steel", why="not stated: the lighter deck"
    )
    cow_mass_kg: float = par("kg", "mean mass of a cow", 680.0, ge=200, le=1200,
                             why="large breeds; Jerseys weigh about two thirds of it")  # fmt: skip
    layout: Literal["rotary", "rows"] = par(
        "", "layout (rotary, or fixed rows)", "rotary", why="not stated: rotaries first"
    )
    rows: int = par("", "rows of fixed stalls (1 for a rotary)", ge=1, le=4)
    stalls: int | None = par("", "stalls; proposed where not given", None, ge=4, le=200)
    redundancy: Redundancy = par("", "redundancy of each duty", "shared-running",
                                 why="no single failure should stop milking")  # fmt: skip
    no_single_stop: bool = par(
        "", "no single failure may stop milking", True, why="the usual wish of large herds"
    )
    standby_power: Literal["none", "automatic", "tractor"] = par(
        "", "standby power", "automatic", why="the usual wish of large herds"
    )
    reserve_h: float = par("h", "milk storage beyond the next collection", 12.0, ge=0, le=96,
                           why="a tanker half a day late")  # fmt: skip
    go_round_share: float = par("", "share of cows that may go round twice", 0.10, ge=0, le=0.5,
                                why="high-yield herds aim at 5-10 %")  # fmt: skip
    budget: Literal["lean", "balanced", "generous"] = par(
        "", "first cost against running cost", "balanced", why="not stated"
    )
    cooling: Cooling | None = par("", "how milk is cooled; proposed where not given", None)
    heat_recovery: Recovery = par("", "heat of refrigeration for wash water", "none",
                                  why="not asked for")  # fmt: skip
    direct_loading: bool = par(
        "", "milk may go straight to tankers", False, why="not stated: milk goes to tanks"
    )
    milk_out_c: float | None = par(
        "degC", "wished milk temperature into the tank", None, ge=1, le=38
    )
    vacuum_kpa: float = par("kPa", "working vacuum at the receiver", 42.0, ge=30, le=50,
                            why="a usual setting of low lines")  # fmt: skip
    cleaning: Cleaning | None = par("", "how the plant is washed", None)

    def site_part(self) -> Site:
        """The site of the plant."""
        stated: dict[str, Any] = {} if self.supply is None else {"supply": self.supply}
        return Site(
            name=self.farm, id=self.id or made_id(self.farm), region=self.region,
            altitude_m=self.altitude_m, water_temperature_c=self.water_source.temperature_c,
            ambient_c=self.ambient_c, hottest_c=self.hottest_c, coldest_c=self.coldest_c,
            room_heated_to_c=self.room_c(), currency=self.currency,
            water_hardness_mmol_l=self.water_hardness_mmol_l, **stated,
        )  # fmt: skip

    def room_c(self) -> float | None:
        """What the rooms are held at: as stated, or above frost where the coldest month has it."""
        if self.room_heated_to_c is not None:
            return self.room_heated_to_c
        return climates.ROOM_C if min(self.ambient_c) < climates.FROST_MONTH_C else None

    def herd_part(self) -> Herd:
        """The herd of the plant; withheld cows are put in the last group to be milked."""
        groups = self.groups or (Group(name="herd", cows=self.cows),)
        if self.withheld_cows and not any(g.withheld_cows for g in groups):
            last = groups[-1].model_copy(update={"withheld_cows": self.withheld_cows})
            groups = (*groups[:-1], last)
        times = self.milk_out_time_s
        stated: dict[str, Any] = {} if times is None else {"milk_out_time_s": times}
        if "cow_mass_kg" in self.model_fields_set:
            stated["cow_mass_kg"] = self.cow_mass_kg
        return Herd(cows=self.cows, yield_l_day=self.yield_l_day, yield_spread=self.yield_spread,
                    groups=groups, **stated)  # fmt: skip

    def milkings_part(self) -> tuple[Milking, ...]:
        """The milkings of the plant, named by the time of day."""
        return tuple(
            Milking(name=name, start=start, target_h=self.target_h, operators=self.operators)
            for name, start in zip(names_by_start(self.milkings), self.milkings, strict=True)
        )

    def work_part(self) -> Work:
        """The milking routine of the plant."""
        return Work() if self.wage_h is None else Work(wage_h=self.wage_h)

    def cleaning_part(self) -> Cleaning:
        """How the plant is washed: after each milking where nothing else is said."""
        return self.cleaning or Cleaning(washes_a_day=min(6, len(self.milkings)))

    def wishes_part(self) -> Wishes:
        """What findings are held to."""
        wish = self.milk_out_c
        stated: dict[str, Any] = {} if wish is None else {"milk_out_c": wish}
        return Wishes(
            redundancy=self.redundancy, no_single_stop=self.no_single_stop, budget=self.budget,
            reserve_h=self.reserve_h, standby_power=self.standby_power,
            go_round_share=self.go_round_share, **stated,
        )  # fmt: skip


_SAME = {
    "site": ("ambient_c", "hottest_c", "room_heated_to_c", "altitude_m", "region", "currency"),
    "herd": ("yield_spread", "groups", "cow_mass_kg"),
    "wishes": ("redundancy", "no_single_stop", "standby_power", "reserve_h", "go_round_share",
               "budget"),
}  # fmt: skip
WHERE: Mapping[str, str] = {
    **{name: f"{part}.{name}" for part, names in _SAME.items() for name in names},
    "farm": "site.name",
    "withheld_cows": "herd.groups",
    "milkings": "milkings",
    "climate": "site.ambient_c",
    "hemisphere": "site.ambient_c",
    "collections": "collections",
    "supply": "site.supply",
    "cleaning": "cleaning.washes_a_day",
    "temperature_c": "site.water_temperature_c",
}
"""The place in the plant file to which a line of the brief goes; others keep `brief.name`."""


@dataclass(frozen=True)
class BriefFile:
    """A brief, complete, with what was assumed where it said nothing.

    Each assumption's `where` is the place in the plant file that it fills.
    """

    brief: Brief
    path: Path | None
    name: str
    assumptions: tuple[Assumption, ...]
    source: Source = field(repr=False)


def read_brief(path: str | Path) -> BriefFile:
    """Read a brief.

    Raises:
        BriefError: with one `Problem` for each thing wrong, in file order. Nothing else.
    """
    found = read_brief_text(read_text(path, BriefError), str(path))
    return BriefFile(found.brief, Path(path), found.name, found.assumptions, found.source)


def read_brief_text(text: str, name: str = "brief.yaml") -> BriefFile:
    """Read a brief from text; `name` stands for the file in messages.

    Raises:
        BriefError: with one `Problem` for each thing wrong, in file order. Nothing else.
    """
    source = load(text, name, BriefError, "cows: 500")
    version = source.data.get("brief", FORMAT)
    if version != FORMAT or isinstance(version, bool | float):
        source.add("F030", ("brief",), found=show(version), allowed=str(FORMAT))
        source.stop(BriefError)
    filler = _Filler(source)
    brief = validate(Brief, filler.filled(), source, ())
    if brief is not None:
        _cross_check(brief, source)
    source.stop(BriefError)
    if brief is None:
        raise BriefError([problem("F024", file=name, found="the file", allowed="a brief")])
    return BriefFile(brief, None, name, filler.all_assumptions(brief), source)


def _cross_check(brief: Brief, source: Source) -> None:
    total = sum(g.cows for g in brief.groups)
    if brief.groups and total != brief.cows:
        source.add("C002", ("groups",), found=total, allowed=brief.cows)
    withheld = sum(g.withheld_cows for g in brief.groups)
    if brief.withheld_cows > brief.cows:
        source.add("C003", ("withheld_cows",), found=brief.withheld_cows, allowed=brief.cows)
    if withheld and withheld != brief.withheld_cows:
        source.add("C015", ("withheld_cows",), found=withheld, allowed=brief.withheld_cows)
    for start in brief.milkings:
        if brief.milkings.count(start) > 1:
            source.add("C007", ("milkings",), found=start)
            break
    if brief.layout == "rotary" and brief.stalls and brief.stalls < FEWEST_ON_A_DECK:
        source.add("F029", ("stalls",), why=f"{brief.stalls} stalls are too few for a rotary: its "
                   f"roller track takes {FEWEST_ON_A_DECK} or more. Say `layout: rows`, or more "
                   "stalls")  # fmt: skip


class _Filler:
    """Completes the lines that a brief left out, or wrote short, and notes each assumption."""

    def __init__(self, source: Source) -> None:
        self.source = source
        self.stated: dict[str, Any] = source.data
        self.data: dict[str, Any] = dict(source.data)
        self.notes: list[Assumption] = []

    def assume(
        self, key: str, value: Any, said: float | str, unit: str, meaning: str, why: str
    ) -> None:
        """Fill in a line and note it."""
        self.data[key] = value
        self.note(key, said, unit, meaning, why)

    def note(self, key: str, said: float | str, unit: str, meaning: str, why: str) -> None:
        self.notes.append(Assumption(_where(key), meaning, said, unit, why))

    def filled(self) -> dict[str, Any]:
        """The brief's data with every line that has no plain default filled in."""
        self.weather()
        self.electricity()
        self.water()
        self.milking_times()
        self.herd_groups()
        self.tankers()
        if self.stated.get("redundancy") == "none" and "no_single_stop" not in self.data:
            self.assume("no_single_stop", False, "no", "", "no single failure may stop milking",
                        "no second machines are wished")  # fmt: skip
        if "rows" not in self.data:
            self.data["rows"] = 2 if self.data.get("layout") == "rows" else 1
        return self.data

    def all_assumptions(self, brief: Brief) -> tuple[Assumption, ...]:
        """Those filled in here and the plain defaults, in the brief's order."""
        plain = [
            Assumption(_where(p.name), p.meaning, _said(p.default), p.unit, p.why, p.known)
            for p in brief.defaulted()
            if p.name not in ("climate", "latitude_deg")
            and not (p.name == "hemisphere" and "ambient_c" in self.stated)
            and not (p.name == "deck" and brief.layout != "rotary")
        ]  # fmt: skip
        if brief.room_heated_to_c is None and brief.room_c() is not None:
            self.note("room_heated_to_c", climates.ROOM_C, "degC", "least temperature of the rooms",
                      "nights may freeze: water, wash and milk stand there")  # fmt: skip
        if brief.cleaning is None:
            times = brief.cleaning_part().washes_a_day
            self.note("cleaning", times, "", "full plant washes a day", "one after each milking")
        return tuple(dict.fromkeys([*plain, *self.notes]))

    def number(self, key: str, unit: str = "") -> float | None:
        """A stated number, or None where it is missing or wrong (which is told elsewhere)."""
        from byrewright.standards.units import UnitError, parse_quantity

        value = self.stated.get(key)
        if isinstance(value, str) and unit:
            try:
                value = parse_quantity(value, unit)
            except UnitError:
                return None
        if isinstance(value, bool) or not isinstance(value, int | float):
            return None
        return float(value) if math.isfinite(value) and 0 < value < 1e6 else None

    def weather(self) -> None:
        climate = self.stated.get("climate", "temperate")
        known = (
            climate if isinstance(climate, str) and climate in climates.CLIMATES else "temperate"
        )
        months, hottest = climates.CLIMATES[known]
        south = self._south()
        if south:
            months = climates.half_a_year_on(months)
        why = f"round figures for a {known} climate" + (" south of the equator" if south else "")
        if "climate" not in self.stated:
            why = f"climate not stated: {why}"
        if "ambient_c" not in self.data:
            said = ", ".join(f"{v:g}" for v in months)
            self.assume("ambient_c", list(months), said, "degC", "mean ambient by month", why)
        if "hottest_c" not in self.data:
            meaning = "hot afternoon that cooling must stand"
            self.assume("hottest_c", hottest, hottest, "degC", meaning, why)

    def _south(self) -> bool:
        """Whether the farm lies south of the equator."""
        half, why = climates.half_of_the_world(self.stated)
        self.data |= {"hemisphere": half} if half else {}
        if why and "ambient_c" not in self.stated:
            self.note("hemisphere", "south", "", "half of the world, for the seasons of a climate",
                      why)  # fmt: skip
        return self.data.get("hemisphere") == "south"

    def electricity(self) -> None:
        """Voltage and frequency of the region, where the brief does not state them."""
        supply = self.stated.get("supply", {})
        if isinstance(supply, dict) and not {"voltage_v", "frequency_hz"} & set(supply):
            usual = usual_supply(str(self.stated.get("region", "")), supply.get("phases"))
            if usual:
                said = f"{usual['voltage_v']:g} V, {usual['frequency_hz']} Hz"
                why = "usual in the region; the utility says what there is"
                self.assume("supply", {**supply, **usual}, said, "", "electricity", why)

    def water(self) -> None:
        water = self.data.get("water_source", {})
        if not isinstance(water, dict):
            return
        water = dict(water)
        stated = water.get("temperature_c")
        if isinstance(stated, int | float | str) and not isinstance(stated, bool):
            water["temperature_c"] = [stated] * 12
        elif stated is None and "temperature_c" not in water:
            mean = climates.ground_water_c(self.data["ambient_c"])
            water["temperature_c"] = [mean] * 12
            self.note("temperature_c", mean, "degC", "temperature of the water source, all year",
                      "ground water lies near the year's mean ambient")  # fmt: skip
        if "origin" not in water:
            self.note("origin", "borehole", "", "where water comes from", "not stated")
        self.data["water_source"] = water

    def milking_times(self) -> None:
        stated = self.data.get("milkings")
        count = 2 if "milkings" not in self.data else 0 if stated == [] else stated
        if isinstance(count, int) and not isinstance(count, bool):
            if not 1 <= count <= MOST_MILKINGS:
                self.out_of_range("milkings", count, f"1 to {MOST_MILKINGS} a day")
                count = 2
            starts = STARTS.get(count) or tuple(clock(240 + i * 1440 / count) for i in range(count))
            why = "not stated" if stated is None else f"{count} milkings spread over the day"
            said = ", ".join(starts)
            self.assume("milkings", list(starts), said, "", "start of each milking", why)
        every = self.data["milkings"] if isinstance(self.data["milkings"], list) else []
        if "target_h" not in self.data:
            hours = round(min(4.0, 0.6 * 24 / max(1, len(every))), 1)
            where = f"milkings.{(*names_by_start(every), 'milking')[0]}.target_h"
            why = "cows should not stand longer away from feed and rest"
            self.data["target_h"] = hours
            self.notes.append(Assumption(where, "time for one milking", hours, "h", why))

    def out_of_range(self, key: str, found: object, allowed: str) -> None:
        self.source.add("F026", (key,), found=show(found), allowed=allowed)

    def herd_groups(self) -> None:
        cows, groups = self.number("cows"), self.data.get("groups")
        if groups is None and "groups" not in self.data and cows:
            self.groups_by_hour(int(cows))
        if isinstance(groups, int) and not isinstance(groups, bool) and cows:
            if not 1 <= groups <= min(40, cows):
                self.out_of_range("groups", groups, "1 to 40 groups")
                groups = 1
            whole, rest = divmod(int(cows), groups)
            made = [{"name": f"group {i + 1}", "cows": whole + (i < rest)} for i in range(groups)]
            said, why = f"{groups} groups alike", "only their number is stated"
            self.assume("groups", made, said, "", "groups of cows", why)
        if "withheld_cows" not in self.data:
            self.withheld(cows or 0, groups if isinstance(groups, list) else [])
        if "calf_milk_l_day" not in self.data:
            litres = float(min(50000, round(CALF_L_COW_DAY * (cows or 0), -1)))
            why = "8 calves to 100 cows at 8 L a day"
            meaning = "milk fed to calves a day"
            self.assume("calf_milk_l_day", litres, litres, "L/d", meaning, why)

    def groups_by_hour(self, cows: int) -> None:
        """As many groups as a milking has hours: no cow then waits longer than an hour or so."""
        hours = self.number("target_h", "h") or self.data.get("target_h")
        groups = math.ceil(hours) if isinstance(hours, int | float) and 0 < hours <= 24 else 1
        if groups < 2 or cows < groups:
            return
        made = [{"name": f"group {i + 1}", "cows": cows // groups + (i < cows % groups)}
                for i in range(groups)]  # fmt: skip
        self.assume("groups", made, f"{groups} groups alike", "", "groups of cows",
                    "brought up in turn, so that none waits much over an hour")  # fmt: skip

    def withheld(self, cows: float, groups: list[Any]) -> None:
        inside = [g.get("withheld_cows") for g in groups if isinstance(g, dict)]
        known = [w for w in inside if isinstance(w, int) and not isinstance(w, bool)]
        if known:
            self.data["withheld_cows"] = sum(known)
            return
        few = min(2000, max(1, round(WITHHELD_SHARE * cows)))
        why = "about 1.5 % of a herd is under treatment or has just calved"
        self.assume("withheld_cows", few, few, "", "cows whose milk is withheld", why)

    def tankers(self) -> None:
        if "collections" in self.data:
            if self.data["collections"] == []:
                self.out_of_range("collections", 0, "one or more")
            return
        day_l = (self.number("cows") or 0) * (self.number("yield_l_day", "L/d") or 0)
        every = 2 if 0 < day_l * 2 <= TANKER_L else 1
        visits = min(12, max(1, math.ceil(day_l * every / TANKER_L)))
        times = [clock(570 + i * 1440 / visits) for i in range(visits)]
        made = [{"at": t, "tanker_l": TANKER_L, "every_days": every} for t in times]
        said = f"{TANKER_L:g} L at {', '.join(times)}" + (" every other day" if every == 2 else "")
        self.assume("collections", made, said, "", "tanker visits",
                    "as many visits of one articulated tanker as the milk needs")  # fmt: skip


def _where(key: str) -> str:
    return WHERE.get(key, f"brief.{key}")


def _said(value: Any) -> float | str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return float(value) if isinstance(value, int | float) else str(value)
