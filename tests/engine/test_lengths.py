"""Every pipe of the examples halved and doubled: flows change continuously, none by a jump."""

from __future__ import annotations

from pathlib import Path

import pytest

from byrewright.engine.liquids import Liquids
from byrewright.plant.plant import Plant
from byrewright.plant.read import read_plant
from byrewright.standards.rulebook import default_rulebook

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
                for joint in one[mode].keys() | other[mode].keys():
                    a, b = one[mode].get(joint, 0.0), other[mode].get(joint, 0.0)
                    if abs(a - b) > JUMP * max(abs(a), abs(b), LEAST_L_MIN / JUMP * 0.05):
                        found.append(f"{pipe.id} x{times:g}, {mode}: {joint} {a:.1f} and {b:.1f}")
    return 2 * len(pipes[::every]), found


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.parent.name)
def test_no_flow_jumps_with_a_length(path: Path) -> None:
    """Would fail if a way were taken or left by how long it is."""
    tried, found = jumps(read_plant(path).plant, IN_CI)
    assert tried > 4
    assert not found, found[:5]
