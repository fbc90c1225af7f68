"""Values that no other check holds, each read a second time.

A slip of the pen in the rulebook would pass through every formula unseen. The second reading
stands here with the source that the rulebook names; a value with no published source says so.
"""

from __future__ import annotations

import pytest

from byrewright.standards.rulebook import default_rulebook

RULES = default_rulebook()
SECOND = {
    "vacuum.teat_leak_l_min": (4.0, "dutch_education"),  # leakage past teats and liners, a unit
    "labour.task_spread_s": (2.0, "armstrong"),  # spread of a task time, either way
    "milking.lag_on_s": (15.0, "practice"),  # common practice, no source
    "reliability.beta_common_cause": (0.10, "iec61508"),  # from memory: 1 to 10 %, the greater
    "vacuum.cups_fall_kpa": (30.0, "practice"),  # common practice, no source
}


@pytest.mark.parametrize("key", SECOND)
def test_a_value_is_what_its_source_gives(key: str) -> None:
    """Would fail if a figure were changed without its source being read again."""
    value = RULES[key]
    assert (float(value.value), value.source) == SECOND[key]
