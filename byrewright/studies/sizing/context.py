"""What every sizing topic works with: the plant, the rules, its duties, and a notebook."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from byrewright.plant.machine import Machine
from byrewright.plant.plant import Plant
from byrewright.plant.programme import Programme, programme_of
from byrewright.results import Assumption, Finding, Input, Remedy, ResultBuilder, Sense, judge
from byrewright.standards.rulebook import Rulebook


@dataclass(slots=True)
class StudyContext:
    """What a study works with: the plant, its rules, and the result being written."""

    plant: Plant
    rules: Rulebook
    notes: ResultBuilder
    _symbols: dict[str, str] = field(default_factory=dict)
    known: dict[Any, Any] = field(default_factory=dict)
    """What was worked out once and is asked again, such as the same tank filled the same way."""
    _programme: Programme | None = None

    @property
    def programme(self) -> Programme:
        """Milkings and wash of the plant's day."""
        if self._programme is None:
            self._programme = programme_of(self.plant, self.rules)
        return self._programme

    def rule(self, key: str, symbol: str = "") -> Input:
        """A rule of the rulebook as an input, with its source, for a finding's list."""
        value = self.rules[key]
        return Input(
            symbol or key,
            value.meaning,
            value.value,
            value.unit,
            f"{value.source} ({value.confidence})",
        )

    def number(self, key: str) -> float:
        """A rule's number."""
        return self.rules.number(key)

    def assume(self, where: str, meaning: str, value: float | str, unit: str, why: str,
               confidence: str = "common_practice") -> None:  # fmt: skip
        """List something the file does not state and the answer rests on."""
        self.notes.assumptions.append(Assumption(where, meaning, value, unit, why, confidence))

    def lacks(self, key: str, title: str, sentence: str) -> Finding:
        """Write down that a machine of a needed capability is missing: fails."""
        return self.find(key, title, 0.0, "machines", sentence, limit=1.0, sense="at_least",
                         formula="at least one", source="the plant file")  # fmt: skip

    def find(
        self,
        key: str,
        title: str,
        value: float | None,
        unit: str,
        sentence: str,
        *,
        subject: str = "",
        limit: float | None = None,
        sense: Sense = "informational",
        allowance: float = 0.0,
        formula: str = "",
        inputs: Sequence[Input] = (),
        source: str = "",
        confidence: str = "",
        advised: float | None = None,
        advised_why: str = "",
        target: tuple[Machine | str, str] | None = None,
        missing: Sequence[str] = (),
        remedies: Sequence[Remedy] = (),
    ) -> Finding:
        """Judge a value, write the finding down and return it.

        `sentence` says what it means in plain words, and what to do when it does not hold.
        `advised` with `target` (machine, field) is the next size a designer would choose; drafting
        applies it; `remedies` are further changes that would mend it. Named `missing` inputs make
        the finding `unknown`.
        """
        verdict, margin = judge(None if missing else value, limit, sense, allowance)
        address = None
        if target is not None:
            machine, name = target
            address = (machine if isinstance(machine, str) else machine.id, name)
        finding = Finding(
            key=key, subject=subject, title=title, value=value, unit=unit, sentence=sentence,
            verdict=verdict, sense=sense, limit=limit, margin=margin, allowance=allowance,
            formula=formula, inputs=tuple(inputs), source=source, confidence=confidence,
            advised=advised, advised_why=advised_why, target=address, missing=tuple(missing),
            remedies=tuple(remedies),
        )  # fmt: skip
        self.notes.findings.append(finding)
        return finding
