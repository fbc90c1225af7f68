"""Draft the example plants again from their briefs, and break one of them on purpose.

Run after a change that moves drafted sizes: `.venv/bin/python tools/examples.py [name ...]`. Each
is a full draft, held to every study: some minutes for all of them.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

from byrewright.drafting.cores import cores
from byrewright.drafting.gives import closed_draft
from byrewright.plant.brief import read_brief
from byrewright.plant.read import read_plant_text
from byrewright.plant.write import write_text

EXAMPLES = Path(__file__).resolve().parents[1] / "examples"
BROKEN_FROM = "rotary_spring_ice"
NOTE = "broken on purpose"
FAULTS: tuple[tuple[str, str, str, str], ...] = (
    ("VP1", "capacity_l_min_free", "1900", "cannot carry the plant alone"),
    ("VP2", "capacity_l_min_free", "1900", "cannot carry the plant alone"),
    ("VP2", "fed_from", "SB2", "both pumps on one board"),
    ("ML1", "bore_mm", "48.5", "too small"),
    ("ML1", "slope_pct", "0.2", "hardly falls"),
    ("PC1", "area_m2", "1.5", "too small"),
    ("TK1", "volume_l", "4000", "full before the tanker comes"),
    ("TK2", "volume_l", "4000", "full before the tanker comes"),
    ("WH1", "heater_kw", "3", "water is not hot again in time"),
    ("WH2", "heater_kw", "3", "water is not hot again in time"),
    ("GE1", "rating_kva", "20", "cannot start the pumps"),
    ("V83", "sensed", "false", "nobody sees it open"),
)
"""Machine, figure, broken value, and what is wrong with it."""


def broken(text: str) -> str:
    """The text of a plant file with every fault put in, and one valve wrong in milking."""
    for machine, name, value, why in FAULTS:
        pattern = rf"(\n  {machine}:\n(?:    .*\n)*?    {name}:)[^\n]*"
        text, times = re.subn(pattern, rf"\g<1> {value}  # {NOTE}: {why}", text, count=1)
        if not times:
            raise SystemExit(f"{machine}.{name} is not in the drafted file; mend tools/examples.py")
    text, times = re.subn(
        r"\n  milking_tank_1: \{does: milking, like: idle,",
        f"\n  # {NOTE}: the receiver's drain stays open\n"
        r"  milking_tank_1: {does: milking, like: idle, V81: open,",
        text,
        count=1,
    )
    if not times:
        raise SystemExit("milking_tank_1 is not in the drafted file; mend tools/examples.py")
    return text.replace("(invented) Larch Bank", "(invented) Larch Bank, broken on purpose", 1)


def main(*names: str) -> None:
    """Write every example again, or those named."""
    for brief in sorted(EXAMPLES.glob("*/brief.yaml")):
        if names and brief.parent.name not in names:
            continue
        draft = closed_draft(read_brief(brief), many=cores())
        write_text(brief.parent / "plant.yaml", draft.text)
        print(f"{brief.parent.name}: {draft.sizing.count()} after {draft.rounds} rounds; "
              f"{len(draft.changes)} figures mended, {len(draft.open)} findings open")  # fmt: skip
        for one in draft.open:
            print(f"    {one.name}: {one.sentence}")
        for words in draft.gives:
            print(f"    would do: {words}")
        if brief.parent.name == BROKEN_FROM:
            text = broken(draft.text)
            read_plant_text(text)
            write_text(EXAMPLES / "rotary_broken" / "plant.yaml", text)


if __name__ == "__main__":
    main(*sys.argv[1:])
