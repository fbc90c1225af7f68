"""Liquid network against the library EPANET (through WNTR) on random networks (Darcy-Weisbach)."""

from __future__ import annotations

import math
import warnings
from importlib.util import find_spec
from itertools import count
from pathlib import Path

import numpy as np
import pytest

from byrewright.engine import liquids
from byrewright.engine.liquidnet import PIPE, RATED, Net, Solved, solve
from byrewright.plant.read import read_plant
from byrewright.standards.rulebook import default_rulebook
from tests.liquidnets import NU_M2_S, Case, draw, epanet, net, solved

pytestmark = pytest.mark.skipif(find_spec("wntr") is None, reason="wntr is missing")

WITHIN = 0.01  # the agreement asked of the solver, of each flow above 1 L/min
BESIDE = 0.0025  # and of the greatest flow: a link between two that are nearly even takes the rest
PASSING = 0.10  # where a pipe is between laminar and turbulent the two laws of friction differ
PASSES = (1800.0, 4200.0)  # Reynolds numbers that count as passing
LEAST_M3_S = 1.0 / 60_000
NETWORKS = 100
EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
PLANT_PASSING = 0.02
"""Of each flow above 1 L/min of an example where a stub is between laminar and turbulent."""


def _number(q: float, bore_m: float) -> float:
    return 4 * abs(q) / (math.pi * NU_M2_S * bore_m)


def _passes(case: Case, flow: list[float]) -> bool:
    every = (_number(q, p.bore_m) for q, p in zip(flow, case.pipes, strict=False))
    return any(PASSES[0] < number < PASSES[1] for number in every)


def _plant_passes(of: Net, flow: np.ndarray) -> bool:
    return any(
        of.law[k] == PIPE and PASSES[0] < abs(flow[e]) * of.par[k][3] < PASSES[1]
        for e, (first, last) in enumerate(of.span)
        for k in range(first, last)
        if of.par[k][1] > 0
    )


@pytest.mark.filterwarnings("ignore")
def test_a_hundred_random_networks_agree_with_epanet(tmp_path: Path) -> None:
    """Would fail if a law, a non-return valve, a pump or the method were wrong."""
    warnings.simplefilter("ignore")
    clear = 0
    for seed in count():
        case = draw(seed)
        ours = solve(net(case), np.zeros(0))
        assert ours.left < RATED, f"seed {seed}: {ours.left:.1e} left after {ours.steps} steps"
        theirs = epanet(case, str(tmp_path))
        passing = _passes(case, theirs)
        clear += not passing
        most = max(abs(q) for q in theirs)
        for e, (q, r) in enumerate(zip(ours.flow, theirs, strict=True)):
            if max(abs(q), abs(r)) > LEAST_M3_S:
                allowed = PASSING if passing else WITHIN
                near = allowed * abs(r) + BESIDE * most
                assert abs(q - r) <= near, f"seed {seed}, link {e}: {q} and {r} m3/s"
        if clear == NETWORKS:
            break


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("name", ["rotary_spring_ice", "rotary_round_the_clock",
                                  "rows_two_by_twenty"])  # fmt: skip
def test_every_mode_of_the_examples_agrees_with_epanet(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if a plant's milk, wash, water or chilled liquid ran otherwise than the arrays
    that are told of it say, in any mode."""
    warnings.simplefilter("ignore")
    seen: list[tuple[Net, Solved]] = []

    def spy(of: Net, start: object) -> Solved:
        seen.append((of, solve(of, start)))
        return seen[-1][1]

    monkeypatch.setattr(liquids, "solve", spy)
    plant = read_plant(EXAMPLES / name / "plant.yaml").plant
    ours = liquids.Liquids(plant, default_rulebook())
    for mode in plant.modes:
        ours.solve(ours.situation(mode))
    many = 0
    for of, found in seen:
        if len(of.ends) < 2 or np.abs(found.flow).max() < LEAST_M3_S:
            continue
        theirs = solved(of, found.flow, str(tmp_path))
        allowed = PLANT_PASSING if _plant_passes(of, found.flow) else WITHIN
        for q, r in zip(found.flow, theirs, strict=True):
            if max(abs(q), abs(r)) > LEAST_M3_S:
                many += 1
                assert abs(q - r) <= allowed * abs(r), f"{name}: {q} and {r} m3/s"
    assert many > 50
