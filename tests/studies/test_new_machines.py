"""A cooler and a source of cold that nobody has heard of: every study reads them by their roles."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from byrewright.documents.pack import write_pack
from byrewright.physics.heat import exchanger
from byrewright.plant.check import check
from byrewright.plant.machine import REGISTRY, InternalPath, Machine, port, ports
from byrewright.plant.plant import Plant
from byrewright.plant.primitives import Exchange, Primitive
from byrewright.plant.roles import MovesMilk
from byrewright.plant.write import plant_to_text
from byrewright.results import Finding, Result, merge
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.every import STUDIES, ask
from byrewright.studies.explain import explain
from byrewright.studies.failures.study import study_failures
from tests import plants
from tests.studies.new_machines import new_kinds, swapped

RULES = default_rulebook()


def chilled() -> Plant:
    """Rows with a two-stage cooler and an ice bank that feeds it and the tank."""
    plant = plants.rows(
        PC1=plants.machine("PC1", "plate_cooler", area_m2=8, water_ratio=2, chilled_area_m2=6),
        TK1=plants.machine("TK1", "bulk_tank", volume_l=8000, cooling="ice_bank", cooling_kw=20,
                           fed_from="SB1"),
        CU1=None,
        IB1=plants.machine("IB1", "ice_bank", store_kwh=160, duty_kw=25, fed_from="SB1"),
        LP9=plants.machine("LP9", "liquid_pump", flow_l_min=120, head_m=12, motor_kw=0.75,
                           fed_from="SB1"),
        NR9=plants.machine("NR9", "non_return_valve"),
        HC1=plants.machine("HC1", "header"), HC2=plants.machine("HC2", "header"),
    )  # fmt: skip
    ends = ("IB1.coolant_out_1 LP9.inlet", "LP9.outlet HC1.way_1", "HC1.way_2 PC1.coolant_in",
            "HC1.way_3 TK1.coolant_in", "PC1.coolant_out HC2.way_1", "TK1.coolant_out HC2.way_2",
            "HC2.way_3 IB1.coolant_in_1")  # fmt: skip
    pipes = tuple(plants.pipe(f"C{i}", *e.split()) for i, e in enumerate(ends))
    milking = plant.modes["milking"]
    runs = {**milking.positions, "LP9": "runs", "IB1": "runs"}
    modes = {**plant.modes, "milking": milking.model_copy(update={"positions": runs})}
    return plant.model_copy(update={"pipes": (*plant.pipes, *pipes), "modes": modes})


@pytest.fixture(scope="module")
def told() -> Iterator[tuple[Plant, Result, Result]]:
    """The plant with the new machines, what every study says of the usual ones, and of these. Days
    are simulated, those with failures not: the one day reads the same arrays."""

    def every(plant: Plant) -> Result:
        rest = ask(plant, RULES, tuple(name for name in STUDIES if name != "failures"))
        failures = study_failures(plant, RULES, simulate=False)
        return merge("every study", plant.site.name, (rest, failures))

    plain = chilled()
    before = every(plain)
    with new_kinds() as kinds:
        new = swapped(plain, kinds)
        yield new, before, every(new)


def said(result: Result) -> dict[str, tuple[float | None, float | None, str]]:
    """What a result says, finding by finding."""
    return {f.name: (f.value, f.limit, f.verdict) for f in result.findings}


def test_every_study_says_of_them_what_it_says_of_their_likes(
    told: tuple[Plant, Result, Result],
) -> None:
    """Would fail if a study passed a new kind over, or knew the old one by its name or class."""
    _, before, after = told
    assert said(after) == said(before)
    assert {f.key.partition(".")[0] for f in after.findings} >= {
        "cooling", "day", "vacuum", "routes", "failures"
    }  # fmt: skip


def test_milk_is_cooled_by_the_new_cooler(told: tuple[Plant, Result, Result]) -> None:
    """Would fail if both plants were wrong together: effectiveness worked out here decides."""
    plant, _, after = told
    one = after.finding("cooling.plate.approach@PC1")
    inputs = {i.symbol: float(i.value) for i in one.inputs if not isinstance(i.value, str)}
    tubes = getattr(plant.equipment["PC1"], "tubes_m")  # noqa: B009
    milk, most, ratio = inputs["C_milk"], inputs["C_min"], 2.0
    water = inputs["q_milk"] / 60_000 * ratio * RULES.number("water.density_kg_m3")
    water *= RULES.number("water.cp_kj_kgk")
    out = exchanger(milk, inputs["T_in"], water, inputs["t_in"], tubes * 0.25).hot_out_c
    assert most == pytest.approx(min(milk, water), abs=1e-3)
    assert one.value == pytest.approx(out - inputs["t_in"], abs=0.02)
    assert one.target == ("PC1", "tubes_m")
    assert one.title == "Tube cooler, water stage"


def test_the_new_store_of_cold_is_sized_by_its_own_figures(
    told: tuple[Plant, Result, Result],
) -> None:
    """Would fail if drafting were told to change a figure that the machine does not have."""
    plant, _, after = told
    targets = {f.target for f in after.findings if f.subject == "IB1" and f.target}
    assert targets == {("IB1", "freezes_kw"), ("IB1", "salt_kwh")}
    assert all(hasattr(plant.equipment[t], name) for t, name in targets)


def test_documents_and_explanations_take_them(
    told: tuple[Plant, Result, Result], tmp_path: Path
) -> None:
    """Would fail if a drawing, a list or an explanation held a table of kinds."""
    plant, _, after = told
    write_pack(tmp_path, plant_to_text(plant), plant, after, date="2026-03-01")
    drawn = "".join(p.read_text() for p in (tmp_path / "drawings").glob("*.svg"))
    assert "Tube cooler" in drawn and "Salt store" in drawn
    of_them: list[Finding] = [f for f in after.findings if f.subject in ("PC1", "IB1")]
    assert of_them and all(explain(f).render() for f in of_them)


def test_check_tells_which_study_passes_a_machine_over(told: tuple[Plant, Result, Result]) -> None:
    """Would fail if a machine that works in the day could be missing from sizing unseen."""
    plant, _, _ = told
    assert "C041" not in {p.code for p in check(plant)}

    class Mute(Machine):
        """Cools milk and does not say so."""

        KIND = "test_mute"
        TITLE = "Mute cooler"
        PORTS = ports(port("in", "milk", direction="in"), port("out", "milk", direction="out"))
        INSIDE = (InternalPath("in", "out"),)

        def lower(self) -> tuple[Primitive, ...]:
            return (Exchange("in", "out", "cold", "warm", 5.0, 2.0),)

    silent = plant.model_copy(update={"equipment": {**plant.equipment, "MC1": Mute(id="MC1")}})
    found = [p for p in check(silent) if p.code == "C041"]
    REGISTRY.pop("test_mute")
    assert [p.key for p in found] == ["equipment.MC1"]
    assert "sizing" in str(found[0]) and '"cools milk"' in str(found[0])


def test_a_role_without_its_face_is_refused_where_it_is_defined() -> None:
    """Would fail if a kind could claim to move milk and have no flow for the study to read."""
    with pytest.raises(TypeError, match="moves milk, so it must have flow_l_min, head_m"):

        class Nothing(MovesMilk):
            """Says that it moves milk."""

            KIND = "test_nothing"

    assert "test_nothing" not in REGISTRY
