"""Two revisions of a plant: what is the same under another tag is not told as new."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from byrewright.documents.changes import drawings
from byrewright.plant.plant import Pipe, Plant
from byrewright.results import Finding, Result, ResultBuilder, Verdict
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.changes import (
    _positions,
    changes,
    finding_changes,
    renamed,
    study_changes,
    unchanged,
)
from tests.plants import machine, rotary, rows


def called(plant: Plant, old: str, new: str) -> Plant:
    """The plant with one machine under another tag, wherever it is named."""

    def swap(end: str) -> str:
        tag, _, port = end.partition(".")
        return f"{new}.{port}" if tag == old else end

    def again(value: object) -> object:
        if isinstance(value, tuple):
            return tuple(new if v == old else v for v in value)
        return new if value == old else value

    equipment = {}
    for tag, one in plant.equipment.items():
        fields = {n: again(v) for n in type(one).model_fields if again(v := getattr(one, n)) != v}
        equipment[new if tag == old else tag] = one.model_copy(update=fields)
    pipes = tuple(p.model_copy(update={"start": swap(p.start), "end": swap(p.end)})
                  for p in plant.pipes)  # fmt: skip
    modes = {
        n: m.model_copy(update={"positions": {new if t == old else t: p
                                              for t, p in m.positions.items()}})
        for n, m in plant.modes.items()
    }  # fmt: skip
    return plant.model_copy(update={"equipment": equipment, "pipes": pipes, "modes": modes})


def test_a_plant_has_no_changes_against_itself() -> None:
    """Every comparison would be full of noise."""
    assert changes(rotary(), rotary()) == []


@pytest.mark.parametrize("tag", ["VP1", "MP1", "TK1", "PC1"])
def test_another_tag_is_one_change(tag: str) -> None:
    """A new tag would be told as a machine gone and another new, with all its pipes and modes."""
    before = rotary()
    found = changes(before, called(before, tag, "ZZ9"))
    assert [(c.topic, c.what, c.tag, c.old_tag) for c in found] == [
        ("machines", "renamed", "ZZ9", tag)
    ]
    rules = default_rulebook()
    assert study_changes(before, called(before, tag, "ZZ9"), (rules, rules), ("sizing",)) == []


def test_twins_that_change_names_are_told_apart_or_not_at_all() -> None:
    """Of two machines alike, the wrong one would be taken for the old one."""
    before = rotary()
    after = called(called(before, "VP1", "VX"), "VP2", "VY")
    names = renamed(before, after)
    near = {"VP1": "VX", "VP2": "VY"}
    assert all(names.get(old) in (None, new) for old, new in near.items())


def test_a_pipe_that_moves_a_figure_and_a_mode_are_told_as_such() -> None:
    """A pipe with another end, another figure or another position would be missed."""
    before = rotary()
    first = before.pipes[0]
    pump = before.equipment["VP1"]
    mode = next(n for n, m in before.modes.items() if m.positions)
    tag, was = next(iter(before.modes[mode].positions.items()))
    after = before.model_copy(update={
        "pipes": (first.model_copy(update={"length_m": first.length_m + 2}), *before.pipes[1:]),
        "equipment": {**before.equipment, "VP1": pump.model_copy(update={"motor_kw": 22.0})},
        "modes": {**before.modes, mode: before.modes[mode].model_copy(
            update={"positions": {**before.modes[mode].positions, tag: "other"}})},
    })  # fmt: skip
    said = {c.topic: c.sentence for c in changes(before, after) if c.topic != "quantities"}
    assert f"{first.id}: 2.00 m longer" in said["pipes"]
    assert "motor" in said["machines"] and "becomes 22 kW" in said["machines"]
    assert f"{tag} is other; it was {was}" in said["modes"]
    raised = first.model_copy(update={"rise_m": 1.25, "fittings": {"bend": 3}})
    by_hand = before.model_copy(update={"pipes": (raised, *before.pipes[1:])})
    (told,) = [c.sentence for c in changes(before, by_hand) if c.topic == "pipes"]
    assert "becomes 1.25 m" in told and "fittings none becomes 3 x bend" in told
    laid = first.laid(first.length_m, 1.25, 3)
    by_plan = before.model_copy(update={"pipes": (laid, *before.pipes[1:])})
    assert not [c for c in changes(before, by_plan) if c.topic == "pipes"]
    moved = first.model_copy(update={"end": before.pipes[1].end})
    other = before.model_copy(update={"pipes": (moved, *before.pipes[1:])})
    assert any(c.what == "moved" and c.tag == first.id for c in changes(before, other))


def test_what_is_gone_is_clouded_on_the_old_drawing_and_what_is_new_on_the_new() -> None:
    """A reader of the drawings would not see where the change is."""
    before = rows()
    extra = machine("MF9", "milk_filter", area_m2=0.1)
    after = before.model_copy(update={
        "equipment": {**before.equipment, "MF9": extra},
    })  # fmt: skip
    gone = {c.sentence for c in changes(after, before) if c.what == "removed"}
    assert any("MF9" in s for s in gone)
    pump = before.equipment["VP1"].model_copy(update={"motor_kw": 22.0})
    changed = before.model_copy(update={"equipment": {**before.equipment, "VP1": pump}})
    sheets = drawings(before, changed, changes(before, changed), "2026-03-10", "metric")
    assert sheets and all('class="cloud"' in s["svg"] and "now" in s["title"] for s in sheets)


def body(x: float, y: float, z: float = 0.0, room: str = "plant") -> SimpleNamespace:
    """Where a machine stands."""
    return SimpleNamespace(x=x, y=y, z=z, room=room)


@pytest.mark.parametrize(
    ("now", "said"),
    [
        (body(1.3, 1.8), "VP1 stands 0.30 m east and 0.20 m south."),
        (body(0.7, 2.2, 0.5), "VP1 stands 0.30 m west and 0.20 m north and 0.50 m up."),
        (body(1.0, 2.0, -0.2), "VP1 stands 0.20 m down."),
        (body(1.2, 2.04), "VP1 stands 0.20 m east."),  # less than 5 cm is not told
        (body(1.09, 2.0), ""),
        (body(1.3, 2.0, room="yard"), "VP1 stands 0.30 m east from plant to yard."),
    ],
)
def test_a_machine_that_moved_is_told_by_how_far_and_where_to(
    monkeypatch: pytest.MonkeyPatch, now: SimpleNamespace, said: str
) -> None:
    """Would fail if a machine moved by a hand's breadth were told, or to the wrong side."""
    plans = iter([{"VP1": body(1.0, 2.0)}, {"VP1": now}])
    monkeypatch.setattr(
        "byrewright.studies.changes.sited",
        lambda _: SimpleNamespace(plan=SimpleNamespace(bodies=next(plans))),
    )
    found = [*_positions(rotary(), rotary(), {"VP1": "VP1", "VP2": "VP2"})]
    assert [c.sentence for c in found] == ([said] if said else [])


@pytest.mark.parametrize(("had", "has", "words"), [
    (None, 1, "a plan"), (1, None, "no plan any more"), (None, None, ""),
])  # fmt: skip
def test_a_plan_that_comes_or_goes_is_told(
    monkeypatch: pytest.MonkeyPatch, had: object, has: object, words: str
) -> None:
    """Would fail if a plant without a plan were compared as if it had one."""
    plans = iter([had, has])
    monkeypatch.setattr("byrewright.studies.changes.sited", lambda _: next(plans))
    told = [c.sentence for c in _positions(rotary(), rotary(), {})]
    assert told == ([f"The plant now has {words}."] if words else [])


@pytest.mark.parametrize(
    ("before_m", "after_m", "source", "said"),
    [
        (4.0, 6.5, "from the plan", "laid another way: 2.50 m longer (4.00 m becomes 6.50 m)"),
        (4.0, 3.0, "from the plan", "laid another way: 1.00 m shorter (4.00 m becomes 3.00 m)"),
        (4.0, 6.5, "stated", ": 2.50 m longer (4.00 m becomes 6.50 m)"),
        (4.0, 4.09, "from the plan", ""),
    ],
)
def test_a_pipe_is_laid_another_way_or_stated_otherwise(
    before_m: float, after_m: float, source: str, said: str
) -> None:
    """Would fail if a length that a person stated were put down to the plan."""
    plant = rotary()
    first, *rest = plant.pipes

    def long(metres: float) -> Plant:
        stated = first.model_copy(update={"length_m": metres})
        bare = Pipe(id=first.id, start=first.start, end=first.end, bore_mm=first.bore_mm)
        pipe = bare.laid(metres, 0.0, 0) if source == "from the plan" else stated
        return plant.model_copy(update={"pipes": (pipe, *rest)})

    told = [c for c in changes(long(before_m), long(after_m)) if c.topic == "pipes"]
    assert len(told) == bool(said) and all(said in c.sentence for c in told)
    assert all(c.what == ("moved" if "laid" in said else "changed") for c in told)


def test_farm_machines_and_modes_that_come_go_or_change_are_told() -> None:
    """Would fail if a milking more, a machine or a mode less were not seen."""
    one = rotary()
    more = one.model_copy(update={"milkings": (*one.milkings, one.milkings[0])})
    assert [c.sentence for c in changes(one, more)] == ["milkings: 2 becomes 3."]
    later = one.milkings[0].model_copy(update={"start": "07:30"})
    other = one.model_copy(update={"milkings": (later, *one.milkings[1:])})
    assert [c.sentence for c in changes(one, other)] == ["milkings: times or sizes differ."]
    name = [*one.modes][-1]
    less = one.model_copy(update={"modes": {n: m for n, m in one.modes.items() if n != name}})
    assert [c.sentence for c in changes(one, less)] == [f"The mode {name} is gone."]
    assert [c.sentence for c in changes(less, one)] == [f"The mode {name} is new."]
    assert "wash" not in one.modes[name].does
    does = one.modes[name].model_copy(update={"does": ("wash",)})
    idle = one.model_copy(update={"modes": {**one.modes, name: does}})
    (told,) = [c.sentence for c in changes(one, idle)]
    assert told == f"{name}: does wash; it did {', '.join(one.modes[name].does)}."


def judged(verdict: Verdict, value: float | None = 1.0, key: str = "k") -> Result:
    """An answer with one finding."""
    notes = ResultBuilder("day", "")
    notes.findings.append(Finding(key, "", "Load", value, "kW", "It is so.", verdict))
    return notes.result()


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        (judged("holds"), judged("fails"), ["Load: holds becomes fails: It is so."]),
        (judged("holds"), judged("holds", 9.0), []),  # no figure that is told for itself
        (judged("tight", 1.0, "day.load_most"), judged("tight", 1.0009, "day.load_most"), []),
        (judged("tight", 40.0, "day.load_most"), judged("tight", 42.5, "day.load_most"),
         ["Load: 40 becomes 42.5 kW, 2.5 kW more"]),
        (judged("tight", 40.0, "day.load_most"), judged("tight", 38.0, "day.load_most"),
         ["Load: 40 becomes 38 kW, 2 kW less"]),
        (judged("holds", None, "day.load_most"), judged("holds", 1.0, "day.load_most"), []),
        (judged("fails"), judged("holds", 1.0, "other"), ["gone: Load, which failed"]),
        (judged("holds"), judged("unknown", 1.0, "other"), ["new: Load unknown: It is so."]),
        (judged("holds"), judged("holds", 1.0, "other"), []),
    ],
)  # fmt: skip
def test_answers_are_told_apart_by_verdicts_and_by_the_figures_of_the_day(
    before: Result, after: Result, said: list[str]
) -> None:
    """Would fail if a verdict that changed were missed, or every rounding told."""
    assert [words for _, words in finding_changes(before, after)] == said


def test_figures_that_stay_are_named() -> None:
    """Would fail if what changed were called the same, or what nobody asks were listed."""
    same = judged("holds", 40.02, "day.load_most")
    assert unchanged(judged("holds", 40.0, "day.load_most"), same) == ["Load 40.02 kW"]
    assert unchanged(judged("holds", 39.9, "day.load_most"), same) == []
    assert unchanged(judged("holds", 40.0), judged("holds", 40.0)) == []


def test_a_figure_of_the_farm_is_told_as_it_would_be_said() -> None:
    """Would fail if a reader met "voltage v 480", twelve decimals of a temperature that was stated
    in degF, or a unit behind "not stated"."""
    one = rows()
    cold = one.site.model_copy(update={
        "water_temperature_c": (110 / 9,) * 12, "coldest_c": -23.5,
        "supply": one.site.supply.model_copy(update={"voltage_v": 480.0, "frequency_hz": 60}),
    })  # fmt: skip
    before = one.model_copy(update={"site": cold})
    mild = cold.model_copy(update={"coldest_c": None, "supply": one.site.supply,
                                   "water_temperature_c": (10.0,) * 12})  # fmt: skip
    told = " ".join(c.sentence for c in changes(before, one.model_copy(update={"site": mild})))
    assert "coldest -23.5 degC becomes not stated." in told
    assert "voltage 480 becomes 400 V" in told and "frequency 60 becomes 50" in told
    assert "12.2222, 12.2222" in told and "becomes 10, 10" in told
