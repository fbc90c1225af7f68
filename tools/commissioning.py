"""Writes the files of the commissioning in docs/commissioning.md: invented readings of an example.

One pulsator (no. 7) has a valve that shuts slowly in its second half; `after/` is the same pulsator
with its valve cleaned. Run it when the format of a file changes.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np

from byrewright.plant.limits import rules_beside
from byrewright.plant.read import read_plant
from byrewright.site.checks.measured import bench_of
from byrewright.site.checks.sheet import empty

ROOT = Path(__file__).resolve().parents[1]
PLANT = ROOT / "examples" / "rotary_spring_ice" / "plant.yaml"
FOLDER = PLANT.parent / "commissioning"
HZ, SECONDS, CYCLE_S, RATIO, VACUUM_KPA = 100, 12, 1.0, 0.65, 42.5
RISE_S, FALL_S, SLOW_S = 0.055, 0.045, 0.100
BY, LICENSED = "Anna Example", "Lee Example, licensed"
MAP = """\
# Invented instruments. Which column of their files is what.
readings: 1
files:
  pulsation:
    matches: "puls#.csv"
    separator: ";"
    decimal: ","
    time: {column: "Time", written: "%d.%m.%Y %H:%M:%S.%f"}
    channels:
      "Channel 1": {is: chamber_vacuum, at: PU1, half: 1, unit: kPa, uncertainty: 0.5,
                    instrument: "recorder 2, calibrated 2026-01-20"}
      "Channel 2": {is: chamber_vacuum, at: PU1, half: 2, unit: kPa, uncertainty: 0.5,
                    instrument: "recorder 2, calibrated 2026-01-20"}
  receiver:
    matches: "receiver.csv"
    time: {column: "seconds", written: seconds}
    channels:
      "vacuum": {is: vacuum, at: RC1, unit: kPa, uncertainty: 0.3,
                 instrument: "recorder 2, calibrated 2026-01-20"}
"""
GAUGE = {"instrument": "gauge 12", "calibrated": "2026-01-20"}
METER = {"instrument": "airflow meter 3", "calibrated": "2026-02-02"}
READ = (
    ("working_vacuum", "42.4", "0.3", GAUGE), ("sensitivity", "0.4", "0.1", GAUGE),
    ("pump_capacity@VP1", "4480", "70", METER), ("pump_capacity@VP2", "4550", "70", METER),
    ("effective_reserve", "8700", "150", METER), ("manual_reserve", "8850", "150", METER),
    ("drop_pump@VP1", "0.9", "0.1", GAUGE), ("milkline_slope@ML1", "1.1", "0.1", {}),
    ("milk_pump_flow@MP1", "205", "5", {}), ("milk_pump_flow@MP2", "188", "5", {}),
)  # fmt: skip
SEEN = ("emergency_stops@PF1", "non_return@NR1", "non_return@NR2", "valve_travel@V41")
NOT_DONE = (("turn_time@PF1", "no cows before 9 March"), ("cooler_approach@PC1", "no cows before "
            "9 March"))  # fmt: skip


def chamber(fall_s: float, seed: int) -> np.ndarray:
    """Vacuum of a chamber that follows its valve exponentially, kPa."""
    t = np.arange(HZ * SECONDS) / HZ
    at, on = np.mod(t - 0.12, CYCLE_S), CYCLE_S * RATIO
    reached = VACUUM_KPA * (1.0 - np.exp(-on / RISE_S))
    x = np.where(at < on, VACUUM_KPA * (1.0 - np.exp(-at / RISE_S)),
                 reached * np.exp(-(at - on) / fall_s))  # fmt: skip
    return np.round(x + np.random.default_rng(seed).normal(0.0, 0.15, t.size), 1)


def pulsator(path: Path, fall_s: float, clock: str, seed: int) -> None:
    """A file of both halves with decimal commas."""
    halves = chamber(FALL_S, seed), chamber(fall_s, seed + 1)
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, delimiter=";", lineterminator="\n")
        out.writerow(("Time", "Channel 1", "Channel 2"))
        for i, pair in enumerate(zip(*halves, strict=True)):
            s = f"{i / HZ:06.3f}"
            out.writerow((f"{clock}:{s}", *(f"{v:.1f}".replace(".", ",") for v in pair)))


def receiver(path: Path) -> None:
    """The receiver's vacuum with one unit open from 20 to 40 s."""
    t = np.arange(70 * 20) / 20
    x = np.full(t.size, 42.4)
    x[(t >= 20) & (t < 40)] = 41.7
    x[(t >= 20) & (t < 21.5)] = 41.4
    x[(t >= 40) & (t < 41.5)] = 42.8
    x = np.round(x + np.random.default_rng(5).normal(0.0, 0.03, t.size), 2)
    rows = "".join(f"{a:.2f},{b:.2f}\n" for a, b in zip(t, x, strict=True))
    path.write_text("seconds,vacuum\n" + rows, encoding="utf-8")


def sheet(path: Path) -> None:
    """A filled-in sheet as its page exports it."""
    ctx = bench_of(PLANT, read_plant(PLANT).plant, rules_beside(PLANT))
    by_id = {c.id: c for c in ctx.checks}
    rows = [
        {"check": c, "value": v, "uncertainty": u, "unit": by_id[c].unit, "who": BY,
         "when": f"2026-03-05 {9 + i // 4:02}:{15 * (i % 4):02}", **tool}
        for i, (c, v, u, tool) in enumerate(READ)
    ]  # fmt: skip
    rows += [
        {"check": c, "seen": True, "who": LICENSED if by_id[c].licensed else BY,
         "when": "2026-03-05 13:30"}
        for c in SEEN
    ]  # fmt: skip
    rows += [
        {"check": c, "why_not": why, "unit": by_id[c].unit, "who": BY, "when": "2026-03-05 14:00"}
        for c, why in NOT_DONE
    ]
    head = empty(ctx.owner.plant_id, ctx.owner.plant, ctx.checks, "invented-sheet-1")
    text = json.dumps(head | {"rows": rows}, indent=1, ensure_ascii=False)
    path.write_text(text + "\n", encoding="utf-8")


def main() -> None:
    """Write every file."""
    FOLDER.mkdir(exist_ok=True)
    (FOLDER / "readings.yaml").write_text(MAP, encoding="utf-8")
    pulsator(FOLDER / "puls3.csv", FALL_S, "05.03.2026 08:10", 1)
    pulsator(FOLDER / "puls7.csv", SLOW_S, "05.03.2026 08:20", 3)
    pulsator(FOLDER / "after" / "puls7.csv", FALL_S, "05.03.2026 15:40", 5)
    receiver(FOLDER / "receiver.csv")
    sheet(FOLDER / "sheet.json")


if __name__ == "__main__":
    main()
