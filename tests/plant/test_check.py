"""Cross checks of a whole plant, on the small plant with something left out."""

from __future__ import annotations

import pytest

from byrewright.plant.check import check
from byrewright.plant.farm import Wishes
from byrewright.plant.plant import Plant
from byrewright.plant.read import read_plant_text
from tests import plants
from tests.plant.small import SMALL


def without(*tags: str) -> Plant:
    """The small plant without some machines (and so with loose pipes, which check ignores)."""
    plant = read_plant_text(SMALL).plant
    kept = {t: m for t, m in plant.equipment.items() if t not in tags}
    return plant.model_copy(update={"equipment": kept})


@pytest.mark.parametrize(
    ("tags", "code"),
    [
        (("MU1",), "C004"),
        (("PF1",), "C005"),
        (("TK1", "TB1"), "C006"),
        (("WM1",), "C027"),
    ],
)
def test_a_plant_without_its_main_parts(tags: tuple[str, ...], code: str) -> None:
    """Would fail if a plant that cannot milk, or loses withheld milk, passed as sound."""
    assert code in {p.code for p in check(without(*tags))}


def test_twin_pumps_on_one_board_are_pointed_out() -> None:
    """Would fail if a common cause of losing both vacuum pumps went unmentioned."""
    small = read_plant_text(SMALL).plant
    plant = small.model_copy(update={"wishes": Wishes(redundancy="duty-and-standby")})
    twin = plant.equipment["VP1"].model_copy(update={"id": "VP2"})
    both = plant.model_copy(update={"equipment": {**plant.equipment, "VP2": twin}})
    (one,) = [p for p in check(both) if p.code == "C022"]
    assert one.severity == "advice"
    assert str(one).startswith("advice C022: equipment.VP2.fed_from: VP1 and VP2 are fed from one")
    apart = twin.model_copy(update={"fed_from": ("EM1",)})
    other = plant.model_copy(update={"equipment": {**plant.equipment, "VP2": apart}})
    assert not [p for p in check(other) if p.code == "C022"]


def test_errors_come_before_advice() -> None:
    """Would fail if what stops the work were buried under advice."""
    plant = without("MU1", "WM1")
    found = [p.severity for p in check(plant)]
    assert found == sorted(found, key=lambda s: s != "error")
    assert set(found) == {"error", "advice"}


def test_a_check_finds_its_line_in_the_file() -> None:
    """Would fail if a cross check could not be traced to a line."""
    text = SMALL.replace("cows: 320", "cows: 330")
    (one,) = read_plant_text(text, "farm.yaml").check()
    assert str(one).startswith("farm.yaml:12: error C002: herd.groups: the groups hold 320 cows")
    assert "groups:" in text.splitlines()[one.line - 1]


def test_a_milking_around_the_clock_is_no_mistake() -> None:
    """Would fail if a single milking that fills the day were called too long."""
    text = SMALL.replace("target_h: 3, groups: [high, low]", "target_h: 11.5")
    assert check(read_plant_text(text).plant) == ()


def backflow(device: str | None = None, **gaps: bool) -> list[str]:
    """Machines that water reaches unprotected: straight, through a tank, or through a device."""
    base = plants.rotary(24, 40)
    e = dict(base.equipment)
    pipes = list(base.pipes)
    for tag, gap in gaps.items():
        e[tag] = e[tag].model_copy(update={"inlet_air_gap": gap})
    if device:
        e["BP1"] = plants.machine("BP1", "backflow_preventer", device=device, flow_l_min=400)
        for i, pipe in enumerate(pipes):
            if pipe.start == "WS1.outlet":
                pipes[i] = pipe.model_copy(update={"start": "BP1.outlet"})
        pipes.append(plants.pipe("LBP", "WS1.outlet", "BP1.inlet"))
    plant = base.model_copy(update={"equipment": e, "pipes": tuple(pipes)})
    return [p.key.rpartition(".")[2] for p in check(plant) if p.code == "C042"]


def test_wash_that_could_flow_back_to_drinking_water_is_pointed_out() -> None:
    """Would fail if a trough on the mains passed, or a device of too low a category was enough."""
    bare = backflow()
    assert "TR1" in bare
    assert "TR1" not in backflow(TR1=True)
    assert not backflow(WT1=True)
    assert backflow("double_check") == bare
    behind = backflow("reduced_pressure")
    assert "TR1" not in behind and set(behind) == set(bare) - {"TR1"}


def flushed(line: str) -> list[str]:
    """Machines told where a valve joins water straight behind the source to a pipe's far end."""
    base = plants.rotary(24, 40)
    main = next(p for p in base.pipes if p.start == "WS1.outlet")
    into = next(p for p in base.pipes if p.id == line)
    e = {
        t: m.model_copy(update={"inlet_air_gap": True}) if hasattr(m, "inlet_air_gap") else m
        for t, m in base.equipment.items()
    }
    for tag in ("HX1", "HX2"):
        e[tag] = plants.machine(tag, "header")
    e["VX1"] = plants.machine("VX1", "valve", bore_mm=25.0, normally="closed")
    pipes = [p.model_copy(update={"end": "HX1.way_1"}) if p.id == main.id else
             p.model_copy(update={"end": "HX2.way_1"}) if p.id == line else p
             for p in base.pipes]  # fmt: skip
    pipes += [plants.pipe("LX1", "HX1.way_2", main.end), plants.pipe("LX2", "HX1.way_3", "VX1.a"),
              plants.pipe("LX3", "VX1.b", "HX2.way_2"),
              plants.pipe("LX4", "HX2.way_3", into.end)]  # fmt: skip
    plant = base.model_copy(update={"equipment": e, "pipes": tuple(pipes)})
    return [p.key.rpartition(".")[2] for p in check(plant) if p.code == "C042"]


def test_water_joined_straight_to_a_line_of_wash_or_milk_is_pointed_out() -> None:
    """Would fail if a flushing valve from the mains into a pipe passed: no trough is there."""
    base = plants.rotary(24, 40)
    for service in ("wash", "milk"):
        lines = [p.id for p in base.pipes if base.service_of(p) == service]
        assert lines and all(flushed(line) for line in lines[:3]), service
    water = [p.id for p in base.pipes if base.service_of(p) == "water" and p.start != "WS1.outlet"]
    assert water and not [
        t for line in water for t in flushed(line) if t != "BF1"
    ]  # it rinses units


def test_hard_water_at_a_heater_is_pointed_out() -> None:
    """Would fail if hard water came to a heater past no softener without a word, or if one on its
    way, or soft water, were told."""
    base = plants.rotary(24, 40)

    def told(mmol: float, softened: bool) -> list[str]:
        e, pipes = dict(base.equipment), list(base.pipes)
        if softened:
            e["WX1"] = plants.machine("WX1", "softener", flow_l_min=60, capacity_mol=9, salt_kg=2)
            leg = next(p for p in pipes if p.end == "WH1.inlet")
            pipes[pipes.index(leg)] = leg.model_copy(update={"end": "WX1.inlet"})
            pipes.append(plants.pipe("LWX", "WX1.outlet", "WH1.inlet"))
        site = base.site.model_copy(update={"water_hardness_mmol_l": mmol})
        plant = base.model_copy(update={"equipment": e, "pipes": tuple(pipes), "site": site})
        return [p.key for p in check(plant) if p.code == "C043"]

    heaters = [f"equipment.{t}" for t, m in base.equipment.items() if m.KIND == "water_heater"]
    assert told(4.0, softened=False) == heaters != []
    assert not told(2.4, softened=False)
    assert "equipment.WH1" not in told(4.0, softened=True)


@pytest.mark.parametrize(("slope", "rise", "told"), [
    (2.0, 0.4, True), (2.0, -0.05, True), (2.0, -0.1, False), (2.0, -1.0, False),
    (2.0, 0.0, False), (None, 0.4, False), (-2.0, 0.4, False),
])  # fmt: skip
def test_ends_that_lie_otherwise_than_a_stated_fall_are_pointed_out(
    slope: float | None, rise: float, told: bool
) -> None:
    """Would fail if a fall that the heights gainsay were passed over without a word, or told of a
    pipe that falls enough or states none."""
    base = plants.rotary(24, 40)
    bent = base.pipes[0].model_copy(update={"slope_pct": slope, "rise_m": rise, "length_m": 5.0})
    plant = base.model_copy(update={"pipes": (bent, *base.pipes[1:])})
    assert bool([p for p in check(plant) if p.code == "C044"]) is told


def test_a_plant_that_no_mode_washes_is_told() -> None:
    """Would fail if a wash that no mode does were sized, and passed, without a word."""
    base = plants.rotary(24, 40)
    dry = {n: m for n, m in base.modes.items() if "wash" not in m.does}
    plant = base.model_copy(update={"modes": dry})
    assert [p.code for p in check(plant)].count("C045") == 1
    assert not [p for p in check(base) if p.code == "C045"]
