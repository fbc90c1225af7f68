"""Random briefs of invented farms: varied, valid, and the same for the same seed.

    python benchmarks/briefs.py [seed ...]      # prints them

Tests and benchmarks draw from here, so that nothing is proven on the examples alone. Seeds up to
`TUNING` are for whoever changes the program; checks use seeds above it.
"""

from __future__ import annotations

import math
import sys
from random import Random

TUNING = 999
"""Seeds 0 to this one may be looked at while tuning; checks begin after it."""

REGIONS = ("EU", "EU", "US", "US-California", "Australia", "New Zealand")
CLIMATES = ("cool", "temperate", "temperate", "warm", "hot")
WASHES = (
    None,
    None,
    "{steps: [rinse, main wash, last rinse]}",
    "{steps: [pre-rinse, detergent, cold rinse, acid rinse], hot_c: 78}",
    "{washes_a_day: 1, steps: [rinse, hot, rinse], hardness_ppm: 210, acid_every_days: 3}",
)
TARIFF = '[{from: "06:00", price_kwh: 0.28}, {from: "22:00", price_kwh: 0.18}]'
ROTARY_COWS_H, ROWS_COWS_H = 420, 140  # that one parlour passes with ease


def random_brief(seed: int, *, cows: int | None = None) -> str:
    """The text of a random brief. `cows` fixes the size of the herd."""
    draw = Random(f"brief {seed}")
    size = round(math.exp(draw.uniform(math.log(60), math.log(3500))))
    cows = size if cows is None else cows
    litres = round(draw.triangular(14, 46, 30), 1)
    layout = "rows" if cows < 120 or (cows < 500 and draw.random() < 0.4) else "rotary"
    people = draw.choice((1, 2, 2, 3) if layout == "rows" else (2, 2, 3, 4))
    milkings, hours = _milkings(draw, cows, layout)
    region = draw.choice(REGIONS)
    lines = [
        f"# Random brief {seed}. The farm is invented.",
        f"farm: (invented) random farm {seed}",
        f"cows: {cows}",
        f"yield_l_day: {litres}",
        f"layout: {layout}",
        f"milkings: [{', '.join(milkings)}]",
        f"target_h: {hours}",
        f"operators: {people}",
        f"climate: {draw.choice(CLIMATES)}",
        f"altitude_m: {draw.choice((5, 80, 140, 300, 700, 1500))}",
        f"region: {region}",
        f"redundancy: {draw.choice(('none', 'duty-and-standby', 'shared-running'))}",
        f"budget: {draw.choice(('lean', 'balanced', 'generous'))}",
        f"standby_power: {draw.choice(('none', 'automatic', 'tractor'))}",
        f"reserve_h: {draw.choice((4, 8, 12, 12, 24))}",
    ]
    if layout == "rows":
        lines.append(f"rows: {draw.choice((1, 2, 2))}")
    if draw.random() < 0.5:
        lines.append(f"groups: {min(cows // 10, draw.randint(1, 7)) or 1}")
    if draw.random() < 0.5:
        lines.append(f"yield_std_dev: {round(draw.uniform(0.1, 0.4), 2)}")
    if draw.random() < 0.3:
        mean = draw.randrange(280, 440, 5)
        lines.append(f"milk_out_time_s: {{mean: {mean}, std_dev: {round(mean * 0.28)}}}")
    if draw.random() < 0.8:
        lines += ["collections:", *_collections(draw, cows * litres)]
    if draw.random() < 0.7:
        lines.append(_water(draw, cows))
    if region.startswith("US"):
        lines.append("supply: {phases: 3, voltage_v: 480, frequency_hz: 60}")
    elif draw.random() < 0.5:
        kva = 10 * math.ceil((60 + 0.3 * cows) / 10)
        lines.append(f"supply: {{limit_kva: {kva}, tariff: {TARIFF}}}")
    lines += _wishes(draw, cows)
    if draw.random() < 0.35:
        lines.append(f"heat_recovery: {draw.choice(('desuperheater', 'condenser'))}")
    return "\n".join(lines) + "\n"


def _milkings(draw: Random, cows: int, layout: str) -> tuple[list[str], float]:
    """Starts of the milkings, and hours that leave time for a wash."""
    count = draw.choice((1, 2, 2, 2, 2, 3, 3, 4)) if cows > 100 else draw.choice((1, 2, 2))
    first = draw.choice((270, 300, 330, 360))
    gap = 1440 / count if count != 2 else draw.choice((600, 660, 720))
    starts = [round((first + i * gap) / 15) * 15 % 1440 for i in range(count)]
    most = min(8.0, min(gap, 1440 - (count - 1) * gap) / 60 - 2.0)
    least = cows / (ROTARY_COWS_H if layout == "rotary" else ROWS_COWS_H)
    hours = max(1.0, min(most, max(least, draw.choice((1.5, 2.0, 2.5, 3.5, 5.0)))))
    return [f'"{at // 60:02d}:{at % 60:02d}"' for at in starts], round(hours, 1)


def _collections(draw: Random, day_l: float) -> list[str]:
    """Visits that take the milk away, with some room."""
    tanker = draw.choice((9000, 14000, 18000, 26000, 28000))
    every = 2 if 2 * day_l < tanker and draw.random() < 0.5 else 1
    visits = max(1, math.ceil(1.1 * day_l * every / tanker))
    first, gap = draw.choice((480, 570, 660)), 1440 / visits
    found = []
    for i in range(visits):
        at = round(first + i * gap) % 1440
        days = ", every_days: 2" if every == 2 else ""
        found.append(f'  - {{at: "{at // 60:02d}:{at % 60:02d}", tanker_l: {tanker}{days}}}')
    return found


def _water(draw: Random, cows: int) -> str:
    origin = draw.choice(("spring", "well", "borehole", "mains"))
    flow = 10 * math.ceil(draw.uniform(6, 12) + cows / draw.uniform(40, 80))
    mean, swing = draw.uniform(8, 18), 0 if origin in ("borehole", "spring") else draw.uniform(1, 4)
    months = [round(mean - swing * math.cos(2 * math.pi * (m - 0.5) / 12), 1) for m in range(12)]
    return f"water_source: {{origin: {origin}, flow_l_min: {flow}, temperature_c: {months}}}"


def _wishes(draw: Random, cows: int) -> list[str]:
    lines = []
    if draw.random() < 0.5:
        cooling = draw.choice(("ice_bank", "direct_expansion", "chilled_water", "inline_and_silo"))
        lines.append(f"cooling: {cooling}")
    if cows > 900 and draw.random() < 0.3:
        lines.append("direct_loading: true")
    if draw.random() < 0.3:
        lines.append(f"vacuum_kpa: {draw.choice((39, 41, 43, 45))}")
    if draw.random() < 0.3:
        lines.append(f"no_single_stop: {draw.choice(('true', 'false'))}")
    wash = draw.choice(WASHES)
    if wash is not None:
        lines.append(f"cleaning: {wash}")
    return lines


if __name__ == "__main__":
    for one in sys.argv[1:] or ("0",):
        print(random_brief(int(one)))
