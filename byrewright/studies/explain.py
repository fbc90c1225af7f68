"""Explain a finding: formula in symbols, the numbers put in with unit and source, limit, advice."""

from __future__ import annotations

import re
import textwrap
from dataclasses import dataclass

from byrewright.results import VERDICT_MEANING, Finding, Input, Remedy
from byrewright.standards.model import CONFIDENCE_MEANING
from byrewright.standards.sources import SOURCES

WIDTH = 88
UNIT_FACTORS = "(factors between units are left out)"
_SENSE = {"at_least": "at least", "at_most": "at most", "informational": ""}
_KNOWN: dict[str, str] = {str(k): v for k, v in CONFIDENCE_MEANING.items()}


@dataclass(frozen=True, slots=True)
class Explanation:
    """What stands behind one finding, part by part: each a heading and its lines."""

    title: str
    parts: tuple[tuple[str, tuple[str, ...]], ...]

    def render(self) -> str:
        """Plain text, wrapped, no trailing blanks."""
        lines = [self.title, "=" * len(self.title)]
        for heading, rows in self.parts:
            lines.append(f"{heading}:")
            for row in rows:
                lines += textwrap.wrap(
                    row, WIDTH, initial_indent="  ", subsequent_indent="    ",
                    break_long_words=False, break_on_hyphens=False,
                )  # fmt: skip
        return "\n".join(lines)

    def __str__(self) -> str:
        return self.render()


def explain(finding: Finding) -> Explanation:
    """How a finding was worked out.

    >>> from byrewright.results import Input
    >>> one = Finding("tank.volume", "TK1", "Tank volume", 9000.0, "L", "TK1 is small.", "fails",
    ...               "at_least", 10000.0, -0.1, formula="V >= V_day",
    ...               inputs=(Input("V_day", "milk a day", 10000.0, "L", "plant file"),))
    >>> print(explain(one).render())
    Tank volume (tank.volume@TK1)
    =============================
    Answer:
      TK1 is small.
    Value and limit:
      9000 L; at least 10 000 L is required.
      fails: outside the limit by 10.0 % of it.
    Formula:
      V >= V_day
      V >= 10000
    Numbers put in:
      V_day = 10 000 L: milk a day [plant file]
    """
    parts: list[tuple[str, tuple[str, ...]]] = [("Answer", (finding.sentence,))]
    parts.append(("Value and limit", (_held_to(finding), _verdict(finding))))
    if finding.missing:
        parts.append(("Missing", tuple(finding.missing)))
    if finding.formula:
        parts.append(("Formula", _formula(finding)))
    if finding.inputs:
        parts.append(("Numbers put in", tuple(_put_in(one) for one in finding.inputs)))
    if finding.source:
        parts.append(("Source", (source_words(finding.source, finding.confidence),)))
    if finding.advised is not None:
        parts.append(("Advised", (_advice(finding),)))
    if finding.remedies:
        parts.append(("What would put it right", tuple(map(_remedy, finding.remedies))))
    return Explanation(f"{finding.title} ({finding.name})", tuple(parts))


def number(value: float) -> str:
    """A number to four figures, thousands set apart; never in powers of ten.

    >>> number(12345.6), number(0.01234), number(99.96)
    ('12 346', '0.01234', '99.96')
    """
    if value == 0 or abs(value) >= 1000:
        return f"{value:,.0f}".replace(",", " ") if abs(value) >= 10_000 else f"{value:.0f}"
    digits = 4
    size = len(str(int(abs(value)))) if abs(value) >= 1 else 0
    if size == 0:
        leading = len(re.match(r"0\.(0*)", f"{abs(value):.12f}")[1])  # type: ignore[index]
        text = f"{value:.{min(12, leading + digits)}f}"
    else:
        text = f"{value:.{max(0, digits - size)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _quantity(value: float | str, unit: str) -> str:
    shown = value if isinstance(value, str) else number(value)
    return f"{shown} {unit}".strip()


def _held_to(finding: Finding) -> str:
    value = "No value." if finding.value is None else _quantity(finding.value, finding.unit)
    if finding.limit is None or finding.sense == "informational":
        return value if finding.value is None else f"{value}; no limit applies."
    return (
        f"{value.rstrip('.')}; {_SENSE[finding.sense]} {_quantity(finding.limit, finding.unit)} "
        "is required."
    )


def _verdict(finding: Finding) -> str:
    words = f"{finding.verdict}: {VERDICT_MEANING[finding.verdict]}"
    if finding.limit is None and finding.verdict == "holds":
        return "For information: held to no limit."
    if finding.margin is None:
        return f"{words}."
    share = f"{100 * abs(finding.margin):.1f} % of it"
    if finding.unit == "degC" and finding.limit is not None:  # a share of it says nothing
        share = f"{abs(finding.margin * finding.limit):.1f} K"
    if finding.verdict == "fails":
        return f"{words} by {share}."
    allowance = f" (tight under {100 * finding.allowance:g} %)" if finding.allowance else ""
    return f"{words}; margin {share}{allowance}."


def _formula(finding: Finding) -> tuple[str, ...]:
    """The formula in symbols and, where its symbols are inputs, with the numbers in place."""
    numbers = {
        one.symbol: _in_formula(one.value)
        for one in finding.inputs
        if one.symbol and not isinstance(one.value, str)
    }
    if not numbers:
        return (finding.formula,)
    longest_first = sorted(numbers, key=len, reverse=True)
    pattern = "|".join(re.escape(symbol) for symbol in longest_first)
    filled = re.sub(
        rf"(?<![\w.])(?:{pattern})(?![\w(])", lambda m: numbers[m.group(0)], finding.formula
    )
    if filled == finding.formula:
        return (finding.formula,)
    return (
        (finding.formula, times(filled), UNIT_FACTORS)
        if _mixed(finding)
        else (finding.formula, times(filled))
    )


def _mixed(finding: Finding) -> bool:
    """Whether the numbers put in have units between which a factor is needed."""
    return len({one.unit for one in finding.inputs if one.unit} | {finding.unit}) > 1


def _in_formula(value: float) -> str:
    """A number inside a formula: no blanks in it, a negative one in brackets."""
    text = number(value).replace(" ", "")
    return f"({text})" if value < 0 else text


_SYMBOL = r"(?:rho|eta|phi|mu|pi|cp|cfm|(?![axL]\b)[A-Za-z](?:_\w+|'\w+)?)(?![A-Za-z])"
_FACTOR = rf"(?:\d[\d.]*|{_SYMBOL})(?:\^[\d.]+)?"
_SIDE_BY_SIDE = re.compile(rf"((?<![\w.^]){_FACTOR}|\)) (?={_FACTOR}(?![\w])|\()")


def times(formula: str) -> str:
    """The same formula with a sign between factors that stand side by side.

    >>> times("1 6400 >= max(4391, 5505)"), times("3600 60 / 605 / (1 + 0.1) (1 - 0.04)")
    ('1 × 6400 >= max(4391, 5505)', '3600 × 60 / 605 / (1 + 0.1) × (1 - 0.04)')
    >>> times("58800 g 0.09 / 0.6 shared by the heaters")
    '58800 × g × 0.09 / 0.6 shared by the heaters'
    """
    return _SIDE_BY_SIDE.sub(r"\1 × ", formula.replace(" x ", " × "))


def _put_in(one: Input) -> str:
    symbol = f"{one.symbol} = " if one.symbol else ""
    where = f" [{source_words(*_parted(one.source))}]" if one.source else ""
    return f"{symbol}{_quantity(one.value, one.unit)}: {one.meaning}{where}"


def _parted(source: str) -> tuple[str, str]:
    """A source written "key (mark)" as its two parts."""
    found = re.fullmatch(r"(.+) \((\w+)\)", source)
    if found and found[2] in _KNOWN:
        return found[1], found[2]
    return source, ""


def source_words(source: str, confidence: str = "") -> str:
    """A source by its title, with how it is known.

    >>> source_words("pmo", "read")
    'US Grade A Pasteurized Milk Ordinance; read in the named source'
    """
    title = SOURCES[source].title if source in SOURCES else source
    mark = _KNOWN.get(confidence, "")
    if source == "practice":
        mark = mark.split(";")[0]  # there is no text to check it against
    return title if not mark or mark in title.casefold() else f"{title}; {mark}"


def _remedy(one: Remedy) -> str:
    if isinstance(one.to, tuple):
        if not one.to:
            return f"leave out {one.figure} of {one.of} ({one.why})"
        to = f"[{', '.join(f'{n:g}' for n in one.to)}]"
    else:
        to = number(one.to) if isinstance(one.to, float) else str(one.to).replace("True", "yes")
    return f"set {one.figure} of {one.of} to {to} ({one.why})"


def _advice(finding: Finding) -> str:
    advised = _quantity(finding.advised if finding.advised is not None else "", finding.unit)
    if finding.target is None:
        return f"{advised} ({finding.advised_why})" if finding.advised_why else advised
    machine, name = finding.target
    number_only = number(finding.advised) if finding.advised is not None else ""
    why = f" ({finding.advised_why})" if finding.advised_why else ""
    return f"{name} of {machine}: {number_only}{why}"
