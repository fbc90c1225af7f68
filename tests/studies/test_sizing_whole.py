"""The whole sizing: it runs on any plant, its advice settles, its sentences are plain."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from byrewright.plant.plant import Plant
from byrewright.plant.read import read_plant
from byrewright.results import Finding, Result
from byrewright.standards.practice import MAGNITUDES
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.day import run_day
from byrewright.studies.sizing import size
from tests.plants import rotary, rows
from tests.studies.benches import large, small

ROWS = Path(__file__).parents[2] / "examples" / "rows_two_by_twenty" / "plant.yaml"
ROUNDS = 8
"""Rounds of advice that a plant may need: bores follow pumps, pumps follow bores."""
PLAIN_NOT = re.compile(r"\bNone\b|\bnan\b|\binf\b|\[\]|\{\}|\bTrue\b|\bFalse\b")
PLANTS = {"50 stalls": small, "84 stalls": large, "rows of 2 x 20": lambda: rows(40, 300)}
SETTLED = (
    "vacuum.pump.capacity",
    "vacuum.pump.motor",
    "vacuum.regulator.capacity",
    "vacuum.pulsator_airline.bore",
    "milkline.stratified",
    "receiving.receiver.volume",
    "receiving.trap.volume",
    "receiving.milk_pump.flow",
    "receiving.milk_pump.motor",
    "delivery.head",
    "delivery.filter.area",
    "delivery.balance_tank",
    "cooling.plate.approach",
    "cooling.tank.duty",
    "cooling.condensing.duty",
)
"""Findings whose own advice must cure them."""


FARM_CHOICE = ("stalls", "turn_s")
"""Fields that the farm chose; advice on them is shown and not applied here."""


def advised(plant: Plant, result: Result) -> tuple[Plant, int]:
    """The plant with every advised size in place, as drafting does it, and how many changed."""
    machines, pipes, changed = dict(plant.equipment), {p.id: p for p in plant.pipes}, 0
    for found in result.findings:
        if found.target is None or found.advised is None or found.target[1] in FARM_CHOICE:
            continue
        tag, name = found.target
        where = machines if tag in machines else pipes
        old = getattr(where[tag], name)
        new = type(old)(found.advised) if isinstance(old, int) else found.advised
        if old != new:
            where[tag] = where[tag].model_copy(update={name: new})  # type: ignore[assignment]
            changed += 1
    update = {"equipment": machines, "pipes": tuple(pipes.values())}
    fresh = {name: getattr(plant, name) for name in type(plant).model_fields}
    return Plant(**{**fresh, **update}), changed


@pytest.mark.parametrize("make", PLANTS.values(), ids=PLANTS.keys())
def test_advice_settles_and_cures(make: object) -> None:
    """Drafting would never end, or would end in a plant that its own sizing fails."""
    plant: Plant = make()  # type: ignore[operator]
    for _ in range(ROUNDS):
        plant, changed = advised(plant, size(plant))
        if not changed:
            break
    else:
        pytest.fail("advice still changes")
    result = size(plant)
    for found in result.findings:
        if found.key in SETTLED:
            assert found.verdict in ("holds", "tight"), found.sentence


@pytest.mark.parametrize("make", [small, large])
def test_advised_plants_are_as_practice_expects(make: object) -> None:
    """An advised pump or receiver would be a factor off what practised engineers expect."""
    plant: Plant = make()  # type: ignore[operator]
    for _ in range(ROUNDS):
        plant, _changed = advised(plant, size(plant))
    result = size(plant)
    rows_of = {str(row[0]): str(row[-1]) for row in result.table("expected").rows}
    for key in ("vacuum_pump_l_min", "receiver_each_l", "rotation_min", "net_cows_h",
                "cooler_approach_k"):  # fmt: skip
        assert rows_of[MAGNITUDES[key].title] == "as practice expects", key


@pytest.mark.parametrize("make", PLANTS.values(), ids=PLANTS.keys())
def test_every_sentence_is_plain(make: object) -> None:
    """Users would read inner names or empty values."""
    result = size(make())  # type: ignore[operator]
    for found in result.findings:
        for text in (found.sentence, found.title, found.advised_why, found.formula):
            assert not PLAIN_NOT.search(text), text
        assert found.sentence.endswith("."), found.sentence
        assert found.formula and found.source, found.name
    result.to_json()


def test_names_are_unique() -> None:
    """`explain` would show another finding than the one asked for."""
    for make in PLANTS.values():
        names = [f.name for f in size(make()).findings]
        assert len(names) == len(set(names)), [n for n in names if names.count(n) > 1]


def test_any_machine_may_be_missing() -> None:
    """A plant half drawn would end in a traceback instead of findings."""
    plant = rotary(50, 620)
    for tag in plant.equipment:
        rest = {k: v for k, v in plant.equipment.items() if k != tag}
        pipes = tuple(
            p for p in plant.pipes if tag not in (p.start.split(".")[0], p.end.split(".")[0])
        )
        result = size(plant.model_copy(update={"equipment": rest, "pipes": pipes, "modes": {}}))
        assert result.findings, tag


def test_an_empty_plant_says_what_is_missing() -> None:
    """Nothing at all would be taken for a plant that holds."""
    plant = small().model_copy(update={"equipment": {}, "pipes": (), "modes": {}})
    result = size(plant)
    failed = {f.key for f in result.findings if f.verdict == "fails"}
    assert {"throughput.platform", "vacuum.pump", "milkline", "receiving.receiver",
            "receiving.milk_pump", "delivery.filter", "storage.tank"} <= failed  # fmt: skip


def test_a_figure_out_of_range_is_one_unknown_finding() -> None:
    """One figure outside a formula's range would stop the whole study."""
    plant = small()
    high = plant.model_copy(
        update={"site": plant.site.model_copy(update={"altitude_m": 4500.0})}
    )  # fmt: skip
    regulator = high.equipment["RG1"].model_copy(update={"set_vacuum_kpa": 58.0})
    result = size(high.model_copy(update={"equipment": {**high.equipment, "RG1": regulator}}))
    outside = [f for f in result.findings if f.key.startswith("range.")]
    assert outside and all(f.verdict == "unknown" for f in outside)
    assert result.finding("throughput.net").verdict == "holds"


def test_values_from_memory_are_listed() -> None:
    """A number nobody read would be used without saying so."""
    rows_of = {str(row[0]) for row in size(small()).table("to_check").rows}
    assert "vacuum.regulation_loss_share" in rows_of
    assert not any(key.startswith("vacuum.reserve.us") for key in rows_of)


def test_an_entered_value_is_no_longer_to_check() -> None:
    """A licensed user's own number would still be called unchecked."""
    key = "vacuum.regulation_loss_share"
    result = size(small(), Rulebook({key: 0.1}))
    assert key not in {str(row[0]) for row in result.table("to_check").rows}


def test_defaults_are_assumptions() -> None:
    """What the file left out would be taken in silence."""
    plant = small()
    taken = {(where, p.meaning) for where, p in plant.defaults_taken()}
    listed = {(a.where, a.meaning) for a in size(plant).assumptions}
    assert taken <= listed


def test_the_same_plant_gives_the_same_answer() -> None:
    """Two runs would differ."""
    assert size(small()).to_json() == size(small()).to_json()


def _advice(found: Finding) -> str:
    return f"{found.name} {found.advised}"


def test_order_of_machines_does_not_matter() -> None:
    """A shuffled file would be sized differently."""
    plant = small()
    turned = plant.model_copy(update={"equipment": dict(reversed(plant.equipment.items()))})
    one, other = ({_advice(f) for f in size(p).findings} for p in (plant, turned))
    assert one == other


def test_sizing_tells_the_same_rules_after_another_study() -> None:
    """Would fail if rules asked for in an answer that was kept were missing from the list of
    values to check: a page that had shown the day would hand over a shorter list."""
    plant = read_plant(ROWS).plant
    before = size(plant.model_copy())
    run_day(plant, seed=1)
    after = size(plant)
    assert after == before
    assert "pump.shut_off_ratio" in [row[0] for row in after.table("to_check").rows]
