"""The solver against exhaustive search on random small plants; sensors and orders proven."""

from __future__ import annotations

from itertools import combinations, permutations
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from byrewright.engine.interlocks import active, contacts
from byrewright.plant.plant import Mode, Pipe, Plant
from byrewright.plant.read import read_plant
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.routes import sensors
from byrewright.studies.routes.brute import harms_of, holds, search
from byrewright.studies.routes.network import network
from byrewright.studies.routes.orders import safe_order
from byrewright.studies.routes.prove import Prover
from byrewright.studies.routes.questions import all_scenes, change
from byrewright.studies.routes.study import Routes
from tests.plants import farm, machine

EXAMPLE = Path(__file__).parents[2] / "examples" / "rotary_spring_ice" / "plant.yaml"
MOST_VALVES = 5
RANDOM_PLANTS = 60  # about ten seconds on a slow machine


@st.composite
def small_plants(draw: st.DrawFn) -> Plant:
    """A unit, a trough, tanks and a drain, joined at headers by random valves and checks."""
    headers = [f"H{i}" for i in range(draw(st.integers(2, 4)))]
    equipment = {h: machine(h, "header") for h in headers}
    equipment |= {
        "MU1": machine("MU1", "milking_unit"),
        "TR1": machine("TR1", "wash_trough", volume_l=300),
        "TK1": machine("TK1", "bulk_tank", volume_l=5000, cooling_kw=10),
        "TK2": machine("TK2", "bulk_tank", volume_l=5000, cooling_kw=10),
        "FD1": machine("FD1", "floor_drain"),
        "MP1": machine("MP1", "milk_pump", flow_l_min=100, head_m=10, motor_kw=1),
    }
    ends: list[tuple[str, str]] = []
    ways = dict.fromkeys(headers, 0)

    def at(header: str) -> str:
        ways[header] += 1
        return f"{header}.way_{ways[header]}"

    pick = st.sampled_from(headers)
    for port in (
        "MU1.milk",
        "TR1.outlet_1",
        "TK1.inlet_1",
        "TK2.inlet_1",
        "TK1.outlet",
        "FD1.inlet_1",
        "MP1.inlet",
        "MP1.outlet",
        "TR1.return_1",
    ):
        ends.append((port, at(draw(pick))))
    positions: dict[str, dict[str, str]] = {"a": {}, "b": {}}
    for number in range(draw(st.integers(2, MOST_VALVES))):
        tag = f"V{number}"
        ways_of = draw(st.sampled_from((2, 2, 3)))
        double = draw(st.booleans())
        equipment[tag] = machine(tag, "valve", ways=ways_of, seats="double" if double else "single")
        for port in ("a", "b", "c")[:ways_of]:
            if port == "a" or draw(st.integers(0, 4)):
                ends.append((f"{tag}.{port}", at(draw(pick))))
        for mode in positions.values():
            mode[tag] = draw(st.sampled_from(equipment[tag].states()))
    tanks = st.sampled_from(("fills", "stands", "is washed"))
    for name, mode in positions.items():
        mode |= {
            "TK1": draw(tanks),
            "TK2": draw(tanks),
            "MP1": draw(st.sampled_from(("runs", "stopped"))),
        }
        mode["MU1"] = "milks" if name == "a" else draw(st.sampled_from(("idle", "milks")))
    does = draw(st.sampled_from(("wash", "rinse", "idle", "drain_down", "collection")))
    return Plant(
        byrewright=1, equipment=equipment,
        pipes=tuple(Pipe(id=f"L{i}", start=a, end=b, bore_mm=50, length_m=2, service=_service(a))
                    for i, (a, b) in enumerate(ends)),
        modes={"a": Mode(name="a", does=("milking",), positions=positions["a"]),
               "b": Mode(name="b", does=(does,), positions=positions["b"])},
        **farm(100, 2, 1, 0, 25.0, 3.0),
    )  # fmt: skip


def _service(end: str) -> str:
    return "drain" if end.startswith("FD") else "wash" if end.startswith("TR") else "milk"


@given(small_plants())
@settings(max_examples=RANDOM_PLANTS, deadline=None, derandomize=True)
def test_solver_and_exhaustive_search_agree(plant: Plant) -> None:
    """Would fail if the solver missed a combination, or proved what is not so."""
    for scene in all_scenes(plant).values():
        everything = search(scene, len(scene.others))
        for question in scene.questions:
            mine = [h for h in everything if h.question == question]
            prover = Prover(scene)
            found = {frozenset(h.wrong) for h in prover.all_hits(question, 3).hits}
            assert found == {frozenset(h.wrong) for h in mine if h.order <= 3}
            if not any(not h.order for h in mine):
                first = prover.first(question, list(scene.others))
                assert (first is None) is (not mine)
                assert first is None or holds(scene, question, first)


@given(small_plants())
@settings(max_examples=RANDOM_PLANTS // 2, deadline=None, derandomize=True)
def test_sensor_set_is_the_smallest(plant: Plant) -> None:
    """Would fail if fewer sensors could see every harmful combination, or the set missed one."""
    scenes = all_scenes(plant)
    hits = [h for s in scenes.values() for h in search(s, len(s.others))]
    few = [h for h in hits if h.order <= 1]
    best = sensors.smallest(list(scenes.values()), few + [h for h in hits if not h.order])
    assert best is not None
    must = [h.machines for h in hits if h.order]
    assert all(m & set(best.machines) for m in must)
    every = sorted({m for group in must for m in group})
    for size in range(len(best.machines)):
        assert not any(all(m & set(c) for m in must) for c in combinations(every, size))


@given(small_plants())
@settings(max_examples=RANDOM_PLANTS // 2, deadline=None, derandomize=True)
def test_orders_agree_with_trying_them_all(plant: Plant) -> None:
    """Would fail if a proposed order were dangerous, or one existed where none was found."""
    net = network(plant)
    order = safe_order(plant, "a", "b", net)
    scene = change(plant, "a", "b", net)
    asked = [q for q in scene.questions if q not in order.at_rest]

    def safe(moves: tuple[tuple[str, str], ...]) -> bool:
        return not any(holds(scene, q, moves[:n]) for n in range(1, len(moves)) for q in asked)

    moves = {m: scene.others[m][0] for m in scene.others}
    if order.safe:
        assert safe(order.moves)
    elif len(moves) <= 6:
        some = {m for q in scene.questions for m in scene.guards(q)} & set(moves)
        assert not any(safe(tuple((m, moves[m]) for m in p)) for p in permutations(sorted(some)))
    if order.any_order and len(moves) <= 5:
        assert all(safe(tuple((m, moves[m]) for m in p)) for p in permutations(moves))


def test_next_best_without_a_sensor() -> None:
    """Would fail if the set proposed without a sensor left something unseen, or named it."""
    study = Routes(read_plant(EXAMPLE).plant, Rulebook())
    for without, others in study.next_best.items():
        if others is None:
            assert study.best.alone[without].machines == {without}
            continue
        assert without not in others and len(others) >= len(study.best.machines)
        assert not sensors.unseen(study.scenes.values(), others)


def test_nothing_is_unseen_with_the_proposed_sensors() -> None:
    """Would fail if some number of wrong positions could do harm unseen on an example plant."""
    study = Routes(read_plant(EXAMPLE).plant, Rulebook())
    assert not sensors.unseen(study.scenes.values(), study.best.machines)
    for left_out in study.best.machines:
        fewer = set(study.best.machines) - {left_out}
        assert sensors.unseen(study.scenes.values(), fewer), left_out


@given(small_plants())
@settings(max_examples=RANDOM_PLANTS // 2, deadline=None, derandomize=True)
def test_the_table_sees_every_harm_on_any_plant(plant: Plant) -> None:
    """Would fail if the table of the smallest sensor set missed a harmful combination, of any
    number of wrong positions, or was not quiet with everything in place."""
    study = Routes(plant, Rulebook(), order=1, by_day=False)
    table = study.table
    for mode, scene in study.scenes.items():
        right = contacts(table, scene.wanted)
        assert not active(table, mode, right)
        harmful = {h.wrong for h in search(scene, len(scene.others)) if h.order}
        at_rest = {h.question.name for h in study.at_rest if h.mode == mode}
        for wrong in harmful:
            if all(q.name in at_rest for q in harms_of(scene, wrong)):
                continue
            shown = contacts(table, {**scene.wanted, **dict(wrong)})
            assert active(table, mode, shown), (mode, wrong)
