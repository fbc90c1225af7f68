"""A figure that was measured: its value, doubt, limit and what was predicted, judged once."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from byrewright.results import Finding, Input, Result, Sense, in_figures, straddles
from byrewright.site.readings.files import Reading
from byrewright.studies.sizing.context import StudyContext
from byrewright.traces.trace import TraceUnfit

MARKS = ("fall_off", "attach")


@dataclass(frozen=True)
class Mark:
    """When air was let in and shut off, s from the start of the file: a fall-off or attachment."""

    what: str
    opened_s: float
    shut_s: float


@dataclass(frozen=True)
class Figure:
    """A figure that was worked out, plus or minus `doubt`, and the channel that it is of."""

    finding: Finding
    doubt: float
    of: Reading


@dataclass
class Measured:
    """Collects what is found; every figure goes through `judge`."""

    ctx: StudyContext
    predicted: Result
    rows: list[tuple[float | str, ...]] = field(default_factory=list)
    figures: list[Figure] = field(default_factory=list)

    def add(
        self,
        key: str,
        title: str,
        value: float,
        unit: str,
        doubt: float,
        says: str,
        *,
        of: Reading,
        limit: float | None = None,
        rule: str = "",
        sense: Sense = "informational",
        predicts: str = "",
        formula: str = "",
        decides: str = "an instrument with less uncertainty",
        where: str = "",
    ) -> Finding:
        """A figure with its doubt, its limit (a number or a rule) and what was predicted."""
        most = self.ctx.number(rule) if rule else limit
        owner = self.predicts(predicts, of.channel.at)
        told = owner.value if owner else None
        unsure = straddles(value, doubt, most, sense)
        inputs = [
            Input("", of.heading, of.channel.instrument or "instrument not stated", "", of.file),
            Input("u", "uncertainty, plus or minus", doubt, unit, "instrument and sampling"),
        ]
        if told is not None:
            inputs.append(Input("", "predicted", told, unit, predicts))
        if rule:
            inputs.append(self.ctx.rule(rule))
        sentence = says
        if unsure and most is not None:
            sentence += (
                f" The limit of {in_figures(most)} {unit} lies within the uncertainty of "
                f"{in_figures(doubt, 2)} {unit}: {decides} would decide."
            )
        one = self.ctx.find(
            f"measured.{key}", title, value, unit, sentence, subject=where or of.where, limit=most,
            sense=sense, formula=formula, inputs=inputs, source=of.file,
            missing=(decides,) if unsure else (),
        )  # fmt: skip
        if unsure:
            one = replace(one, value=value)
            self.ctx.notes.findings[-1] = one
        self.figures.append(Figure(one, doubt, of))
        self.rows.append(
            (
                title, where or of.where, round(value, 4), round(doubt, 4), unit,
                "" if told is None else round(told, 4),
                "" if told is None else round(value - told, 4),
                "" if most is None else most, "" if most is None else one.verdict, of.file,
            )
        )  # fmt: skip
        return one

    def predicts(self, name: str, at: str) -> Finding | None:
        """The finding that owns what was predicted, of the machine or of the plant."""
        found = [f for f in self.predicted.findings if name and f.key == name]
        return next(iter([f for f in found if f.subject == at] or found), None)


def unfit(measured: Measured, one: Reading, error: TraceUnfit, what: str) -> None:
    """A channel that does not tell what it should is a finding of its own."""
    measured.ctx.find(
        f"measured.{what}", what.replace("_", " ").capitalize(), None, "",
        f"{one.heading} of {one.file} does not give the {what.replace('_', ' ')} at "
        f"{one.where}: {error}".rstrip(".?") + ("?" if str(error).endswith("?") else "."),
        subject=one.where, source=one.file, missing=("a usable record",),
    )  # fmt: skip
