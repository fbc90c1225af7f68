"""The plant's one graph: made once, and never kept for a plant that is joined up otherwise."""

from __future__ import annotations

from byrewright.plant.graph import Node, build
from byrewright.plant.machine import Machine
from byrewright.plant.plant import Plant
from tests import plants


def with_machine(plant: Plant, one: Machine) -> Plant:
    """The plant with a machine in place of that of its tag."""
    return plant.model_copy(update={"equipment": {**plant.equipment, one.id: one}})


def test_a_copy_keeps_the_graph_only_where_it_is_joined_up_as_before() -> None:
    """Would fail if a pipe of another bore, a valve of three ways or a machine of another kind were
    studied in the graph of the plant before; or if a search for a size made it anew each time."""
    plant = plants.rotary(20, 40)
    graph, pump = build(plant), plant.equipment["MP1"]
    assert build(with_machine(plant, pump.model_copy(update={"flow_l_min": 7.0}))) is graph
    assert build(plant.model_copy(update={"site": plant.site})) is graph
    three = build(with_machine(plant, plants.machine("V31", "valve", duty="divert", ways=3)))
    ways = {j.how.positions for j in three.edges if j.machine == "V31" and j.how is not None}
    assert ("to_b", "half") in ways and ("open", "half") not in ways
    other = build(with_machine(plant, plants.machine("MP1", "header")))
    assert {j.how.how for j in other.edges if j.machine == "MP1" and j.how} != {"driven"}
    preventer = build(
        with_machine(plant, plants.machine("WF1", "backflow_preventer", flow_l_min=500))
    )
    assert {j.how for j in preventer.edges if j.machine == "WF1"} != {
        j.how for j in graph.edges if j.machine == "WF1"
    }  # its ports are those of the filter that it stands for
    wide = tuple(p.model_copy(update={"bore_mm": 99.0}) for p in plant.pipes)
    assert all(j.pipe.bore_mm == 99.0 for j in build(plant.model_copy(
        update={"pipes": wide})).edges if j.pipe is not None)  # fmt: skip
    unwired = {t: m for t, m in plant.equipment.items() if t != "CT1"}  # no pipe meets it
    assert build(plant.model_copy(update={"equipment": unwired})) is not graph
    without = {t: m for t, m in plant.equipment.items() if t != "MP2"}
    fewer = plant.model_copy(update={
        "equipment": without,
        "pipes": tuple(p for p in plant.pipes if "MP2." not in p.start + " " + p.end),
    })  # fmt: skip
    assert Node("MP2", "inlet") not in build(fewer).nodes


def test_machines_are_found_anew_in_a_plant_with_others() -> None:
    """Would fail if a pump that is changed or left out went on making vacuum."""
    plant = plants.rotary(20, 40)
    assert [m.id for m in plant.able("makes vacuum")] == ["VP1", "VP2"]
    slower = plant.equipment["VP1"].model_copy(update={"capacity_l_min_free": 100.0})
    for kind in (plant, with_machine(plant, slower)):
        assert kind.able("makes vacuum") == kind.machines(type(slower))
        assert kind.able("makes vacuum")[0] is kind.equipment["VP1"]


def test_what_a_pipe_may_carry_follows_the_machines_at_its_ends() -> None:
    """Would fail if services were kept for a plant whose machine at one end is another."""
    plant = plants.rotary(20, 40)
    pipe = next(p for p in plant.pipes if p.end == "MP1.inlet")
    assert plant.services_open_to(pipe) == {"milk"}
    dry = with_machine(
        plant, plants.machine("MP1", "vacuum_pump", capacity_l_min_free=900, motor_kw=2)
    )
    assert dry.services_open_to(pipe) <= {"vacuum"}
