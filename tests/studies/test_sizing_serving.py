"""Sizing counts a machine only where milk or air reaches it in a mode that needs it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from byrewright.plant.check import check
from byrewright.plant.plant import Plant
from byrewright.plant.read import read_plant_text
from byrewright.results import Result
from byrewright.studies.sizing import size
from byrewright.studies.sizing.serving import idle
from tests import plants
from tests.plant.small import SMALL

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
ROWS = (EXAMPLES / "rows_two_by_twenty" / "plant.yaml").read_text(encoding="utf-8")
LOOSE_TANK = """\
  TK9: {kind: bulk_tank, volume_l: 60000, cooling_kw: 40, time_class: "I", fed_from: SB1}
  V99: {kind: valve, ways: 2, moved_by: hand}
  V98: {kind: valve, ways: 2, moved_by: hand}
pipes:
  - {id: L99, from: V99.b, to: TK9.inlet_1, bore_mm: 51, length_m: 2, service: milk}
  - {id: L98, from: TK9.outlet, to: V98.a, bore_mm: 51, length_m: 2, service: milk}
  - {id: L97, from: V98.b, to: V99.a, bore_mm: 51, length_m: 2, service: milk}
"""
LOOSE_PUMPS = """\
  VP8: {kind: vacuum_pump, capacity_l_min_free: 4200, motor_kw: 11, fed_from: SB1}
  VP9: {kind: vacuum_pump, capacity_l_min_free: 4200, motor_kw: 11, fed_from: SB1}
pipes:
  - {id: L99, from: VP9.inlet, to: VP8.inlet, bore_mm: 76, length_m: 2}
"""


def small(extra: str = "", **changed: str) -> Plant:
    """The small plant with more machines, and with words of its file changed."""
    text = SMALL.replace("pipes:\n", extra or "pipes:\n", 1)
    for old, new in changed.items():
        assert f"{old}: " in text
        text = re.sub(rf"\b{old}: \w+(?=[,}}])", f"{old}: {new}", text)
    return read_plant_text(text).plant


def judged(result: Result) -> dict[str, tuple[float | None, float | None, str]]:
    """Value, limit and verdict of every finding but those on what cannot serve."""
    return {f.name: (f.value, f.limit, f.verdict) for f in result.findings if f.key != "serves"}


@pytest.mark.parametrize(
    ("extra", "tags"), [(LOOSE_TANK, ["TK9"]), (LOOSE_PUMPS, ["VP8", "VP9"])], ids=["tank", "pumps"]
)
def test_what_is_joined_to_nothing_changes_no_verdict(extra: str, tags: list[str]) -> None:
    """A tank or pump that nothing reaches would make storage or vacuum look ample."""
    found = size(small(extra))
    assert [f.subject for f in found.findings if f.key == "serves"] == tags
    assert all(f.verdict == "fails" for f in found.findings if f.key == "serves")
    plain, loose = judged(size(small())), judged(found)
    told = {k for k in {*plain, *loose} if k.startswith(("storage.volume", "vacuum.pump"))}
    assert len(told) > 2
    assert {k: loose.get(k) for k in told} == {k: plain.get(k) for k in told}


def test_a_pump_that_never_runs_is_no_pump() -> None:
    """Every pump stopped in every mode would change no verdict."""
    found = size(small(VP1="stopped", MP1="stopped"))
    assert {f.subject for f in found.findings if f.key == "serves"} >= {"VP1", "MP1", "TK1"}
    assert "vacuum.pump.capacity@VP1" not in judged(found)


def test_a_shut_valve_before_the_tank_is_seen() -> None:
    """A tank behind a valve that milking keeps shut would count as storage."""
    assert set(idle(small(V11="closed"))) == {"TK1"}
    assert idle(small()) == {}


def test_everything_of_a_sound_plant_serves() -> None:
    """A machine of a good plant would be left out of its own sizing."""
    for path in sorted(EXAMPLES.glob("*/plant.yaml")):
        assert idle(read_plant_text(path.read_text(encoding="utf-8")).plant) == {}, path
    assert idle(plants.rotary()) == idle(plants.rows()) == {}


def test_a_plant_in_which_nothing_runs_is_still_sized() -> None:
    """Leaving machines out would leave a name behind that sizing trips over."""
    text = re.sub(r": (runs|ready)(?=[ ,}\n])", ": stopped", ROWS)
    found = size(read_plant_text(text).plant)
    assert sum(1 for f in found.findings if f.key == "serves") > 10


def test_a_heater_that_stands_in_every_mode_heats_nothing() -> None:
    """Would fail if hot water were counted from a heater that the modes hold off."""
    plant = plants.rotary(40, 240)
    modes = {n: m.model_copy(update={"positions": {**m.positions, "WH1": "stopped"}})
             for n, m in plant.modes.items()}  # fmt: skip
    held = plant.model_copy(update={"modes": modes})
    assert idle(plant) == {} and set(idle(held)) == {"WH1"}
    assert "C025" in {p.code for p in check(held) if "WH1" in str(p)}


@pytest.mark.parametrize("side", ["coolant_out_1", "coolant_in_1"])
def test_an_ice_bank_that_is_shut_off_carries_nothing(side: str) -> None:
    """Would fail if the ice of a bank were counted whose valve no milking opens, at either side:
    the other bank, or liquid that comes back by it, is no way out."""
    text = (EXAMPLES / "rotary_spring_ice" / "plant.yaml").read_text(encoding="utf-8")
    base = read_plant_text(text).plant
    leg = next(p for p in base.pipes if f"IB2.{side}" in (p.start, p.end))
    first = leg.model_copy(update={"end": "V99.a", "service": "coolant"})
    second = leg.model_copy(update={"id": "L999", "start": "V99.b", "service": "coolant"})
    valve = plants.machine("V99", "valve", bore_mm=leg.bore_mm, normally="open")

    def found(at: str) -> Plant:
        modes = {n: m.model_copy(update={"positions": {**m.positions, "V99": at}})
                 for n, m in base.modes.items()}  # fmt: skip
        pipes = (*(first if p.id == leg.id else p for p in base.pipes), second)
        kept = {**base.equipment, "V99": valve}
        return base.model_copy(update={"equipment": kept, "pipes": pipes, "modes": modes})

    assert idle(found("open")) == {}
    assert set(idle(found("closed"))) == {"IB2"}
