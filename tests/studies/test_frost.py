"""Frost of rooms, lines and standing vessels; hardness of water; a hot wash that starts hot."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.plant.plant import Plant
from byrewright.plant.programme import programme_of
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.day import frost, run_day
from byrewright.studies.day.findings import CLOSES, closure
from byrewright.studies.day.study import simulate_days
from byrewright.studies.sizing import size
from tests import plants
from tests.studies.benches import bench_of

RULES = default_rulebook()
COLD = (-12.0, -8.0, 0.0, 5.0, 11.0, 15.0, 17.0, 16.0, 11.0, 6.0, 1.0, -6.0)


def farm(**site: object) -> Plant:
    """A rotary in a cold place, with more said of its site."""
    base = plants.rotary(40, 200)
    return base.model_copy(
        update={"site": base.site.model_copy(update={"ambient_c": COLD, **site})}
    )


def test_rooms_are_held_against_frost_or_asked_about() -> None:
    """Would fail if pipes of water in a frost passed because nobody said the room is cold."""
    for held, verdict in ((None, "unknown"), (1.0, "fails"), (5.0, "holds")):
        result = size(farm(room_heated_to_c=held))
        for service in ("water", "wash"):
            assert result.finding(f"frost.lines@{service}").verdict == verdict
    mild = farm(ambient_c=(20.0,) * 12, coldest_c=8.0)
    assert size(mild).finding("frost.lines@water").verdict == "holds"


def test_what_stands_in_a_frost_is_told_and_a_warm_room_mends_it() -> None:
    """Would fail if a tank of water at -0.1 degC held, or a room just above the limit was not
    looked at."""

    def bare(**site: object) -> Plant:
        plant = farm(**site)
        thin = {t: m.model_copy(update={"insulation_k_h": 3.0})
                for t, m in plant.equipment.items() if m.KIND == "bulk_tank"}  # fmt: skip
        return plant.model_copy(update={"equipment": plant.equipment | thin})

    out = [f for f in run_day(bare(), month=1).findings if f.key == "day.frost"]
    assert {"TK1", "WT1"} <= {f.subject for f in out}
    assert "fails" in {f.verdict for f in out if f.subject.startswith("TK")}
    near = run_day(bare(room_heated_to_c=2.5), month=1)
    assert {"TK1", "WT1"} <= {f.subject for f in near.findings if f.key == "day.frost"}
    within = run_day(bare(room_heated_to_c=5.0), month=1)
    assert not [f for f in within.findings if f.key == "day.frost"]
    # The heat that a warm room gives is in the ledger.
    run = simulate_days(farm(room_heated_to_c=5.0), Rulebook(), month=1, seed=2)
    assert max(abs(gap) for gap in closure(run).values()) < CLOSES


VESSELS = ("full", "low", "source", "bare")


def standing(held: float | None = None, month: int = 1, seen: int = 4) -> Any:
    """Four readings of vessels of 100 kg: one full, one as good as empty at first, a source, and
    one whose heat is not followed."""
    roles, floats = (
        np.zeros((4, sh.VI_ROLE + 1), dtype=int),
        np.zeros((4, 1 + max(sh.V_UA, sh.V_CAP))),
    )
    roles[:, sh.VI_ROLE] = (sh.STORE, sh.STORE, sh.STORE + 1, sh.STORE)
    floats[:, sh.V_CAP], floats[:, sh.V_UA] = 100.0, (5.0, 5.0, 5.0, 0.0)
    kg = {"low": np.array([1.0, 1.0, 1.1, 1.1])}
    c = {"full": np.array([4.0, 1.5, 0.6, 3.0]), "low": np.array([-9.0, -9.0, 0.4, 0.9])}
    return SimpleNamespace(
        plant=farm(room_heated_to_c=held), month=month, hot=False,
        seen=np.arange(4.0).reshape(-1, 1)[:seen], clock=lambda s: f"reading {s:g}",
        content_kg=lambda tag: kg.get(tag, np.full(4, 90.0)),
        temperature_c=lambda tag: c.get(tag, np.full(4, -20.0)),
        compiled=SimpleNamespace(tables=SimpleNamespace(I=roles, F=floats),
                                 names=SimpleNamespace(vessels=VESSELS)),
    )  # fmt: skip


@pytest.mark.parametrize(("held", "swing", "room"), [
    (None, 4.0, -1.0), (None, 0.5, 2.5), (2.0, 4.0, 2.0), (None, 0.4, None), (3.0, 4.0, None),
    (-3.0, 4.0, -1.0),
])  # fmt: skip
def test_the_coldest_reading_of_what_stands(
    monkeypatch: pytest.MonkeyPatch, held: float | None, swing: float, room: float | None
) -> None:
    """A mean of 3 degC less its swing, near the limit of 0.5 within 2 K: would fail if a vessel
    were judged by what it never held, a warmer reading were its coldest, or the cold of an empty or
    unbounded one were told."""
    monkeypatch.setattr(frost, "ambient_c", lambda *_, **__: (3.0, swing))
    ctx = bench_of(farm(), {"frost.liquid_least_c": 0.5})
    frost.judge(ctx, standing(held))
    assert bool(ctx.notes.assumptions) == (held is None)
    told = ctx.notes.findings
    assert [(f.subject, f.value) for f in told] == (
        [] if room is None else [("full", 0.6), ("low", 0.4)])  # fmt: skip
    for one, words in zip(told, ("reading 2", "reading 2"), strict=False):
        assert words in one.sentence and f"fell to {room:g} degC" in one.sentence
        assert ("Heat the room" in one.sentence) == (one.subject == "low")
        assert one.inputs[0].value == room and one.limit == 0.5
    none = bench_of(farm(), {"frost.liquid_least_c": 0.5})
    frost.judge(none, standing(held, seen=0))
    assert not none.notes.findings


def test_a_hot_wash_that_starts_cold_is_told() -> None:
    """Would fail if a small heater's wash began far below what is asked and nothing said it."""
    plant = farm()
    heater = next(t for t, m in plant.equipment.items() if m.KIND == "water_heater")
    small = plant.equipment[heater].model_copy(update={"volume_l": 60.0, "heater_kw": 1.0})
    weak = plant.model_copy(update={"equipment": {**plant.equipment, heater: small}})
    told = run_day(weak, month=6).finding("day.wash_start")
    assert told.verdict == "fails" and "into the heater" in told.sentence
    large = plant.equipment[heater].model_copy(
        update={"volume_l": 2500.0, "heater_kw": 60.0, "set_c": 90.0}
    )
    good = plant.model_copy(update={"equipment": {**plant.equipment, heater: large}})
    assert run_day(good, month=6).finding("day.wash_start").verdict == "holds"


def test_hard_water_asks_for_a_softener_of_its_size() -> None:
    """Would fail if scale were not mentioned, or a softener not held to the hot water of a day."""
    assert not [f for f in size(farm()).findings if f.key.startswith("water.hard")]
    hard = farm(water_hardness_mmol_l=4.0)
    assert size(hard).finding("water.hardness").verdict == "fails"
    heater = next(t for t, m in hard.equipment.items() if m.KIND == "water_heater")
    tag = next(p for p in hard.pipes if p.end == f"{heater}.inlet")

    def softened(mol: float) -> Plant:
        one = plants.machine("WX1", "softener", flow_l_min=60, capacity_mol=mol, salt_kg=2)
        pipes = [p if p.id != tag.id else p.model_copy(update={"end": "WX1.inlet"})
                 for p in hard.pipes]  # fmt: skip
        pipes.append(plants.pipe("LWX", "WX1.outlet", f"{heater}.inlet"))
        return hard.model_copy(
            update={"equipment": {**hard.equipment, "WX1": one}, "pipes": tuple(pipes)}
        )

    few = size(softened(0.5)).finding("water.softener")
    assert few.verdict == "fails" and few.limit is not None
    litres = next(i.value for i in few.inputs if i.symbol == "V")
    assert few.limit == pytest.approx(4.0 * float(litres) / 1000, rel=1e-3)
    assert few.advised is not None and few.limit < few.advised < 1.4 * few.limit
    assert size(softened(0.5)).finding("water.softener_salt").advised == 0.12  # 0.1 kg and 5 %
    for rinses in (1.0, 3.0):  # cold, so the hot water of a tank wash stays what it is
        found = size(softened(0.5), Rulebook({"wash.tank_rinses": rinses}))
        assert found.finding("water.softener").limit == pytest.approx(few.limit)
    many = size(softened(200.0))
    assert many.finding("water.softener").verdict == "holds"
    assert many.finding("water.softener_salt").limit == pytest.approx(0.20 * 200)
    assert many.finding("water.softener_salt").verdict == "fails"  # 2 kg for 200 mol
    flow = many.finding("water.softener_flow")
    most = max(s.litres for s in programme_of(hard, RULES).wash.steps)
    assert flow.limit == pytest.approx(most / RULES.number("wash.fill_drain_min"), abs=0.06)


def test_a_softener_counts_where_it_stands() -> None:
    """Would fail if one before the cooler were said to soften the wash, or one in the main were
    held to the hot water alone."""
    hard = farm(water_hardness_mmol_l=4.0)

    def softened(into: str) -> tuple[float, bool]:
        leg = next(p for p in hard.pipes if p.end == into)
        one = plants.machine("WX1", "softener", flow_l_min=60, capacity_mol=500, salt_kg=2)
        pipes = [p if p.id != leg.id else p.model_copy(update={"end": "WX1.inlet"})
                 for p in hard.pipes]  # fmt: skip
        pipes.append(plants.pipe("LWX", "WX1.outlet", into))
        result = size(hard.model_copy(
            update={"equipment": {**hard.equipment, "WX1": one}, "pipes": tuple(pipes)}
        ))  # fmt: skip
        need = result.finding("water.softener").limit
        return float(need or 0.0), any(f.key == "water.hardness" for f in result.findings)

    heater = next(t for t, m in hard.equipment.items() if m.KIND == "water_heater")
    cooler = next(t for t, m in hard.equipment.items() if m.KIND == "plate_cooler")
    source = next(p for p in hard.pipes if p.start == "WS1.outlet")
    day = size(hard).finding("water.day").value
    hot, told = softened(f"{heater}.inlet")
    assert hot > 0 and not told
    chilled, told = softened(f"{cooler}.water_in")
    assert chilled > 0 and told
    every, told = softened(source.end)
    assert not told and day is not None
    assert max(hot, chilled) < every <= 4.0 * day * 1.01


def test_hardness_told_with_the_washing_counts_as_the_site_s() -> None:
    """Would fail if 450 mg/L of lime stated with the washing left the heaters unjudged, or 4.5
    mmol/L stated with the site left the acid wash at a week."""
    wash = farm(water_hardness_mmol_l=4.5)
    told = size(wash)
    assert told.finding("wash.acid_interval").limit == RULES.number("wash.acid_hard_every_days")
    soft = farm()
    lime = soft.model_copy(
        update={"cleaning": soft.cleaning.model_copy(update={"hardness_ppm": 450.0})}
    )
    assert size(lime).finding("water.hardness").value == pytest.approx(4.5, rel=1e-3)
    both = lime.model_copy(update={"site": wash.site.model_copy(
        update={"water_hardness_mmol_l": 3.0})})  # fmt: skip
    assert size(both).finding("water.hardness").value == pytest.approx(4.5, rel=1e-3)
