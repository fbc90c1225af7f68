"""Two revisions of a plant, on machines and pipes that are made up."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.plant.plant import Pipe
from byrewright.results import Finding, Result, ResultBuilder
from byrewright.studies import changes
from tests.plants import machine, rotary, rows


class Few:
    """A plant of tanks (name to volume), joined as told."""

    def __init__(self, tanks: dict[str, float], *joined: str) -> None:
        self.equipment = {t: machine(t, "water_tank", volume_l=v) for t, v in tanks.items()}
        self.pipes = [Pipe(id=f"p{n}", start=f"{one[0]}.outlet", end=f"{one[1]}.inlet", bore_mm=50)
                      for n, one in enumerate(joined)]  # fmt: skip

    def pipes_at(self, tag: str) -> list[Pipe]:
        """Its pipes."""
        return [p for p in self.pipes if f"{tag}." in p.start + p.end]


BEFORE = dict.fromkeys("abcdefgX", 900.0)


@pytest.mark.parametrize(("old", "new", "volume_l", "known"), [
    ("abc", "abc", 900.0, True),
    ("abcd", "abce", 900.0, True),  # three of five
    ("abc", "abdef", 900.0, False),  # two of six
    ("abcd", "abefg", 900.0, False),  # two of seven
    ("abcdefg", "abcdefg", 800.0, True),  # 1 x 0.7
    ("abcdef", "abcde", 800.0, False),  # 5/6 x 0.7
    ("abcd", "abc", 800.0, False),  # 3/4 x 0.7
    ("", "", 900.0, True), ("", "", 800.0, False),
])  # fmt: skip
def test_a_machine_is_known_again_by_its_neighbours_and_figures(
    old: str, new: str, volume_l: float, known: bool
) -> None:
    """Would fail if a machine with half of its neighbours gone, or with other figures too, were
    taken for the old one, or one that stands alone were never."""
    before: Any = Few(BEFORE, *(f"X{t}" for t in old))
    now = dict.fromkeys("abcdefg", 900.0) | {"Y": volume_l}
    after: Any = Few(now, *(f"{t}Y" for t in new))
    assert (changes.renamed(before, after).get("X") == "Y") == known


def test_of_several_the_likeliest_or_none() -> None:
    """Would fail if one of two alike were picked, the less likely one, or a machine of another
    kind; or if a neighbour with a new tag counted as another."""
    now = dict.fromkeys("abcde", 900.0) | {"Y": 900.0, "Z": 900.0}
    before: Any = Few(BEFORE, "Xa", "Xb", "Xc", "Xd")
    likelier: Any = Few(now, "Ya", "Yb", "Yc", "Za", "Zb", "Zc", "Zd")
    assert changes.renamed(before, likelier)["X"] == "Z"
    alike: Any = Few(now, "Ya", "Yb", "Yc", "Za", "Zb", "Zc")
    assert "X" not in changes.renamed(before, alike)
    likelier.equipment["Z"] = machine("Z", "sanitary_trap", volume_l=400)
    assert changes.renamed(before, likelier)["X"] == "Y"
    likelier.equipment["a"] = machine("a", "sanitary_trap", volume_l=400)
    assert "a" not in changes.renamed(before, likelier)
    # X is known by b, c and d once c is, which has a new tag too and is known by a, d and e
    kept = dict.fromkeys("abde", 900.0)
    chain: Any = Few(kept | {"c": 700.0, "X": 900.0}, "ac", "dc", "ec", "Xb", "Xc", "Xd")
    moved: Any = Few(kept | {"C": 700.0, "Y": 900.0}, "aC", "dC", "eC", "Yb", "YC", "Yd")
    names = changes.renamed(chain, moved)
    assert (names["c"], names["X"]) == ("C", "Y")


def ends(*pipes: str) -> Any:
    """Pipes by tag and ends, as `p:a-b`."""
    made = []
    for one in pipes:
        tag, _, both = one.partition(":")
        start, _, end = both.partition("-")
        made.append(SimpleNamespace(id=tag, start=f"{start}.x", end=f"{end}.y"))
    return SimpleNamespace(pipes=made)


@pytest.mark.parametrize(("before", "after", "same"), [
    (("p:a-b",), ("q:a-B",), {"p": "q"}),
    (("p:a-b",), ("q:a-c",), {}),
    (("p:a-b",), ("p:a-c",), {"p": "p"}),
    (("p:a-b", "q:a-b"), ("p:a-B", "q:a-B"), {"p": "p", "q": "q"}),
    (("p:a-b",), ("q:a-B", "r:a-B"), {}),  # either could be it
    (("p:a-b", "q:c-d"), ("q:a-B",), {"p": "q"}),  # the tag is taken
    (("p:a-b", "q:c-d"), ("q:a-B", "p:c-d"), {"p": "q", "q": "p"}),
])  # fmt: skip
def test_a_pipe_is_known_again_by_its_ends(
    before: tuple[str, ...], after: tuple[str, ...], same: dict[str, str]
) -> None:
    """Would fail if a pipe between the same ports were another for its tag, or one tag stood for
    two."""
    assert changes.renamed_pipes(ends(*before), ends(*after), {"b": "B"}) == same


def test_figures_in_words() -> None:
    """Would fail if a field left out were told, a unit stood behind nothing, or records were
    written out."""
    one = rows()
    supply = one.site.supply
    assert changes._said(supply) == "another" and changes._said(supply.tariff) == "2 entries"
    assert changes._said((1.0, 2.5)) == "1, 2.5" and changes._said({}) == "none"
    assert changes._said({"long_bend": 2, "tee": 1}) == "2 x long bend, 1 x tee"
    more = supply.model_copy(update={"voltage_v": 480.0, "frequency_hz": 60, "limit_kva": 90.0})
    said = [*changes._fields(supply, more, ("frequency_hz",))]
    assert said == ["voltage 400 becomes 480 V", "limit not stated becomes 90 kVA"]
    assert "limit 90 kVA becomes not stated" in [*changes._fields(more, supply)]


def pump(tag: str = "P", **more: Any) -> Any:
    """A pump with a controller."""
    fields: dict[str, Any] = {"flow_l_min": 100.0, "head_m": 9.0, "motor_kw": 2.2,
                              "controlled_by": ("C",)} | more  # fmt: skip
    return machine(tag, "milk_pump", **fields)


def test_machines_that_come_go_and_change() -> None:
    """Would fail if a new tag of a controller were told of each machine that it controls, or what
    is gone, new, renamed or changed were mixed up."""

    def told(before: dict[str, Any], after: dict[str, Any], **names: str) -> list[tuple[str, str]]:
        plants: Any = [SimpleNamespace(equipment=e) for e in (before, after)]
        return [(c.what, c.sentence) for c in changes._machines(*plants, names)]

    title = pump().title
    assert told({"P": pump()}, {"P": pump(controlled_by=("D",))}, P="P", C="D") == []
    assert told({"P": pump()}, {"P": pump(controlled_by=("D",))}, P="P") != []
    assert told({"P": pump()}, {"Q": pump("Q")}, P="Q") == [
        ("renamed", f"P ({title}) is now called Q.")]  # fmt: skip
    assert told({"P": pump()}, {"Q": pump("Q")}) == [
        ("removed", f"P ({title}) is gone."), ("added", f"Q ({title}) is new.")]  # fmt: skip
    assert told({"P": pump()}, {"P": pump(motor_kw=3.0)}, P="P") == [
        ("changed", f"P ({title}): motor 2.2 becomes 3 kW.")]  # fmt: skip
    assert changes._under((1, "C", "E"), {"C": "D"}) == (1, "D", "E")
    assert changes._under("C", {"C": "D"}) == "D" and changes._under(3, {"C": "D"}) == 3


def pipe(tag: str = "p", start: str = "a.x", end: str = "b.y", **more: Any) -> Pipe:
    """A pipe whose way a person stated."""
    return Pipe(id=tag, start=start, end=end, **{"bore_mm": 50.0, "length_m": 4.0} | more)


def laid(length_m: float, rise_m: float = 0.0, bends: int = 0) -> Pipe:
    """The same as the plan lays it."""
    return Pipe(id="p", start="a.x", end="b.y", bore_mm=50.0).laid(length_m, rise_m, bends)


@pytest.mark.parametrize(("one", "two", "told"), [
    (pipe(), pipe(), []),
    (pipe(), pipe("q"), [("renamed", "p is now called q.")]),
    (pipe(), pipe(end="c.y"), [("moved", "p now goes from A.x to c.y; it went from A.x to b.y.")]),
    (pipe(), pipe(bore_mm=63.0), [("changed", "p: bore 50 becomes 63 mm.")]),
    (pipe(), pipe(length_m=4.1), []),
    (pipe(), pipe(length_m=4.12), [("changed", "p: 0.12 m longer (4.00 m becomes 4.12 m).")]),
    (pipe(), pipe(length_m=3.5), [("changed", "p: 0.50 m shorter (4.00 m becomes 3.50 m).")]),
    (laid(4.0), laid(4.5), [("moved", "p is laid another way: 0.50 m longer (4.00 m becomes "
                             "4.50 m).")]),
    (laid(4.0), pipe(length_m=4.5), [("changed", "p: 0.50 m longer (4.00 m becomes 4.50 m).")]),
    (laid(4.0), laid(4.0, 1.0, 2), []),
    (pipe(rise_m=0.5), pipe(rise_m=1.0), [("changed", "p: rise 0.5 becomes 1 m.")]),
])  # fmt: skip
def test_pipes_that_move_and_change(one: Pipe, two: Pipe, told: list[tuple[str, str]]) -> None:
    """Machine a is called A now: would fail if ten centimetres were told, a way that
    the plan lays were told as stated, or a pipe whose machine has a new tag were told as moved."""
    two = two.model_copy(update={"start": "A.x"})
    plants: Any = [SimpleNamespace(pipes=(p,)) for p in (one, two)]
    found = changes._pipes(*plants, {"a": "A"}, {"p": two.id})
    assert [(c.what, c.sentence) for c in found] == told
    gone = [(c.what, c.tag) for c in changes._pipes(*plants, {"a": "A"}, {})]
    assert gone == [("removed", "p"), ("added", two.id)]


def test_quantities_by_title_plate_and_unit(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a tenth of a percent were told, pieces of one kind were not added up, or what
    is new were told as changed."""

    def lot(*amounts: tuple[str, float, str]) -> list[Any]:
        return [SimpleNamespace(title=t, plate="DN50", unit=u, amount=a) for t, a, u in amounts]

    lists = iter([
        lot(("Pipe", 60.0, "m"), ("Pipe", 40.0, "m"), ("Bend", 2.0, "each"), ("Tee", 1.0, "each"),
            ("Wire", 1000.0, "m")),
        lot(("Pipe", 100.2, "m"), ("Bend", 3.0, "each"), ("Valve", 4.0, "each"),
            ("Wire", 1000.9, "m")),
    ])  # fmt: skip
    monkeypatch.setattr(changes, "count", lambda _: next(lists))
    nothing: Any = None
    assert [(c.what, c.sentence) for c in changes._quantities(nothing, nothing)] == [
        ("changed", "Pipe DN50: 100 becomes 100.2 m."), ("changed", "Bend DN50: 2 becomes 3."),
        ("removed", "Tee DN50: 1 becomes 0."), ("added", "Valve DN50: 0 becomes 4.")]  # fmt: skip


def answer(value: float | None, subject: str = "", unit: str = "kW") -> Result:
    """An answer with one figure that is told for itself."""
    notes = ResultBuilder("day", "")
    notes.findings.append(Finding("day.load_most", subject, "Load", value, unit, "So.", "holds"))
    return notes.result()


@pytest.mark.parametrize(("was", "now", "unit", "words"), [
    (40.0, 40.03, "kW", ""), (40.0, 40.05, "kW", "Load, B: 40 becomes 40.05 kW, 0.05 kW more"),
    (-40.0, -40.03, "kW", ""), (20.0, 25.0, "degC", "Load, B: 20 becomes 25 degC, 5 K more"),
    (0.0, 1e-6, "", "Load, B: 0 becomes 1e-06, 1e-06 more"), (None, 3.0, "kW", ""),
    (3.0, None, "kW", ""),
])  # fmt: skip
def test_a_figure_that_moves_by_a_thousandth(
    was: float | None, now: float | None, unit: str, words: str
) -> None:
    """Would fail if a rounding were told, a difference of degrees were told in degrees, or what
    stays were not named."""
    before, after = answer(was, "A", unit), answer(now, "B", unit)
    assert [w for _, w in changes.finding_changes(before, after, {"A": "B"})] == [words] * bool(
        words
    )
    same = changes.unchanged(answer(was, "B", unit), after)
    assert bool(same) == (not words and now is not None)


def test_a_plan_in_one_of_two_is_not_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if all findings of a plan were told as new where only one revision has it."""
    asked: list[list[str]] = []
    said: list[str] = []

    def ask(_: Any, __: Any, names: list[str], say: Any) -> Result:
        asked.append(names)
        say(names[0], 1, 1)
        return answer(40.0 if len(asked) % 2 else 50.0)

    monkeypatch.setattr(changes, "ask", ask)
    monkeypatch.setattr(changes, "renamed", lambda *_: {})
    for places, names in (((1, None), ["sizing"]), ((None, 1), ["sizing"]),
                          ((1, 1), ["sizing", "place"])):  # fmt: skip
        plants: Any = [SimpleNamespace(place=p) for p in places]
        rules: Any = (None, None)
        (told,) = changes.study_changes(*plants, rules, ["sizing", "place"],
                                        lambda *a: said.append(a[0]))  # fmt: skip
        assert asked.pop() == asked.pop() == names
        assert told.sentence == "Load: 40 becomes 50 kW, 10 kW more."
    assert said[:2] == ["before: sizing", "now: sizing"]


def test_farm_sections() -> None:
    """Would fail if a section that is as it was were told, or a number of entries as a change."""
    one = rotary()
    herd = one.herd.model_copy(update={"cows": 700})
    two = one.model_copy(update={"herd": herd, "collections": one.collections * 2})
    assert [c.sentence for c in changes._farm(one, two)] == [
        "herd: cows 600 becomes 700.", "collections: 1 becomes 2."]  # fmt: skip


def test_positions_that_are_set_or_no_longer_are() -> None:
    """Would fail if a machine that a mode does not set were told as standing in nothing, or one
    that stays were told."""

    def modes(does: str, **positions: str) -> Any:
        return SimpleNamespace(modes={"day": SimpleNamespace(does=(does,))},
                               position=lambda _, tag: positions.get(tag))  # fmt: skip

    one, two = modes("milking", A="open", B="open"), modes("milking", a="open", C="shut")
    names = {"A": "a", "B": "B", "C": "C", "D": "D"}
    assert [c.sentence for c in changes._modes(one, two, names)] == [
        "In day B is not set; it was open.", "In day C is shut; it was not set."]  # fmt: skip
    (told,) = changes._modes(one, modes("wash", A="open", B="open"), {"A": "A"})
    assert told.sentence == "day: does wash; it did milking."


def test_neighbours_by_pipe_supply_controller_and_where_it_stands() -> None:
    """Would fail if a sensor were not known by the machine that it is on."""
    plant: Any = Few({"a": 900.0, "b": 900.0}, "ab")
    sensor = machine("S", "sensor", measures="level", on="a", fed_from=("P",), controlled_by=("C",))
    plant.equipment["S"] = sensor
    assert changes._near(plant, "S") == {"a", "P", "C"} and changes._near(plant, "a") == {"b"}
