"""Two revisions of a plant: what is the same under another tag is not told as new."""

from __future__ import annotations

import pytest

from byrewright.documents.changes import drawings
from byrewright.plant.plant import Plant
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.changes import changes, renamed, study_changes
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
