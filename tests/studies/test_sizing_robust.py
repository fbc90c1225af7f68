"""Sizing on plants with machines missing or extreme: findings, never a crash or nonsense."""

from __future__ import annotations

import json
import math
import random
import re

import pytest

from byrewright.plant.farm import Cleaning, Wishes, Work
from byrewright.plant.plant import Plant
from byrewright.results import Result
from byrewright.standards.model import CONFIDENCE_MEANING
from byrewright.standards.sources import SOURCES
from byrewright.studies.sizing.chilled import size_chilled_pumps
from byrewright.studies.sizing.cloths import size_cloths
from byrewright.studies.sizing.compressed_air import size_compressed_air
from byrewright.studies.sizing.deck import size_deck
from byrewright.studies.sizing.power import size_power
from byrewright.studies.sizing.washing import size_washing
from byrewright.studies.sizing.water import size_water
from tests.plants import machine, rotary, rows
from tests.studies.benches import sized, small

TOPICS = (size_chilled_pumps, size_cloths, size_compressed_air, size_deck, size_power,
          size_washing, size_water)  # fmt: skip
DRAWS = 25
SEED = 11


def _sane(result: Result) -> None:
    json.dumps(result.to_dict(), allow_nan=False)
    for one in result.findings:
        text = re.sub("`[a-z_]+`", "", f"{one.sentence} {one.title} {one.advised_why}")
        for word in ("None", "nan", "[]", "inf ", "_"):
            assert word not in text, (one.name, text)
        assert one.sentence.endswith((".", ")")), one.sentence
        assert one.advised is None or math.isfinite(one.advised)
        assert one.sense == "informational" or one.limit is not None
        assert one.source in ("", "the plant file") or one.source in SOURCES, one.source
        assert one.confidence == "" or one.confidence in CONFIDENCE_MEANING


@pytest.mark.parametrize("plant", [small(), rows()])
def test_any_one_machine_may_be_missing(plant: Plant) -> None:
    """Taking out one machine stops the whole sizing."""
    for tag in plant.equipment:
        rest = {k: m for k, m in plant.equipment.items() if k != tag}
        pipes = tuple(
            p for p in plant.pipes if tag not in (p.start.split(".")[0], p.end.split(".")[0])
        )
        _sane(sized(plant.model_copy(update={"equipment": rest, "pipes": pipes}), *TOPICS))


def test_random_parts_of_a_plant() -> None:
    """Some set of machines, wishes or cleaning stops the sizing or brings out nonsense."""
    draw = random.Random(SEED)
    for _ in range(DRAWS):
        plant = rotary(draw.choice((12, 60, 120)), draw.choice((20, 600, 4000)),
                       milkings=draw.choice((1, 2, 3)), groups=2)  # fmt: skip
        kept = {k: m for k, m in plant.equipment.items() if draw.random() < 0.7}
        pipes = tuple(
            p for p in plant.pipes if {p.start.split(".")[0], p.end.split(".")[0]} <= set(kept)
        )
        changed = plant.model_copy(update={
            "equipment": kept, "pipes": pipes,
            "modes": draw.choice((plant.modes, {})),
            "work": Work(cloths_a_cow=draw.choice((0.0, 1.2))),
            "wishes": Wishes(redundancy=draw.choice(("none", "shared-running")),
                             standby_power=draw.choice(("none", "tractor"))),
            "cleaning": Cleaning(washes_a_day=draw.choice((1, 3)),
                                 steps=draw.choice((("rinse",), ("cold", "acid", "hot"), ()))),
        })  # fmt: skip
        _sane(sized(changed, *TOPICS))


def test_advised_sizes_are_inside_the_fields() -> None:
    """An advised size cannot be written into the plant file."""
    tiny = rotary(8, 10, turn_s=480, RL1=machine("RL1", "deck_rollers", count=16, rated_kn=10))
    huge = rotary(140, 6000, milkings=3, turn_s=700)
    for plant in (tiny, huge):
        for one in sized(plant, *TOPICS).findings:
            if one.target is None or one.advised is None or one.target[0] not in plant.equipment:
                continue
            here = plant.equipment[one.target[0]]
            stated = {k: getattr(here, k) for k in here.model_fields_set}
            type(here)(**{**stated, one.target[1]: one.advised})
