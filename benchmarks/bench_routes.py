"""How long the routes study takes with sixty valves: orders two and three, solver, sensors.

.venv/bin/python benchmarks/bench_routes.py [plant file ...]
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from byrewright.plant.plant import Plant
from byrewright.plant.read import read_plant
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.routes.brute import search, tried
from byrewright.studies.routes.network import network
from byrewright.studies.routes.questions import all_scenes
from byrewright.studies.routes.study import Routes
from tests.plants import machine, pipe

EXAMPLE = Path(__file__).resolve().parents[1] / "examples" / "rotary_spring_ice" / "plant.yaml"
VALVES = 60
ORDER_TWO_S, ORDER_THREE_S = 5.0, 60.0
BEST_OF = 3
T = TypeVar("T")


def sixty_valves(plant: Plant, valves: int = VALVES) -> Plant:
    """A plant with isolating valves put into its milk and wash pipes until it has `valves`."""
    equipment = dict(plant.equipment)
    pipes = list(plant.pipes)
    have = sum(1 for m in equipment.values() if m.can("is a valve"))
    number = 0
    while have < valves:
        liquid = [p for p in pipes if plant.service_of(p) in ("milk", "wash")]
        old = next(p for p in liquid if "VX" not in p.start + p.end)
        number, have = number + 1, have + 1
        tag = f"VX{number}"
        pipes.remove(old)
        service = plant.service_of(old)
        pipes += [
            pipe(f"{old.id}y", old.start, f"{tag}.a", old.bore_mm, old.length_m).model_copy(
                update={"service": service}
            ),
            pipe(f"{old.id}x", f"{tag}.b", old.end, old.bore_mm, old.length_m).model_copy(
                update={"service": service}
            ),
        ]
        equipment[tag] = machine(tag, "valve", normally="open")
    return plant.model_copy(update={"equipment": equipment, "pipes": tuple(pipes)})


def timed(work: Callable[[], T], times: int = 1) -> tuple[float, T]:
    """Best time of some runs, s, and the answer."""
    best, answer = float("inf"), None
    for _ in range(times):
        start = time.perf_counter()
        answer = work()
        best = min(best, time.perf_counter() - start)
    assert answer is not None
    return best, answer


def measure(name: str, plant: Plant) -> bool:
    """Print the figures of one plant; whether both targets are met."""
    valves = sum(1 for m in plant.equipment.values() if m.can("is a valve"))
    net = network(plant)
    scenes = all_scenes(plant, net)
    most = max(len(s.others) for s in scenes.values())
    print(
        f"{name}: {valves} valves, up to {most} machines that can stand wrong, {len(scenes)} modes"
    )
    two, hits = timed(
        lambda: [h for s in all_scenes(plant, net).values() for h in search(s, 2)], BEST_OF
    )
    tried_two = sum(tried(s, 2) for s in scenes.values())
    print(f"  order two    {two:6.2f} s  {tried_two:,} combinations, {len(hits):,} harmful")
    three, hits = timed(lambda: [h for s in scenes.values() for h in search(s, 3)])
    tried_three = sum(tried(s, 3) for s in scenes.values())
    print(f"  order three  {three:6.2f} s  {tried_three:,} combinations, {len(hits):,} harmful")
    study = Routes(plant, Rulebook())
    proof, (agree, count, calls, _) = timed(lambda: study.proof(2))
    print(f"  solver, two  {proof:6.2f} s  {calls:,} calls, {count:,} harmful, agrees: {agree}")
    study = Routes(plant, Rulebook(), order=3)
    proof, (agree, count, calls, _) = timed(lambda: study.proof(3))
    print(f"  solver, three{proof:6.2f} s  {calls:,} calls, {count:,} harmful, agrees: {agree}")
    sensors, best = timed(lambda: study.best)
    print(f"  sensors      {sensors:6.2f} s  {len(best.machines)} machines, any number wrong")
    orders, every = timed(study.orders)
    print(f"  orders       {orders:6.2f} s  {len(every)} changes of mode")
    return two < ORDER_TWO_S and three < ORDER_THREE_S and agree


def main() -> int:
    """Measure the plants named, or the examples and one with sixty valves."""
    paths = [Path(p) for p in sys.argv[1:]]
    plants = [(p.parent.name, read_plant(p).plant) for p in paths]
    if not plants:
        plants = [("sixty valves", sixty_valves(read_plant(EXAMPLE).plant))]
    met = [measure(name, plant) for name, plant in plants]
    print(f"targets (order two under {ORDER_TWO_S:g} s, order three under {ORDER_THREE_S:g} s): "
          + ("met" if all(met) else "NOT MET"))  # fmt: skip
    return 0 if all(met) else 1


if __name__ == "__main__":
    raise SystemExit(main())
