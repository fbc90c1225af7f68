"""Pipes of the examples halved and doubled: flows change by no jump, findings the right way."""

from __future__ import annotations

from pathlib import Path

import pytest

from byrewright.engine.liquids import Liquids
from byrewright.plant.plant import Plant
from byrewright.plant.read import read_plant
from byrewright.results import Finding, ResultBuilder
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.sizing.chilled import size_chilled_pumps
from byrewright.studies.sizing.circulation import size_circulation
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.delivery import size_delivery
from byrewright.studies.sizing.duty import Duty, duty_of
from byrewright.studies.sizing.pumping import wash_pumps
from byrewright.studies.sizing.receiving import wash_flow_l_min
from byrewright.studies.sizing.water import size_water

EXAMPLES = sorted((Path(__file__).resolve().parents[2] / "examples").glob("r*/plant.yaml"))
JUMP = 0.05  # of a flow, for a length changed by a hundredth
HUNDREDTH = 1.01
LEAST_L_MIN = 2.0  # a flow under this is a trickle through a stopped pump
IN_CI = 23  # every so many pipes


def changed(plant: Plant, name: str, times: float) -> Plant:
    """The plant with one pipe longer or shorter."""
    pipes = tuple(
        p.model_copy(update={"length_m": p.length_m * times}) if p.id == name else p
        for p in plant.pipes
    )
    return plant.model_copy(update={"pipes": pipes})


def flows_of(plant: Plant, modes: list[str]) -> dict[str, dict[str, float]]:
    """Flows in each mode."""
    net = Liquids(plant, default_rulebook())
    return {m: net.solve(net.situation(m)).l_min for m in modes}


def jumps(plant: Plant, every: int) -> tuple[int, list[str]]:
    """Lengths tried, and what changed by a jump: near the half, the whole and the double."""
    modes = [m for m, one in plant.modes.items() if {"milking", "wash"} & set(one.does)][:3]
    found: list[str] = []
    pipes = [p for p in plant.pipes if plant.service_of(p) in ("milk", "wash", "water", "coolant")]
    for pipe in pipes[::every]:
        for times in (0.5, 2.0):
            one = flows_of(changed(plant, pipe.id, times), modes)
            other = flows_of(changed(plant, pipe.id, times * HUNDREDTH), modes)
            for mode in modes:
                for edge in one[mode].keys() | other[mode].keys():
                    a, b = one[mode].get(edge, 0.0), other[mode].get(edge, 0.0)
                    if abs(a - b) > JUMP * max(abs(a), abs(b), LEAST_L_MIN / JUMP * 0.05):
                        found.append(f"{pipe.id} x{times:g}, {mode}: {edge} {a:.1f} and {b:.1f}")
    return 2 * len(pipes[::every]), found


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.parent.name)
def test_no_flow_jumps_with_a_length(path: Path) -> None:
    """Would fail if a way were taken or left by how long it is."""
    tried, found = jumps(read_plant(path).plant, IN_CI)
    assert tried > 4
    assert not found, found[:5]


def told(plant: Plant, times: float, duty: Duty) -> tuple[dict[str, Finding], dict[str, float]]:
    """Findings and the first milking mode's flows, with every pipe so many times as long."""
    pipes = tuple(p.model_copy(update={"length_m": p.length_m * times}) for p in plant.pipes)
    made = plant.model_copy(update={"pipes": pipes})
    ctx = StudyContext(made, default_rulebook(), ResultBuilder("test", "(invented)"))
    for topic in (size_delivery, size_water, size_chilled_pumps, size_circulation):
        topic(ctx, duty)
    wash_pumps(ctx, wash_flow_l_min(ctx, duty))
    milking = next(n for n, m in made.modes.items() if "milking" in m.does)
    return {f.name: f for f in ctx.notes.findings}, flows_of(made, [milking])[milking]


def over_nothing_m(npsh: Finding) -> float:
    """Suction head over no pressure instead of over boiling, of water, m."""
    assert npsh.value is not None
    (boils,) = [i.value for i in npsh.inputs if i.symbol == "p_boils"]
    return npsh.value + float(boils) / 9.80665


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.parent.name)
def test_findings_follow_the_lengths(path: Path) -> None:
    """Would fail if a study kept a picture of its own in which a pipe's length has no say."""
    plant = read_plant(path).plant
    duty = duty_of(StudyContext(plant, default_rulebook(), ResultBuilder("test", "(invented)")))
    short, near = told(plant, 0.5, duty)
    long, far = told(plant, 2.0, duty)
    judged = 0
    for name in short.keys() & long.keys():
        key = name.split("@")[0]
        if key.endswith("pump.head") or key == "delivery.head":
            a, b = short[name].limit, long[name].limit
            assert a is not None and b is not None and b > a + 0.05, name
        elif key == "delivery.npsh":  # over no pressure: longer lines also make the wash cooler
            assert over_nothing_m(long[name]) < over_nothing_m(short[name]), name
        elif key == "wash.circulates":
            a, b = short[name].value, long[name].value
            assert a is not None and b is not None and b <= a, name
        else:
            continue
        judged += 1
    assert judged >= 8
    # Less milk comes to the cooler, and less of what takes its heat there; water is shared with
    # floats that stand open.
    for cooler in plant.able("cools milk"):
        sides = [f"{cooler.id}:{x}_in-{x}_out" for x in ("milk", "coolant")]
        assert sides[0] in near
        for side in (s for s in sides if s in near):
            assert abs(far[side]) < 0.999 * abs(near[side]), side
