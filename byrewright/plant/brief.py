"""The brief: about twenty lines in the farm's own words. What is left out is assumed, and said."""

from __future__ import annotations

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
    names_by_start,
)
from byrewright.plant.plant_id import made_id
from byrewright.plant.problems import BriefError, problem, show
from byrewright.plant.record import Record, par
from byrewright.plant.source import Source, load, read_text
from byrewright.plant.translate import validate
from byrewright.plant.unsaid import Filler, said, where_of
from byrewright.results import Assumption

FORMAT = 1
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
    yield_std_dev: float = par("", "standard deviation of yield between cows, share of the mean",
                              0.3, ge=0, le=1, why="usual between cows of one herd")  # fmt: skip
    milk_out_time_s: MilkOutTime | None = par("", "unit-on time, mean and standard deviation", None)
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
        "", "hemisphere, which decides the seasons", "north",
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
        "", "no single failure may stop milking", True, why="usual for large herds"
    )
    standby_power: Literal["none", "automatic", "tractor"] = par(
        "", "standby power", "automatic", why="usual for large herds"
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
        "degC", "milk temperature wanted into the tank", None, ge=1, le=38
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
        return Herd(cows=self.cows, yield_l_day=self.yield_l_day, yield_std_dev=self.yield_std_dev,
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
    filler = Filler(source)
    brief = validate(Brief, filler.filled(), source, ())
    if brief is not None:
        _cross_check(brief, source)
    source.stop(BriefError)
    if brief is None:
        raise BriefError([problem("F024", file=name, found="the file", allowed="a brief")])
    return BriefFile(brief, None, name, _all_assumptions(filler, brief), source)


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


def _all_assumptions(filler: Filler, brief: Brief) -> tuple[Assumption, ...]:
    """Those filled in here and the plain defaults, in the brief's order."""
    plain = [
        Assumption(where_of(p.name), p.meaning, said(p.default), p.unit, p.why, p.confidence)
        for p in brief.defaulted()
        if p.name not in ("climate", "latitude_deg")
        and not (p.name == "hemisphere" and "ambient_c" in filler.stated)
        and not (p.name == "deck" and brief.layout != "rotary")
    ]  # fmt: skip
    if brief.room_heated_to_c is None and brief.room_c() is not None:
        filler.note("room_heated_to_c", climates.ROOM_C, "degC", "least temperature of the rooms",
                    "nights may freeze: water, wash and milk stand there")  # fmt: skip
    if brief.cleaning is None:
        times = brief.cleaning_part().washes_a_day
        filler.note("cleaning", times, "", "full plant washes a day", "one after each milking")
    return tuple(dict.fromkeys([*plain, *filler.notes]))
