"""One predicted reading as a finding: its limit, its rule set and how that is known."""

from __future__ import annotations

from collections.abc import Sequence

from byrewright.results import Input, Remedy, Sense
from byrewright.studies.sizing.context import StudyContext

ISO, TESTS = "ISO 5707:2007 limits, ISO 6690:2007 methods", "from_memory"
TIGHT = 0.1


def reading(
    ctx: StudyContext,
    key: str,
    title: str,
    value: float | None,
    unit: str,
    sentence: str,
    *,
    limit: str | float | None = None,
    sense: Sense = "at_most",
    subject: str = "",
    formula: str = "",
    inputs: Sequence[Input] = (),
    source: str = ISO,
    confidence: str = TESTS,
    remedies: Sequence[Remedy] = (),
) -> None:
    """Write a reading down; `limit` is a rule's key, or a number worked out."""
    ruled = [ctx.rule(limit)] if isinstance(limit, str) else []
    number = ctx.number(limit) if isinstance(limit, str) else limit
    ctx.find(
        f"vacuum.test.{key}",
        title,
        value,
        unit,
        sentence,
        subject=subject,
        limit=number,
        sense=sense if number is not None else "informational",
        allowance=TIGHT,
        formula=formula,
        inputs=(*inputs, *ruled),
        source=source,
        confidence=confidence,
        remedies=remedies,
    )
