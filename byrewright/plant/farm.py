"""The farm around the plant: site, herd, milkings, collections, work, cleaning, wishes."""

from __future__ import annotations

import math
import re
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field

from byrewright.plant.record import Record, par
from byrewright.standards.deck import LEAST_TRACK_RADIUS_M, TRACK_PITCH_M
from byrewright.standards.water import CACO3_MG_MMOL

Redundancy = Literal["none", "duty-and-standby", "shared-running"]
"""none: one machine for each task; duty-and-standby: a second stands ready; shared-running: both
run together and each can do the task alone."""


def _clock(text: str) -> str:
    if not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", text):
        raise ValueError('expected a time of day such as "05:30"')
    return text


Clock = Annotated[str, AfterValidator(_clock)]


def minutes(clock: str) -> int:
    """Minutes after midnight of "HH:MM".

    >>> minutes("05:30")
    330
    """
    return int(clock[:2]) * 60 + int(clock[3:])


def clock(total_minutes: float) -> str:
    """ "HH:MM" of minutes after midnight, wrapped into one day.

    >>> clock(1470)
    '00:30'
    """
    whole = round(total_minutes) % 1440
    return f"{whole // 60:02d}:{whole % 60:02d}"


Twelve = Annotated[tuple[float, ...], Field(min_length=12, max_length=12)]


class Tariff(Record):
    """A price of electricity from a time of day on."""

    start: Clock = par("", "time from which it holds", alias="from")
    price_kwh: float = par("", "price of a kWh in the site's currency", ge=0, le=10)


MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip


FEWEST_ON_A_DECK = math.ceil(2 * math.pi * LEAST_TRACK_RADIUS_M / TRACK_PITCH_M)
"""Fewest stalls of a rotary: they fill a roller track of the least radius."""
MOST_USUAL_STALLS = 120
"""Most stalls proposed for one parlour; more may be stated (common practice, no source)."""


class Supply(Record):
    """The electricity to be had."""

    phases: Literal[1, 3] = par("", "phases", 3, why="large plants have three phases")
    voltage_v: float = par(
        "V",
        "voltage between phases (one phase: to neutral)",
        400.0,
        ge=100,
        le=700,
        why="usual three-phase voltage",
    )
    frequency_hz: Literal[50, 60] = par("", "frequency", 50, why="usual with 400 V")
    limit_kva: float | None = par(
        "kVA", "largest demand the supply allows; none when not stated", None, ge=1, le=5000
    )
    fault_kva: float | None = par(
        "kVA", "short-circuit power where the supply comes in", None, ge=50, le=1000000
    )
    tariff: tuple[Tariff, ...] = par("", "prices through the day", ())


class Site(Record):
    """Where the plant stands."""

    name: str = par("", "name of the farm or project")
    id: str | None = par(
        "", "what the site log knows the plant by; it stays when the farm is renamed", None
    )
    region: str = par(
        "", "whose milk-temperature rules apply", "eu", why="not stated: the first of the rule sets"
    )
    altitude_m: float = par(
        "m", "height above sea level", 100.0, ge=-400, le=4500, why="not stated"
    )
    water_temperature_c: Twelve = par("degC", "water source by month, January first")
    ambient_c: Twelve = par("degC", "mean ambient by month")
    hottest_c: float = par(
        "degC", "hot afternoon the refrigeration must stand", 32.0, ge=5, le=55, why="not stated"
    )
    coldest_c: float | None = par(
        "degC", "coldest night; not stated, from the coldest month", None, ge=-60, le=30
    )
    room_heated_to_c: float | None = par(
        "degC", "least temperature of the rooms with milk, water and wash; not stated: not heated, "
        "as cold as outside", None, ge=0, le=30,
    )  # fmt: skip
    water_hardness_mmol_l: float | None = par(
        "mmol/L", "hardness of the water (1 mmol/L is 5.6 German degrees); none when not stated",
        None, ge=0, le=15,
    )  # fmt: skip
    supply: Supply = par("", "electricity", Supply(), why="not stated")

    @property
    def study_month(self) -> int:
        """The month, 1-12, that is hardest on cooling, by water and air together.

        A kelvin of water counts twice one of air: it adds some 6 % to what refrigeration has to
        take behind a plate cooler, one of air takes some 2.5 % of its duty (common practice).
        """
        worth = [2 * w + a for w, a in zip(self.water_temperature_c, self.ambient_c, strict=True)]
        return worth.index(max(worth)) + 1

    def month_words(self, month: int) -> str:
        """A month by its name, with why it is studied.

        >>> Site(name="x", water_temperature_c=[9] * 12, ambient_c=[15] * 12).month_words(3)
        'March, as asked'
        """
        name = MONTHS[month - 1]
        if month == self.study_month:
            return f"{name}, the worst of the site's water and air for cooling"
        return f"{name}, as asked"

    currency: str = par("", "currency of prices", "EUR", why="not stated")
    lift_m: float = par(
        "m", "height from receiver outlet to tank inlet", 3.0, ge=-5, le=50, why="usual"
    )


class MilkOutTime(Record):
    """Unit-on time of a cow: mean and standard deviation."""

    mean: float = par("s", "mean", ge=120, le=1200)
    std_dev: float = par("s", "standard deviation", ge=0, le=600)


class Group(Record):
    """Cows that are brought up together."""

    name: str = par("", "name")
    cows: int = par("", "cows", ge=1, le=20000)
    yield_l_day: float | None = par(
        "L/d", "milk a cow a day, when it differs from the herd's", None, ge=1, le=100
    )
    withheld_cows: int = par(
        "", "cows whose milk is withheld", 0, ge=0, le=2000, why="none unless stated"
    )


class Herd(Record):
    """The cows."""

    cows: int = par("", "cows in milk", ge=4, le=20000)
    yield_l_day: float = par("L/d", "milk a cow a day, mean", ge=1, le=100)
    yield_std_dev: float = par(
        "",
        "standard deviation of yield between cows, a share of the mean",
        0.3,
        ge=0,
        le=1,
        why="usual between cows of one herd",
    )
    cow_mass_kg: float = par(
        "kg",
        "mean mass of a cow",
        680.0,
        ge=200,
        le=1200,
        why="650-750 kg for large breeds",
        confidence="from_memory",
    )
    milk_out_time_s: MilkOutTime | None = par(
        "", "unit-on time of the herd; follows the yield at a milking when not stated", None
    )
    groups: tuple[Group, ...] = par("", "groups; empty for one group", ())

    @property
    def withheld_cows(self) -> int:
        """Cows whose milk must not reach the tank."""
        return sum(g.withheld_cows for g in self.groups)

    def all_groups(self) -> tuple[Group, ...]:
        """The groups, or the whole herd as one."""
        return self.groups or (Group(name="herd", cows=self.cows),)


class Milking(Record):
    """One milking of the day."""

    name: str = par("", "name")
    start: Clock = par("", "first cow on")
    target_h: float = par("h", "time within which all cows should be milked", ge=0.3, le=24)
    share: float | None = par(
        "", "share of the day's milk; equal by interval when not stated", None, ge=0.01, le=1
    )
    operators: int = par("", "people milking", 2, ge=1, le=20, why="not stated")
    groups: tuple[str, ...] = par("", "groups milked, in order; empty for all", ())


class Collection(Record):
    """A tanker's visit."""

    at: Clock = par("", "arrival")
    tanker_l: float = par("L", "what it can take", ge=500, le=60000)
    every_days: int = par("", "1 daily, 2 every other day", 1, ge=1, le=7, why="daily")


class Work(Record):
    """The milking routine, seconds a cow by task; one person may do several."""

    prepare_s: float = par(
        "s", "clean and dry teats with a cloth", 4.0, ge=0, le=60, why="rotary routine task time"
    )
    attach_s: float = par(
        "s", "attach the unit", 6.0, ge=0, le=60, why="rotary routine example", confidence="read"
    )
    spray_s: float = par(
        "s",
        "disinfect teats after milking",
        2.0,
        ge=0,
        le=60,
        why="3 s in a parallel, less by machine",
    )
    other_s: float = par(
        "s", "all else, idle too", 2.0, ge=0, le=60, why="rotary routine example", confidence="read"
    )
    cloths_a_cow: float = par(
        "", "cloths a cow a milking", 1.2, ge=0, le=4, why="one to one and a half is common"
    )
    wage_h: float | None = par(
        "", "cost of an hour's work in the site's currency", None, ge=0, le=500
    )

    @property
    def routine_s(self) -> float:
        """Work a cow, s."""
        return self.prepare_s + self.attach_s + self.spray_s + self.other_s


WASH_WORDS: dict[str, str] = {
    word: kind
    for kind, words in {
        "rinse": ("rinse", "plain rinse", "water rinse"),
        "warm rinse": ("warm rinse", "first rinse", "pre rinse", "prerinse", "tepid rinse"),
        "alkaline wash": (
            "alkaline wash", "hot", "hot wash", "main", "main wash", "detergent", "detergent wash",
            "alkaline", "caustic", "caustic wash", "hot alkaline wash", "hot detergent wash",
        ),
        "acid wash": ("acid wash", "acid", "hot acid", "hot acid wash"),
        "acid rinse": ("acid rinse", "cold acid", "warm acid rinse"),
        "sanitising rinse": (
            "sanitising rinse", "sanitise", "sanitize", "sanitizing rinse", "disinfect",
            "disinfection",
        ),
        "cold rinse": ("cold rinse", "last rinse", "final rinse", "cold", "last", "final"),
    }.items()
    for word in words
}  # fmt: skip
"""What a step of the wash may be called in a file, and the sort of step it then is."""


WASH_STEPS = "steps of a wash in their order, out of: " + ", ".join(
    dict.fromkeys(WASH_WORDS.values())
)


def wash_words(text: str) -> str:
    """A step's name as it is looked up.

    >>> wash_words("Pre-rinse"), wash_words("main_wash")
    ('pre rinse', 'main wash')
    """
    return " ".join(text.casefold().replace("_", " ").replace("-", " ").split())


def _wash_step(text: str) -> str:
    if wash_words(text) not in WASH_WORDS:
        known = WASH_STEPS.partition(": ")[2]
        raise ValueError(f'no step of a wash is called "{text[:40]}"; known are {known}')
    return text


MOST_WASH_L_UNIT = 60.0
"""Most wash a unit that a plant file may state: few units on long lines need several times what
many do."""


class Cleaning(Record):
    """How the plant is washed."""

    washes_a_day: int = par(
        "", "full plant washes a day", 2, ge=1, le=6, why="after each of two milkings"
    )
    rinse_c: float = par(
        "degC", "first rinse", 40.0, ge=5, le=60, why="35-46 degC", confidence="read"
    )
    hot_c: float = par(
        "degC",
        "hot wash at the start",
        80.0,
        ge=40,
        le=95,
        why="80-85 degC at the heater",
        confidence="read",
    )
    end_c: float = par(
        "degC",
        "least return temperature, hot wash at its end",
        55.0,
        ge=30,
        le=80,
        why="dumped when return falls under 55 degC",
        confidence="read",
    )
    acid_every_days: float = par(
        "",
        "days between acid washes",
        7.0,
        ge=0.3,
        le=60,
        why="about weekly",
        confidence="second_hand",
    )
    water_l_unit: float = par(
        "L",
        "water a unit for each step",
        10.0,
        ge=3,
        le=MOST_WASH_L_UNIT,
        why="10 L a cluster",
        confidence="read",
    )
    steps: tuple[Annotated[str, AfterValidator(_wash_step)], ...] = par(
        "", WASH_STEPS, ("rinse", "hot", "last rinse"), why="usual sequence"
    )
    hardness_ppm: float | None = par(
        "", "water hardness as calcium carbonate, mg/L", None, ge=0, le=1000
    )


def hardness_mmol_l(site: Site, cleaning: Cleaning) -> float | None:
    """Hardness of the water: as the site or the washing states it, the harder where both do.

    >>> round(hardness_mmol_l(Site.model_construct(water_hardness_mmol_l=None),
    ...                       Cleaning(hardness_ppm=210)), 2)
    2.1
    """
    ppm = cleaning.hardness_ppm
    stated = (site.water_hardness_mmol_l, None if ppm is None else ppm / CACO3_MG_MMOL)
    return max((h for h in stated if h is not None), default=None)


class Wishes(Record):
    """What the farm asked for; findings are held to it."""

    redundancy: Redundancy = par(
        "",
        "none, duty-and-standby or shared-running",
        "shared-running",
        why="no single failure should stop milking",
    )
    no_single_stop: bool = par(
        "", "no single failure may stop milking", True, why="usual for large herds"
    )
    reserve_h: float = par(
        "h",
        "milk storage beyond the next collection",
        12.0,
        ge=0,
        le=96,
        why="a tanker half a day late",
    )
    standby_power: Literal["none", "automatic", "tractor"] = par(
        "", "standby power", "automatic", why="large herd"
    )
    budget: Literal["lean", "balanced", "generous"] = par(
        "", "first cost against running cost", "balanced", why="not stated"
    )
    milk_out_c: float | None = par(
        "degC", "milk temperature wanted into the tank", None, ge=1, le=38
    )
    go_round_share: float = par(
        "",
        "share of cows that may go round twice",
        0.10,
        ge=0,
        le=0.5,
        why="high-yield herds aim at 5-10 %",
    )


def _colour(text: str) -> str:
    if not re.fullmatch(r"#[0-9a-fA-F]{6}", text):
        raise ValueError('expected a colour such as "#1f4e8c"')
    return text.lower()


Colour = Annotated[str, AfterValidator(_colour)]


class Colours(Record):
    """Colours of the services on drawings and pages, where a house or site standard asks for its
    own. Letter and line pattern stay, so that no service is told by colour alone."""

    milk: Colour | None = par("", "milk", None)
    wash: Colour | None = par("", "wash liquid", None)
    vacuum: Colour | None = par("", "vacuum", None)
    water: Colour | None = par("", "water", None)
    coolant: Colour | None = par("", "chilled liquid", None)
    refrigerant: Colour | None = par("", "refrigerant", None)
    air: Colour | None = par("", "compressed air", None)
    drain: Colour | None = par("", "drain", None)
    power: Colour | None = par("", "electric power", None)
    signal: Colour | None = par("", "signal", None)

    def stated(self) -> dict[str, str]:
        """The colours that the file gives, by service."""
        return {name: colour for name, colour in self.model_dump().items() if colour}


def plain(record: Record) -> dict[str, Any]:
    """The stated fields of a record as plain data for the file."""
    return record.model_dump(mode="json", exclude_unset=True, by_alias=True)


DAYTIMES = ((4, "night"), (11, "morning"), (15, "midday"), (20, "evening"), (99, "night"))
"""Hour before which a milking is called so."""


def names_by_start(starts: Any) -> tuple[str, ...]:
    """Names of milkings by their start, each once."""
    found: list[str] = []
    for start in starts:
        hour = int(start[:2]) if isinstance(start, str) and start[:2].isdecimal() else 0
        name = next(word for end, word in DAYTIMES if hour < end)
        taken = sum(1 for n in found if n.split(" ")[0] == name)
        found.append(f"{name} {taken + 1}" if taken else name)
    return tuple(found)
