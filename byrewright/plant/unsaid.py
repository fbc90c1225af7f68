"""What a brief leaves unsaid: each line filled in, and the assumption noted."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from byrewright.plant import climates
from byrewright.plant.farm import Work, clock, names_by_start
from byrewright.plant.problems import show
from byrewright.plant.source import Source
from byrewright.results import Assumption
from byrewright.standards.cooling import lies_in
from byrewright.standards.electrical import usual_supply

STARTS = {1: ("06:00",), 2: ("05:00", "16:00"), 3: ("05:00", "13:00", "21:00")}
MOST_MILKINGS = 6
TANKER_L = 26000.0
"""An articulated tanker (common practice, no source)."""
WITHHELD_SHARE = 0.015
"""Cows under treatment or just calved, as a share of the herd (common practice, no source)."""
LARGE_PARLOUR_COWS_H = 500.0
"""What one parlour of the largest usual size milks in an hour (common practice, no source)."""
STEADY_SHARE = 0.85
"""Of what milkers could serve, what goes through on the mean: cows go round again, decks stop."""
LAST_COW_H = 0.2
"""From the last unit on to the last off: milkers put no unit on meanwhile (a turn of a deck)."""
CALF_L_COW_DAY = 0.6
"""Calf milk, litres a day for each cow: 8 calves to 100 cows at 8 L (common practice)."""
CURRENCIES = {"US": "USD", "Australia": "AUD", "New Zealand": "NZD"}
"""Of regions by their country (codes of ISO 4217, from memory); elsewhere the brief's default."""
_SAME = {
    "site": ("ambient_c", "hottest_c", "room_heated_to_c", "altitude_m", "region", "currency"),
    "herd": ("yield_std_dev", "groups", "cow_mass_kg"),
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

FILLED: Mapping[str, str] = {
    "withheld_cows": f"{100 * WITHHELD_SHARE:g} % of the cows",
    "milkings": "2 a day",
    "target_h": "4 h, less with more milkings, "
    f"more for a herd that needs over {LARGE_PARLOUR_COWS_H:g} cows an hour",
    "collections": f"daily visits of a {TANKER_L:g} L tanker, as many as the milk needs",
    "calf_milk_l_day": f"{CALF_L_COW_DAY:g} L for each cow",
    "water_source": "its own defaults",
    "temperature_c": "the year's mean ambient, 4 to 25 degC",
    "ambient_c": "by `climate` and hemisphere",
    "hottest_c": "by `climate`",
    "rows": "1 for a rotary, 2 for rows",
    "operators": "2, or more where the cows and hours of a milking need them",
    "groups": "one for each hour of a milking",
    "currency": f"that of the region ({', '.join(CURRENCIES.values())}), else EUR",
}
"""Line: what is put in its place where the brief leaves it out, as the page of the format tells."""


class Filler:
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
        """Note an assumption under the place of its line in the plant file."""
        self.notes.append(Assumption(where_of(key), meaning, said, unit, why))

    def filled(self) -> dict[str, Any]:
        """The brief's data with every line that has no plain default filled in."""
        self.weather()
        self.electricity()
        self.money()
        self.water()
        self.milking_times()
        self.herd_groups()
        self.tankers()
        if self.stated.get("redundancy") == "none" and "no_single_stop" not in self.data:
            self.assume("no_single_stop", False, "no", "", "no single failure may stop milking",
                        "no second machines are wanted")  # fmt: skip
        if "rows" not in self.data:
            self.data["rows"] = 2 if self.data.get("layout") == "rows" else 1
        return self.data

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
        """Monthly temperatures and the hottest day, by climate and hemisphere."""
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
            self.note("hemisphere", "south", "", "hemisphere, which decides the seasons",
                      why)  # fmt: skip
        return self.data.get("hemisphere") == "south"

    def electricity(self) -> None:
        """Voltage and frequency of the region, where the brief does not state them."""
        supply = self.stated.get("supply", {})
        if isinstance(supply, dict) and not {"voltage_v", "frequency_hz"} & set(supply):
            usual = usual_supply(str(self.stated.get("region", "")), supply.get("phases"))
            if usual:
                said = f"{usual['voltage_v']:g} V, {usual['frequency_hz']} Hz"
                why = "usual in the region; ask the utility"
                self.assume("supply", {**supply, **usual}, said, "", "electricity", why)

    def money(self) -> None:
        """The region's currency, where the brief does not state one."""
        region = str(self.stated.get("region", ""))
        code = next((c for place, c in CURRENCIES.items() if lies_in(region, place)), "")
        if code and "currency" not in self.data:
            self.assume("currency", code, code, "", "currency of prices", "usual in the region")

    def water(self) -> None:
        """Temperatures of the water, month by month."""
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
        """When milkings begin, where only their number is stated."""
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
            most = 24 / max(1, len(every))
            asked, usual = (self.number("cows") or 0) / LARGE_PARLOUR_COWS_H, min(4.0, 0.6 * most)
            hours = round(usual if asked <= usual else min(asked, 0.75 * most), 1)
            where = f"milkings.{(*names_by_start(every), 'milking')[0]}.target_h"
            why = "cows should not stand longer away from feed and rest"
            if asked > usual:
                why = f"a large parlour milks some {LARGE_PARLOUR_COWS_H:.0f} cows an hour"
            self.data["target_h"] = hours
            self.notes.append(Assumption(where, "time for one milking", hours, "h", why))
        self.people()

    def people(self) -> None:
        """As many milkers as the hours ask for, where the brief names none and two are too few."""
        cows, hours = self.number("cows"), self.number("target_h", "h") or self.data["target_h"]
        if "operators" in self.data or not cows or not isinstance(hours, int | float):
            return
        routine_s = Work().routine_s
        busy_h = STEADY_SHARE * max(0.2, hours - LAST_COW_H)
        need = min(20, math.ceil(cows * routine_s / (3600 * busy_h)))
        if need > 2:
            self.assume("operators", need, need, "", "people milking",
                        f"{routine_s:g} s of work a cow and the hours of a milking")  # fmt: skip

    def out_of_range(self, key: str, found: object, allowed: str) -> None:
        """Tell that a line lies out of what is allowed."""
        self.source.add("F026", (key,), found=show(found), allowed=allowed)

    def herd_groups(self) -> None:
        """Groups of cows, where only their number is stated or none is."""
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
            drawn = CALF_L_COW_DAY * (cows or 0)
            litres = float(min(50000, round(drawn, -1) or round(drawn)))
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
        """Cows whose milk is withheld: what the groups state, else a usual share."""
        inside = [g.get("withheld_cows") for g in groups if isinstance(g, dict)]
        known = [w for w in inside if isinstance(w, int) and not isinstance(w, bool)]
        if known:
            self.data["withheld_cows"] = sum(known)
            return
        few = min(2000, max(1, round(WITHHELD_SHARE * cows)))
        why = "about 1.5 % of a herd is under treatment or has just calved"
        self.assume("withheld_cows", few, few, "", "cows whose milk is withheld", why)

    def tankers(self) -> None:
        """When tankers come, by the milk of a day."""
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


def where_of(key: str) -> str:
    """The place in the plant file that a line of the brief fills."""
    return WHERE.get(key, f"brief.{key}")


def said(value: Any) -> float | str:
    """A value as a list of assumptions tells it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return float(value) if isinstance(value, int | float) else str(value)
