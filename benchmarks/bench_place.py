"""How long a plan takes, and whether what it draws can be built: on random briefs.

    python benchmarks/bench_place.py [briefs] [first seed]

Each plan is looked over by brute force: machines in machines, rooms in rooms, pipes in pipes and in
machines, pipes with no way, liquid over boards; and by what the study of the plan fails. Then
machines are moved one by one, as a hand would drag them: how long the answer takes, and which pipes
change that are none of theirs.
"""

from __future__ import annotations

import gc
import sys
import tempfile
import time
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from benchmarks.briefs import TUNING, random_brief
from byrewright.drafting.draft import MOST_TANKS, intent_of
from byrewright.drafting.sheet import Chosen
from byrewright.drafting.topology import lay_out
from byrewright.place import checks, layout
from byrewright.plant import sited as siting
from byrewright.plant.brief import read_brief_text
from byrewright.plant.place import MachinePlace
from byrewright.plant.plant import Plant
from byrewright.plant.read import read_plant
from byrewright.plant.sited import Sited, laid_out, sited
from byrewright.studies.place import study_place
from tests.place.scenes import briefed, faults
from tests.place.test_routes import near_pairs, through_machines

BRIEFS, GOAL_S, DRAG_GOAL_S = 20, 3.0, 0.5  # processor time
TANKS_L = (4000.0, 8000.0, 12000.0, 18000.0, 25000.0, 32000.0, 40000.0)
FIXED = [*(("rotary", n) for n in range(24, 121, 12)), *(("rows", n) for n in range(16, 81, 8))]
EXAMPLES = Path(__file__).resolve().parents[1] / "examples"


def fresh(plant: Plant) -> tuple[Sited, float]:
    """A plan laid now, and the processor time it took."""
    for kept in (siting._KEPT, siting._ROUTES, siting._LATEST, layout._DRAFTS):
        kept.clear()
    with tempfile.TemporaryDirectory() as folder:
        siting.cache_folder = lambda _: Path(folder)  # type: ignore[assignment]
        began = time.process_time()
        made = sited(plant)
        took = time.process_time() - began
    assert made is not None
    return made, took


def wrong(made: Sited) -> list[str]:
    """What could not be built."""
    routes = [r for r in made.routes if r.points]
    found = list(faults(made.plan)) + near_pairs(routes) + through_machines(made.plan, routes)
    found += [f"{r.ends}: no way" for r in routes if not r.found]
    return found + [f"{tag} over {room}" for tag, room in checks.wet_in_dry(made.plan, routes)]


def failing(plant: Plant) -> list[str]:
    """What the study of the plan says cannot stay so."""
    return [f.sentence for f in study_place(plant).findings if f.verdict in ("fails", "unknown")]


def random_plant(seed: int) -> Plant:
    """A drafted plant with first guesses of its sizes, and tanks of any."""
    draw = Random(seed)
    tanks = [(f"TK{n}", "volume_l") for n in range(1, MOST_TANKS + 1)]
    sizes = {tank: Chosen(draw.choice(TANKS_L), "drawn") for tank in tanks}
    plant, _ = lay_out(intent_of(read_brief_text(random_brief(seed)).brief), sizes)
    return plant


def drags(plant: Plant, made: Sited, seed: int, moves: int = 12) -> tuple[float, int]:
    """Machines dragged by up to half a metre: the longest answer, and pipes of others changed."""
    draw, longest, others = Random(seed), 0.0, 0
    assert plant.place is not None
    tags = [t for t, b in made.plan.bodies.items() if b.frame == "fixed"]
    for tag in draw.sample(tags, min(moves, len(tags))):
        body = made.plan.bodies[tag]
        at = tuple(round(v + draw.uniform(-0.5, 0.5), 2) for v in (body.x, body.y))
        machines = {**plant.place.machines, tag: MachinePlace(at=at)}
        began = time.process_time()
        moved = laid_out(
            plant.model_copy(update={
                "place": plant.place.model_copy(update={"machines": machines})})
        )  # fmt: skip
        study_place(moved)
        longest = max(longest, time.process_time() - began)
        after = sited(moved)
        assert after is not None
        own = {p for r in made.routes for p in r.lines if tag in {e.split(".")[0] for e in r.ends}}
        changed = {t for t in made.laid if made.laid[t].points != after.laid[t].points}
        others += len(changed - own)
    return longest, others


def told(name: str, plant: Plant, seed: int) -> tuple[int, float, float]:
    """One plan judged and printed."""
    made, took = fresh(plant)
    found = wrong(made) + failing(plant)
    gc.collect()
    gc.freeze()  # as the server of the pages does
    longest, others = drags(plant, made, seed)
    print(f"{name:24} {len(made.plan.bodies):3} machines {len(made.routes):3} runs  {took:4.2f} s  "
          f"drag {longest:4.2f} s, {others} pipes of others  {len(found)} wrong",
          flush=True)  # fmt: skip
    for one in found[:6]:
        print(f"    {one}")
    return len(found), took, longest


def main(briefs: int, first: int) -> None:
    """Lay the fixed sizes, the examples and the random briefs out, and print what came of it."""
    told("warm", briefed("rows", 16), 0)
    plants = [(f"{kind} {n}", briefed(kind, n)) for kind, n in FIXED]
    plants += [(p.parent.name, read_plant(p).plant) for p in sorted(EXAMPLES.glob("*/plant.yaml"))]
    plants += [(f"brief {s}", random_plant(s)) for s in range(first, first + briefs)]
    every = [told(name, plant, first + i) for i, (name, plant) in enumerate(plants)]
    bad = sum(n > 0 for n, _, _ in every)
    slow = sum(t > GOAL_S for _, t, _ in every)
    late = sum(t > DRAG_GOAL_S for _, _, t in every)
    print(f"\n{len(every)} plans: {bad} cannot be built as drawn; longest "
          f"{max(t for _, t, _ in every):.2f} s ({slow} over {GOAL_S:g} s); longest answer to a "
          f"drag {max(t for _, _, t in every):.2f} s ({late} over {DRAG_GOAL_S:g} s).")  # fmt: skip


if __name__ == "__main__":
    asked = [int(a) for a in sys.argv[1:]]
    main(asked[0] if asked else BRIEFS, asked[1] if len(asked) > 1 else TUNING + 1)
