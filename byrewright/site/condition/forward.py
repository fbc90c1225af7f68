"""What every instrument should read at a plant in some condition: by the studies, by check id.

A reading that each of many alike gives has the id without its number ("phase_d@PU1").
"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from fnmatch import fnmatch
from typing import Any

from byrewright.errors import ByrewrightError
from byrewright.plant.plant import Plant
from byrewright.plant.roles import Pulsates
from byrewright.results import Finding, ResultBuilder
from byrewright.site.checks.catalogue import TESTS
from byrewright.site.condition.figures import OWN_USUAL, Domain, Figure, with_figures
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.instruments import Part, instrument_readings
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.serving import serving
from byrewright.studies.vacuum.quick import quick_readings

Readings = dict[str, float]
ASKED: tuple[Domain, ...] = ("air", "flow", "heat")
GAUGE = "vacuum_one_open"
"""Vacuum while units stand open: no test of its own, but what a milker sees on the gauge."""
KEPT = 64
ONE_OPEN = "vacuum.test.one_open"
FALLEN = "vacuum.test.fall_off_drop"


class Forward:
    """A plant whose readings are asked again and again in other conditions."""

    def __init__(self, plant: Plant, rules: Rulebook, figures: Mapping[str, Figure]) -> None:
        ctx = StudyContext(plant, rules, ResultBuilder("readings", plant.site.name))
        plant = serving(ctx)
        self.plant, self.rules, self.figures = plant, rules, figures
        self.usual: Readings = {}
        self._kept: dict[tuple[Domain, tuple[tuple[str, float], ...]], Readings | None] = {}
        self._net: dict[Any, Any] = {}
        self.of: dict[str, Domain] = {}
        """Who predicts each reading."""
        for domain in ASKED:
            told = self._asked(plant, rules, domain)
            self.usual |= told
            self.of |= dict.fromkeys(told, domain)
        self._own_readings()

    def _own_readings(self) -> None:
        """Readings of what only they show; usual values of a sound plant."""
        for one in self.figures.values():
            if not one.own:
                continue
            name = f"{one.own}@{one.at}"
            if one.own == "compressor_output" and one.stated is not None:
                self.usual[name] = one.stated
            elif one.own in OWN_USUAL:
                self.usual[name] = OWN_USUAL[one.own]

    def at(self, values: Mapping[str, float]) -> Readings | None:
        """Every reading with some figures at so many times what is stated; None where the plant
        so changed cannot be solved (nothing is known of it then)."""
        found = dict(self.usual)
        for domain in ASKED:
            own = {k: x for k, x in values.items() if self.figures[k].domain == domain}
            if own:
                told = self._in(domain, own)
                if told is None:
                    return None
                found |= told
        for key, times in values.items():
            one = self.figures[key]
            if one.own:
                name = f"{one.own}@{one.at}"
                found[name] = found.get(name, 1.0) * times
        self._limping(values, found)
        return found

    def _in(self, domain: Domain, own: Mapping[str, float]) -> Readings | None:
        """The readings of a domain with its figures, the last few kept."""
        name = domain, tuple(sorted(own.items()))
        if name not in self._kept:
            try:
                plant, rules = with_figures(self.plant, self.rules, self.figures, own)
                told = self._asked(plant, rules, domain, self._alone(own))
            except (ByrewrightError, ValueError, ZeroDivisionError):
                told = None
            while len(self._kept) >= KEPT:
                self._kept.pop(next(iter(self._kept)))
            self._kept[name] = told
        return self._kept[name]

    def _alone(self, own: Mapping[str, float]) -> frozenset[str]:
        """The pumps that alone give another flow: each is read with its partners at rest."""
        some = [self.figures[key] for key in own]
        if all(f.kind in ("pump_head", "milk_pump_head") for f in some):
            return frozenset(f.at for f in some)
        return frozenset()

    def _limping(self, values: Mapping[str, float], found: Readings) -> None:
        """A slow valve has one bad half: the halves then differ by what its ratio moved."""
        for one in self.plant.machines(Pulsates):
            slow = {f"pulse_rise@{one.id}", f"pulse_fall@{one.id}"} & set(values)
            if slow:
                ratio = f"ratio@{one.id}"
                found[f"limping@{one.id}"] = abs(found.get(ratio, 0.0) - self.usual.get(ratio, 0.0))

    def _asked(
        self, plant: Plant, rules: Rulebook, domain: Domain, only: frozenset[str] = frozenset()
    ) -> Readings:
        if domain == "air":
            result = quick_readings(plant, rules)
        else:
            part: tuple[Part, ...] = ("flow",) if domain == "flow" else ("heat",)
            net = self._net if domain == "heat" else None  # no figure of heat moves a flow of it
            result = instrument_readings(plant, rules, part, served=True, only=only, net=net)
        found: Readings = {}
        findings: dict[str, list[Finding]] = {}
        for one in result.findings:
            findings.setdefault(one.key, []).append(one)
        for machine in plant.equipment.values():
            for name in machine.tests():
                test = TESTS[name]
                for figure in test.figures:
                    told = _first(findings, figure.findings, "" if test.whole else machine.id)
                    at = figure.key if test.whole else f"{figure.key}@{machine.id}"
                    if told is None:
                        continue
                    if figure.setting:
                        found[at] = float(getattr(machine, figure.setting))
                    elif figure.key == "working_vacuum":
                        found[at] = next(float(i.value) for i in told.inputs if i.symbol == "Vm")
                    elif told.value is not None:
                        found[at] = told.value
        if domain == "air":
            with suppress(KeyError):
                found[GAUGE] = findings[ONE_OPEN][0].value or 0.0
                found["fall_off_drop"] = findings[FALLEN][0].value or 0.0
            for each in plant.machines(Pulsates):
                moved = _first(findings, ("vacuum.test.pulsator_ratio",), each.id)
                if moved is not None and moved.value is not None:
                    found[f"ratio@{each.id}"] = moved.value
                    found[f"limping@{each.id}"] = 0.0
        if herd := findings.get("reading.milk_out"):
            found["milk_out"] = herd[0].value or 0.0
        return found


def _first(findings: Mapping[str, list[Finding]], keys: tuple[str, ...], at: str) -> Finding | None:
    for key in keys:
        fit = findings.get(key) or (
            [f for k, some in findings.items() if fnmatch(k, key) for f in some]
            if "*" in key else []
        )  # fmt: skip
        own = [f for f in fit if f.subject == at] or [f for f in fit if not f.subject]
        if own:
            return own[0]
    return None
