"""The rulebook and the tables: sources, marks, overrides, order."""

from __future__ import annotations

import ast
import importlib
import math
import pkgutil
import random
import re
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from itertools import pairwise
from pathlib import Path

import pytest

from byrewright import standards
from byrewright.plant.read import read_plant_text
from byrewright.standards import (
    Rulebook,
    UnknownRule,
    cautions,
    cooling,
    deck,
    default_rulebook,
    electrical,
    hygiene,
    milkline,
    pipes,
    practice,
    reliability,
)
from byrewright.standards.installing import RUNNING
from byrewright.standards.model import CONFIDENCE_MEANING, SENSIBLE
from byrewright.standards.sources import SOURCES
from byrewright.standards.tables import TABLES
from byrewright.standards.units import TABLE
from byrewright.studies.sizing import size
from tests.plant.small import SMALL

ROOT = Path(__file__).resolve().parents[2]


def test_every_value_names_a_held_source_and_a_mark() -> None:
    """A number without a source could not be checked by anybody."""
    for value in default_rulebook().values():
        assert value.source in SOURCES, value.key
        assert value.confidence in CONFIDENCE_MEANING, value.key
        assert value.meaning and math.isfinite(value.value), value.key
        if value.source == "practice":
            assert value.confidence != "second_hand", value.key
        if value.low is not None and value.high is not None:
            assert value.low <= value.value <= value.high, value.key


def test_every_table_names_a_held_source() -> None:
    """The reference list of a report would miss a document."""
    named = {
        *(rule.source for rule in cooling.TEMPERATURE_RULES),
        *(arm.source for arm in deck.LEVER_ARMS),
        *(row.source for row in reliability.LIVES.values()),
        *(rule.source for rule in hygiene.RULES),
        *(held.source for held in TABLES),
    }
    assert named <= set(SOURCES)


def test_every_table_is_held_with_its_source() -> None:
    """A report would not tell that sizes of an unlisted table are from memory."""
    held = {id(one.table) for one in TABLES}
    held |= {id(RUNNING), id(SENSIBLE), id(TABLE)}  # made into rules; our ranges; definitions
    for found in pkgutil.iter_modules(standards.__path__, "byrewright.standards."):
        for name, table in vars(importlib.import_module(found.name)).items():
            if not name.isupper() or name.startswith("_") or id(table) in held:
                continue
            rows = isinstance(table, tuple | Mapping)
            assert not (rows and _figures(table)), f"{found.name}.{name} stands in no list"


def _figures(what: object) -> bool:
    """Whether numbers stand there that bring no source of their own."""
    if is_dataclass(what):
        own = [getattr(what, f.name) for f in fields(what)]
        return not hasattr(what, "source") and any(map(_figures, own))
    if isinstance(what, tuple | Mapping):
        return any(map(_figures, what.values() if isinstance(what, Mapping) else what))
    return isinstance(what, int | float) and not isinstance(what, bool)


def test_every_rule_is_read_by_code() -> None:
    """Overriding a rule that nothing reads would change nothing, and nobody would be told."""
    whole: set[str] = set()
    made: list[re.Pattern[str]] = []
    for path in (ROOT / "byrewright").rglob("*.py"):
        if "standards" not in path.parts:
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Constant) and isinstance(node.value, str):
                    whole.add(node.value)
                made += _keys_made(node)
    idle = {
        k for k in default_rulebook() if k not in whole and not any(p.fullmatch(k) for p in made)
    }
    assert idle == {k for k, v in default_rulebook().items() if v.unread}


def _keys_made(node: ast.AST) -> list[re.Pattern[str]]:
    """Keys put together where a rule is read, such as number(f"pipe.roughness_{what}_mm")."""
    called = isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
    reads = called and node.func.attr in ("number", "rule")  # type: ignore[attr-defined]
    if not (reads or isinstance(node, ast.Subscript)):
        return []
    return [
        re.compile("".join(
            re.escape(str(v.value)) if isinstance(v, ast.Constant) else "[a-z_0-9.]+"
            for v in one.values))
        for one in ast.walk(node)
        if isinstance(one, ast.JoinedStr) and any(isinstance(v, ast.Constant) for v in one.values)
    ]  # fmt: skip


def test_an_override_replaces_only_its_value_and_is_named() -> None:
    """A licensed user's own figure would be lost or wrongly attributed."""
    key = "vacuum.iso_drop_receiver_to_pump_kpa"
    book = Rulebook({key: 2.5})
    assert book.number(key) == 2.5
    assert book[key].confidence == "stated"
    assert book.overridden == (key,)
    assert key in {v.key for v in default_rulebook().to_check()}
    assert key not in {v.key for v in book.to_check()}
    assert default_rulebook().number(key) == 3.0


def test_an_unknown_key_names_the_nearest() -> None:
    """A slip in the limits file would pass unseen."""
    with pytest.raises(UnknownRule, match="iso_drop_receiver_to_pump_kpa"):
        Rulebook({"vacuum.iso_drop_reciever_to_pump_kpa": 2.0})
    with pytest.raises(UnknownRule, match="ac_motor"):
        reliability.life("ac_moter")


@pytest.mark.parametrize("wrong", [math.nan, math.inf, True, "3"])
def test_an_override_must_be_a_number(wrong: object) -> None:
    """A word or a NaN as a limit would make every comparison false."""
    with pytest.raises(ValueError, match="write a"):
        Rulebook({"milk.cp_kj_kgk": wrong})  # type: ignore[dict-item]


@pytest.mark.parametrize("key", default_rulebook())
def test_every_rule_has_a_range_that_it_lies_in(key: str) -> None:
    """A slip of the decimal point would be taken as a limit, and hang or break a study."""
    one = default_rulebook()[key]
    least, most = one.range
    assert least <= one.value <= most and least < most
    assert one.allows(least) and not one.allows(most + abs(most) * 0.01)
    assert one.low is None or (one.allows(one.low) and one.allows(one.high or one.low))
    if (
        one.value > 0
        and 0 not in (one.low, one.least)
        and not one.key.endswith("_share")
        and one.unit != "degC"
    ):
        assert least > 0, "nothing to divide by"


def test_what_leaks_is_less_than_what_a_compressor_may_give() -> None:
    """Two limits, each in its range, would together ask for a compressor of -797 L/min."""
    rules = default_rulebook()
    assert rules["air.leak_target_share"].range[1] < rules["air.duty_most"].range[0]


@pytest.mark.parametrize(
    ("key", "nonsense", "plausible"),
    [
        ("milkline.drop_share_of_time_pct", 190, 90),
        ("vacuum.nominal_kpa", 400, 38),
        ("milk.at_cow_c", 80, 38.5),
        ("milk.stored_c", -30, 3),
        ("cloth.hours_most", 200, 14),
        ("milk.density_kg_m3", 103, 1027),
        ("deck.design_cow_kg", 8000, 650),
        ("place.noise_upper_db", 850, 87),
        ("place.gangway_m", 7, 0.9),
        ("pump.shut_off_ratio", 0.9, 1.3),
        ("air.working_bar", 100, 8),
        ("cloth.load_fill", 1.4, 0.9),
        ("coolant.stands_c", 120, 50),
    ],
)
def test_a_range_is_of_its_kind(key: str, nonsense: float, plausible: float) -> None:
    """Would fail if a slip passed for a limit (milk at 80 degC), or a farm's own value did not."""
    one = default_rulebook()[key]
    assert one.allows(plausible) and not one.allows(nonsense)


@pytest.mark.parametrize("number", [0, -1, 1e299])
def test_a_limit_out_of_range_is_refused(number: float) -> None:
    """A study would divide by it, or never end."""
    for key in ("ups.margin", "coolant.rise_k", "milk.cp_kj_kgk"):
        with pytest.raises(ValueError, match="out of range"):
            Rulebook({key: number})


SAMPLE = 60


@pytest.mark.parametrize("end", [0, 1], ids=["least", "most"])
def test_the_ends_of_the_ranges_are_sized(end: int) -> None:
    """A limit that its range allows would end the sizing in a traceback."""
    plant = read_plant_text(SMALL).plant
    keys = random.Random(end).sample(sorted(default_rulebook()), SAMPLE)
    for key in {*keys, "vacuum.system_leak_share", "ups.margin", "wash.charge_left_share"}:
        assert size(plant, Rulebook({key: default_rulebook()[key].range[end]})).findings, key


def test_rulebooks_with_the_same_overrides_are_alike() -> None:
    """A cache keyed by the rulebook would grow or mix two farms."""
    key = "milk.cp_kj_kgk"
    assert Rulebook({key: 3.9}) == Rulebook({key: 3.9})
    assert hash(Rulebook({key: 3.9})) == hash(Rulebook({key: 3.9}))
    assert Rulebook({key: 3.9}) != default_rulebook()


def test_tables_run_in_order() -> None:
    """A table out of order would make `next size` skip one."""
    for tubes in (pipes.ISO_2037, pipes.ASME_BPE):
        bores = [tube.bore_mm for tube in tubes]
        assert bores == sorted(bores)
    freeze = [point.freeze_c for point in cooling.GLYCOL]
    assert freeze == sorted(freeze, reverse=True)
    for low, high in pairwise(electrical.CODE_LETTERS):
        assert low.high == high.low
        assert low.low == 0.0 or 1.1 < high.low / low.low < 1.15  # preferred numbers, 20 a decade


def test_next_sizes_are_the_smallest_that_fit() -> None:
    """A size too small would be drafted."""
    assert pipes.next_bore_mm(98.0) == 98.0
    assert pipes.next_bore_mm(98.1) == 110.0
    assert pipes.next_bore_mm(300.0) is None
    tube = pipes.next_tube(73.0, pipes.ISO_2037)
    assert tube is not None and tube.od_mm == 88.9


def test_temperature_rules_bind_by_collection() -> None:
    """A farm collected every second day would be held to the daily limit."""
    rule = cooling.temperature_rule("eu")
    assert [s.limit_c for s in rule.steps_for(True) if s.applies == "every_milking"] == [8.0]
    assert [s.limit_c for s in rule.steps_for(False) if s.applies == "every_milking"] == [6.0]
    with pytest.raises(KeyError, match="Australia"):
        cooling.temperature_rule("Atlantis")


def test_the_us_limit_is_seven_degrees() -> None:
    """4.44 degC (40 degF) is an equipment rating or a stricter state's rule, not the limit here."""
    us = cooling.temperature_rule("US")
    assert {s.limit_c for s in us.steps} == {7.0, 10.0}
    assert 4.45 in {s.limit_c for s in cooling.temperature_rule("US-Massachusetts").steps}


def test_no_units_per_slope_table_is_held() -> None:
    """The standard's table could not be read; one that appears here was made up."""
    text = Path(milkline.__file__).read_text(encoding="utf-8")
    assert "is not reproduced" in text
    about = [key for key in default_rulebook() if "units" in key and "slope" in key]
    assert about == []
    assert default_rulebook().units_per_slope is None


def test_practice_ranges_widen_sensibly() -> None:
    """A sanity warning would fire at every size between the two columns."""
    for row in practice.MAGNITUDES.values():
        for stalls in (24, 50, 65, 80, 100):
            low, high = row.range_for(stalls)
            assert 0.0 <= low <= high <= 5 * low, row.key
    turn = practice.MAGNITUDES["rotation_min"]  # no deck turns slower for being larger still
    assert turn.range_for(20) == turn.small and turn.range_for(120) == turn.large
    assert practice.MAGNITUDES["deck_t"].usual(75.0, 50)
    assert not practice.MAGNITUDES["deck_t"].usual(750.0, 50)


def test_every_hazard_has_a_caution_and_the_lead_says_what_it_is_not() -> None:
    """A pack would be handed over without its cautions."""
    assert "not a safety system" in cautions.LEAD
    for hazard in ("rotating", "vacuum", "pressure", "chemicals", "electricity", "refrigerant",
                   "pits", "food", "animals"):  # fmt: skip
        assert cautions.CAUTIONS[hazard].endswith(".")
