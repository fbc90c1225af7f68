"""What findings of the vacuum, of the day and of the plan say, against their own numbers."""

from __future__ import annotations

import pytest

from byrewright.results import judge
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.every import STUDIES
from tests.studies.told import says
from tests.studies.varied import STARTS, random_plant

RULES = default_rulebook()
ASKED = [
    ("vacuum", -2), ("vacuum", -5), *(("day", n) for n in (-5, -4, -3, 0, 2, 3)),
    ("place", -5), ("place", -4), ("place", -1),
]  # fmt: skip
"""A study, and a plant as drafted by a number below nought, else as drawn at random."""
NO_VALUE = {
    "day.balance", "day.energy_1000_l", "day.little_milk", "day.milk_pure", "day.vessel_full",
    "day.milk_temperature_3", "day.refrigeration_hours", "day.water_litre",
}  # fmt: skip
COUNTED = ("vacuum.event.", "vacuum.test.", "place.")
"""What counts faults says in words that there is none, and tests are told by their change."""
OTHER_LIMIT = {
    "vacuum.motor", "vacuum.test.regulation_loss", "day.vacuum_least", "place.rack",
}  # fmt: skip
"""A limit that is worked from the rule, or widened by the plan itself."""


@pytest.mark.parametrize(("study", "number"), ASKED)
def test_what_is_said_judged_and_held_to_is_the_findings_own(study: str, number: int) -> None:
    """Would fail if a sentence told another number than its finding, a verdict were of others, or
    a limit not that of the rule which is named beside it."""
    plant = STARTS[number]() if number < 0 else random_plant(number)
    for one in STUDIES[study](plant, RULES).findings:
        if one.value is not None and one.key not in NO_VALUE and not one.key.startswith(COUNTED):
            assert says(one.sentence, one.value), one
        if one.limit is None:
            continue
        if one.value is not None and one.verdict != "unknown":
            assert one.verdict == judge(one.value, one.limit, one.sense, one.allowance)[0], one
        rules = [i.symbol for i in one.inputs if i.symbol in RULES and i.unit == one.unit]
        if len(rules) == 1 and one.key not in OTHER_LIMIT:
            assert one.limit == pytest.approx(RULES.number(rules[0])), one
