"""What stays in lines that do not fall, on an invented line with sums by hand."""

from __future__ import annotations

import math
from typing import Any

import pytest

from byrewright.engine.liquids import Liquids
from byrewright.engine.standing import standing
from byrewright.plant.plant import Plant
from byrewright.standards.rulebook import default_rulebook
from tests.engine.test_liquids import plant

LITRES_A_METRE = math.pi / 4 * 0.486**2 * 10  # of 48.6 mm


def line(drains: bool = False, check: bool = False, **rises: float) -> Plant:
    """Balance tank, pump, header, tank: 4 m each; `L1` to `L5` rise as told."""
    way = {"kind": "non_return_valve"} if check else {"kind": "header"}
    ends = ("X1.inlet", "X1.outlet") if check else ("X1.way_1", "X1.way_2")
    lines = ["L1: BT1.outlet > MP1.inlet", f"L2: MP1.outlet > {ends[0]}",
             f"L3: {ends[1]} > V1.a", "L4: V1.b > TK1.inlet_1"]  # fmt: skip
    return plant(
        {"BT1": {"kind": "balance_tank", "volume_l": 400}, "X1": way, "V1": {"kind": "valve"},
         "MP1": {"kind": "milk_pump", "flow_l_min": 90, "head_m": 15, "motor_kw": 0.75,
                 "drains": drains},
         "TK1": {"kind": "bulk_tank", "volume_l": 8000, "cooling_kw": 20}},
        lines, {"milking": {"MP1": "stopped", "V1": "open"}, "shut": {"V1": "closed"}},
        **{name: {"rise_m": rise} for name, rise in rises.items()},
    )  # fmt: skip


def left(made: Plant, *modes: str) -> dict[str, float]:
    """Metres of each pipe that stay full, in milking or after some modes in turn."""
    net = Liquids(made, default_rulebook())
    states = [net.situation(mode) for mode in modes or ("milking",)]
    found = standing(net, states, [p.id for p in made.pipes])
    return {x.pipe: round(x.litres / LITRES_A_METRE, 2) for x in found}


def test_a_line_that_falls_runs_empty() -> None:
    """Would fail if a rise that runs back to its vessel, or a fall to a tank, held liquid."""
    assert set(left(line(L2=1.0, L3=1.0, L4=-0.5)).values()) == {0.0}


def test_a_sag_holds_what_lies_under_its_crest() -> None:
    """Would fail if what cannot rise over the lower of two crests were said to run out."""
    # Down 1 m to the pump, up 2 m: it fills to the tank's outlet, half of the way up.
    found = left(line(L1=-1.0, L2=2.0))
    assert found == {"L1": pytest.approx(4, abs=0.15), "L2": pytest.approx(2, abs=0.15),
                     "L3": 0.0, "L4": 0.0}  # fmt: skip
    assert set(left(line(L1=-1.0, L2=2.0, drains=True)).values()) == {0.0}
    # A non-return valve keeps what is over it: up to the crest behind, all of the rise.
    kept = left(line(L3=2.0, L4=-0.5, check=True))
    assert kept["L3"] == pytest.approx(4, abs=0.15) and kept["L2"] == kept["L4"] == 0.0


def test_what_a_valve_shuts_in_stays() -> None:
    """Would fail if a line that nothing lets out were said to run empty."""
    found = left(line(L2=1.0, check=True), "shut")
    assert found["L3"] == pytest.approx(4, abs=0.05)
    assert found["L1"] == found["L2"] == 0.0


def test_a_pipe_goes_by_its_course() -> None:
    """Would fail if a sag between two ends of one height were not seen, vanished as soon as the
    pipe was measured a little longer than planned, or outlived its plan."""
    made = line()
    pipe = next(p for p in made.pipes if p.id == "L3").laid(
        4.0, 0.0, 2, ((0.0, 0.0), (1.0, -1.0), (3.0, -1.0), (4.0, 0.0))
    )

    def course(**fields: Any) -> float:
        pipes = tuple(pipe.model_copy(update=fields) if p.id == "L3" else p for p in made.pipes)
        return left(made.model_copy(update={"pipes": pipes}))["L3"]

    assert course() == pytest.approx(4, abs=0.15)
    assert course(length_m=4.2) == pytest.approx(4.2, abs=0.15)
    assert course(length_m=9.0) == pytest.approx(9, abs=0.3)
    # Too short to go down and up again, or with other ends: not the plan's pipe.
    assert course(length_m=1.5) == course(rise_m=-0.1) == 0.0


def test_what_one_mode_lets_out_is_gone_in_the_next() -> None:
    """Would fail if the drop before a tank's valve, which runs into the tank while that stands open
    after its wash, were told to go with the milk because draining down shuts the valve."""
    made = line(L2=1.0, L3=-1.0, L4=-0.5)
    assert left(made, "shut")["L3"] == pytest.approx(4, abs=0.15)
    assert set(left(made, "milking", "shut").values()) == {0.0}
