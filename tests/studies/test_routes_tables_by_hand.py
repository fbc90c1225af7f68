"""Tables of the routes, rows of the interlocks and litres lost, on harm that is made up."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.engine.interlocks import Row, Signal
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.routes import litres, table, tables
from byrewright.studies.routes.brute import FoundHarm
from byrewright.studies.routes.classes import HARMS
from byrewright.studies.routes.litres import Loss, MilkRate, Spills, from_duty
from byrewright.studies.routes.orders import Order
from byrewright.studies.routes.scene import Question, Reaches, Stands
from tests.plants import machine, pipe, rotary

PLANT = rotary(20, 60)


def hit(mode: str, harm: str, subject: str, *wrong: tuple[str, str], loses: str = "",
        way: str = "") -> FoundHarm:  # fmt: skip
    """A harm that wrong positions do in a mode."""
    asks = (Reaches(way, (1,)),) if way else ()
    return FoundHarm(mode, Question(harm, subject, asks, loses), wrong)


V31, V34 = ("V31", "open"), ("V34", "open")


# tables ----------------------------------------------------------------------------------------


def test_where_a_fluid_gets_to(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a vessel that a fluid comes from were told as reached, one that it does not
    reach, or one machine were called by another's name."""
    ends = {"tanks": ("TK1", "TK2"), "drains": ("FD1", "FD9"), "bays": (), "calves": (),
            "withheld": (), "troughs": ("TR1",), "balance": (), "receivers": ()}  # fmt: skip
    monkeypatch.setattr(tables, "Roles", lambda _: SimpleNamespace(**ends))
    monkeypatch.setattr(tables, "walk", lambda spread, _: spread.reached)
    spreads = {k: SimpleNamespace(starts=s, reached=r) for k, s, r in (
        ("milk", [(9, None, None)], {1, 3, 9}), ("withheld", [], set()),
        ("wash", [(4, None, None)], {4, 3}), ("water", [(4, "V", None)], {4}))}  # fmt: skip
    net = SimpleNamespace(body={"TK1": 1, "TK2": 2, "FD1": 3, "TR1": 4})
    scenes = {"day": SimpleNamespace(propagations=spreads, wanted={})}
    study: Any = SimpleNamespace(plant=PLANT, net=net, scenes=scenes)
    assert tables.where(study).rows == (("day", "milk", "TK1, FD1"), ("day", "wash", "FD1"))


def test_positions_alike_are_one_line() -> None:
    """Would fail if a harm of one vessel were told of another, positions that do not all go
    together were told as if they did, or the worst class did not come first."""
    pairs = [(a, b) for a in ("open", "half") for b in ("closed", "half")]
    hits = [hit(m, "overflow", "TK1", ("V31", a)) for a in ("open", "half") for m in ("x", "y")]
    hits += [hit("x", "milk_lost", "FD1", V34), hit("x", "overflow", "TK2", V31)]
    hits += [hit("x", "milk_lost", "FD1", ("A", a), ("B", b)) for a, b in pairs]
    hits += [hit("x", "milk_lost", "FD1", ("C", a), ("D", b)) for a, b in pairs[:3]]
    study: Any = SimpleNamespace(hits=hits)
    one = [(x.machines, x.positions, x.harm, x.subject, x.modes) for x in tables.lines(study, 1)]
    assert one == [
        (("V34",), (("open",),), "milk_lost", "FD1", ("x",)),
        (("V31",), (("open", "half"),), "overflow", "TK1", ("x", "y")),
        (("V31",), (("open",),), "overflow", "TK2", ("x",)),
    ]
    two = [(x.machines, x.positions) for x in tables.lines(study, 2)]
    assert two == [(("A", "B"), (("open", "half"), ("closed", "half"))),
                   *((("C", "D"), ((a,), (b,))) for a, b in pairs[:3])]  # fmt: skip


def study_of(*hits: FoundHarm, **more: Any) -> Any:
    """A study with these harms and a sensor on one valve; a flow sensor sees what it is told."""
    signals = (Signal("SN1_flow", "SN1", "flow", "", True, True),
               Signal("V31_open", "V31", "open", "", True))  # fmt: skip
    usual: dict[str, Any] = {
        "plant": PLANT, "hits": hits, "order": 2, "fitted": {"V31"}, "scenes": {"x": None},
        "right": {"x": {"SN1_flow": True}}, "table": SimpleNamespace(signals=signals, modes=("x",)),
        "loss": lambda h: Loss(12.34, "L/min", "") if h.order == 1 else Loss(None, "", ""),
    }  # fmt: skip
    return SimpleNamespace(**usual | more)


def test_wrong_positions_with_their_loss_and_who_sees_them(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if what no sensor sees were left blank, a flow that does not change were taken for
    notice, or pairs were told where only single positions were searched."""
    monkeypatch.setattr(tables, "process_contacts", lambda _, __, wrong: {
        "SN1_flow": ("V34", "open") not in wrong})  # fmt: skip
    study = study_of(hit("x", "milk_lost", "FD1", V34), hit("x", "overflow", "TK1", V31),
                     hit("x", "closed_line", "MP1", ("V32", "closed"), V31),
                     hit("x", "wrong_tank", "TK2", ("V33", "open")))  # fmt: skip
    single, double = tables.wrong_positions(study)
    assert [(r[0], r[2:]) for r in single.rows] == [
        ("V34 open", ("FD1", "x", 12.3, "L/min", "(SN1)")),
        ("V33 open", ("TK2", "x", 12.3, "L/min", "no sensor")),
        ("V31 open", ("TK1", "x", 12.3, "L/min", "V31"))]  # fmt: skip
    assert double.rows == (("V32 closed and V31 open", HARMS["closed_line"].title, "MP1", "x", "",
                            "", "V31"),)  # fmt: skip
    assert all(len(t.units) == len(t.columns) == 7 for t in (single, double))
    assert [t.key for t in tables.wrong_positions(study_of(order=1))] == ["single"]
    quiet = study_of(table=SimpleNamespace(signals=()))
    assert tables.second_look(quiet, hit("x", "milk_lost", "FD1", V34)) == []


def row(tag: str, modes: tuple[str, ...], priority: Any, effects: tuple[str, ...] = (),
        before: bool = True) -> Row:  # fmt: skip
    """A row of the interlocks."""
    return Row(tag, "V31", "closed", modes, ("on",), ("off",), priority, "", "", 3.0, 1.0, (),
               effects, before=before)  # fmt: skip


def test_interlocks_as_a_table() -> None:
    """Would fail if a row of some modes were told of all, one that does nothing else were blank, or
    the most urgent did not come first."""
    rows = (row("R2", ("x", "y"), "low", before=False), row("R1", ("x",), "high", ("S", "T")))
    made = tables.interlocks(study_of(table=SimpleNamespace(rows=rows, modes=("x", "y"))))
    assert made.rows == (
        ("R1", "on off or off on", "x", "S, T; the mode may not start", "high", 3.0),
        ("R2", "on off or off on", "all", "alarm only", "low", 3.0))  # fmt: skip


def test_the_smallest_set_of_sensors(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a sensor that something replaces were said to be needed, or one that is to be
    bought to be there."""
    monkeypatch.setattr(
        tables, "second_look", lambda _, h: ["SN1"] if h.question.subject == "TK1" else []
    )
    scene = SimpleNamespace(harm=lambda k: HARMS[k])
    best = SimpleNamespace(machines=("V31", "V32", "V33", "V34"), alone={
        "V31": hit("x", "overflow", "TK1", V31), "V32": hit("x", "milk_lost", "FD1", V34),
        "V33": hit("x", "overflow", "TK1", V31)})  # fmt: skip
    study = study_of(best=best, scenes={"x": scene}, next_best={
        "V31": None, "V32": None, "V33": ("V31", "V32", "V34", "V40", "V39"),
        "V34": ("V31", "V32", "V33")})  # fmt: skip
    assert [(r[0], r[2], r[4]) for r in tables.sensor_set(study).rows] == [
        ("V31", "fitted", "cannot be left out; SN1 would notice it later"),
        ("V32", "to be fitted", "cannot be left out"),
        ("V33", "to be fitted", "5 sensors, with V39, V40 instead"),
        ("V34", "to be fitted", "3 sensors")]  # fmt: skip
    whys = [r[3] for r in tables.sensor_set(study).rows]
    assert whys[0] == f"V31 open in x: {HARMS['overflow'].title}"
    assert whys[3] == "takes part in a harmful combination"


def test_orders_in_which_to_move() -> None:
    """Would fail if a change that is safe in any order were listed, or one with no safe order were
    sent by way of a mode that is none: a to c goes over b, of fewer moves than over e."""
    asks = Question("milk_lost", "FD1", ())
    danger: Any = SimpleNamespace(question=asks, moved=("V34",), still=("V31",))
    bare: Any = SimpleNamespace(question=asks, moved=("V34",), still=())

    def order(a: str, b: str, safe: bool, *dangers: Any, moving: int = 2, rest: Any = ()) -> Order:
        return Order(a, b, (("V31", "closed"), V34) if safe else (), safe, moving, dangers,
                     at_rest=rest)  # fmt: skip

    every = [order("a", "c", False, danger, bare), order("a", "b", True), order("b", "c", True),
             order("a", "e", True, moving=1), order("e", "c", True, danger, moving=4),
             order("c", "a", False, danger), order("b", "a", True, rest=(asks,))]  # fmt: skip
    made = tables.safe_orders(study_of(), every)
    told = f"{HARMS['milk_lost'].title} at FD1: V34 moved"
    late = f"{told} while V31 still as before"
    assert made.rows == (
        ("a", "c", "no direct order; by way of b", f"{late}; {told}"),
        ("e", "c", "V31 closed > V34 open", late), ("c", "a", "no safe order", late),
        ("b", "a", "V31 closed > V34 open", ""))  # fmt: skip
    assert len(made.units) == len(made.columns) == 4


# rows of the interlocks ------------------------------------------------------------------------


def builder(*hits: FoundHarm, plant: Any = PLANT, have: Any = (), watched: Any = (),
            modes: str = "xyz") -> Any:  # fmt: skip
    """What makes rows, before it has made any."""
    scenes: Any = {m: SimpleNamespace(harm=lambda k: HARMS[k], others={}, questions=[])
                   for m in modes}  # fmt: skip
    one = table._Builder(plant, scenes, hits, (), default_rulebook())
    one.have, one.tags, one.signals, one.effects = frozenset(have), {}, {}, {}
    one.watched, one.kinds, one.by_machine = list(watched), {}, {}
    for h in hits:
        for m in h.machines:
            one.by_machine.setdefault(m, []).append(h)
    return one


def test_tags_that_a_controller_tells_apart() -> None:
    """Would fail if two contacts had one tag where capitals are alike, or one contact two."""
    one = builder()
    words = ("to_b", "To b", "TO-B", "to__b")
    assert [one._tag("V31", w) for w in words] == [
        "V31_to_b", "V31_To_b_2", "V31_TO_B_3", "V31_to_b_4"]  # fmt: skip
    assert one._tag("V31", "To b") == "V31_To_b_2"


def test_contacts_that_are_there_and_that_are_to_be_fitted() -> None:
    """Would fail if a contact to be bought were said to be there, or a flow's to be bought."""
    one = builder(have={"V31"})
    tags = [one._contact("V31", "open"), one._contact("V32", "open"),
            one._contact("V34", "flow", process=True)]  # fmt: skip
    assert [one.signals[t].fitted for t in tags] == [True, False, True]
    assert [one.signals[t].process for t in tags] == [False, False, True]


def test_hours_are_counted_of_single_machines() -> None:
    """Would fail if two pumps of one tag had one contact for both, or one that stands in a row had
    a second."""
    two = machine("VP9", "vacuum_pump", capacity_l_min_free=900, motor_kw=2, count=2)
    set_ = machine("GE1", "generator", rating_kva=50)
    few = {t: PLANT.equipment[t] for t in ("VP1", "MP1", "V31", "EM1")}
    plant = PLANT.model_copy(update={"equipment": {**few, "VP9": two, "GE1": set_}})
    one = builder(plant=plant, have={"VP1"})
    one._contact("MP1", "runs")
    assert [(s.machine, s.fitted) for s in one._runs()] == [("VP1", True), ("GE1", False)]


def test_the_urgency_of_a_row_in_a_mode() -> None:
    """Would fail if what takes two were as urgent as what one does, or another mode's counted."""
    one, two = builder(), (V31, V34)
    other = [hit("y", "overflow", "T", V31), hit("x", "milk_lost", "T", *two)]
    for harms, priority in ((("closed_line", "overflow"), "high"), (("not_drained",), "low"),
                            (("not_drained", "closed_line"), "medium")):  # fmt: skip
        hits = [*(hit("x", h, "T", V31) for h in harms), *other]
        assert one._priority(hits, "x") == priority
    for harm, priority in (("milk_lost", "medium"), ("closed_line", "low")):
        assert one._priority([hit("x", harm, "T", *two), hit("y", "overflow", "T", V31)],
                             "x") == priority  # fmt: skip
    less = [hit("x", "overflow", "T", *two), hit("x", "not_drained", "T", V31)]
    worst = [hit("x", "closed_line", t, V31) for t in "TS"]
    assert table._worst([*less, *worst]) == worst


def test_what_a_row_tells_in_each_mode() -> None:
    """Would fail if a mode were told what comes of it in another, modes alike were told apart, or
    the worst did not come first: x and y lose milk, z floods if a second valve is wrong too."""
    pair = (V31, ("V33", "open"))
    one = builder(hit("z", "flooded", "RC1", *pair), hit("x", "milk_lost", "FD1", V31),
                  hit("x", "overflow", "TK1", V31), hit("y", "milk_lost", "FD1", V31),
                  hit("z", "flooded", "RC1", V31, ("V34", "closed")),
                  hit("w", "flooded", "RC1", V31, ("V34", "closed")), modes="wxyz")  # fmt: skip
    got = one._told("V31", ["z", "x", "y", "w"], one.by_machine["V31"])
    lost, flood = HARMS["milk_lost"].title, HARMS["flooded"].title
    assert [(t.modes, t.harm, t.text) for t in got] == [
        (("x", "y"), "milk_lost", lost),
        (("z", "w"), "flooded", f"{flood} if also V34 closed")]  # fmt: skip


def test_a_row_stops_what_it_must() -> None:
    """Would fail if a pump were stopped for what takes two, or a milk pump for wash in milk."""
    one = builder()
    wash = [hit("x", "wash_to_milk", "TK1", V31)]
    wp1 = [p for p in PLANT.equipment if one._moves_wash(p)]
    assert one._effects("V31", wash) == ("Sound_alarm", *(f"Stop_{p}" for p in wp1))
    assert one._effects("V31", [hit("x", "water_to_milk", "TK1", V31)]) == one._effects("V31", wash)
    shut = [hit("x", "closed_line", p, V31) for p in ("MP3", "MP1")]
    pair = [hit("x", "closed_line", "MP2", V31, V34), hit("x", "wash_to_milk", "TK1", V31, V34)]
    assert one._effects("V31", [*shut, *pair]) == ("Sound_alarm", "Stop_MP1", "Stop_MP3")
    assert one._effects("V31", [*pair, hit("x", "overflow", "TK1", V31)]) == ("Sound_alarm",)


@pytest.mark.parametrize(("tag", "place", "on", "off", "says", "delay_s", "before"), [
    ("V40", "to_b", ("V40_to_b",), ("V40_to_c",), "not set to its b side", 3.0, True),
    ("V31", "closed", ("V31_closed",), ("V31_open",), "not closed", 6.0, True),
    ("MP1", "runs", ("MP1_runs",), (), "not running", 3.0, False),
    ("MP1", "stopped", (), ("MP1_runs",), "not stopped", 3.0, True),
    ("TK1", "not full", (), ("TK1_full",), "full", 3.0, True),
])  # fmt: skip
def test_a_row_asks_the_contacts_of_its_place(
    tag: str, place: str, on: tuple[str, ...], off: tuple[str, ...], says: str, delay_s: float,
    before: bool,
) -> None:  # fmt: skip
    """Would fail if a half-open valve had a contact, a pump that must stand were asked to run, an
    alarm came while a valve of 5 s moves, or a pump had to run before its mode begins."""
    valves = {"V31": PLANT.equipment["V31"].model_copy(update={"travel_s": 5.0}),
              "V40": PLANT.equipment["V40"].model_copy(update={"travel_s": 1.0})}  # fmt: skip
    plant = PLANT.model_copy(update={"equipment": PLANT.equipment | valves})
    hits = [hit("x", "overflow", "TK1", (tag, "wrong"))]
    one = builder(*hits, plant=plant)
    got = one._row(tag, place, ["x"], hits, {"half", "open", "to_c"})
    assert (got.on, got.off, got.before) == (on, off, before)
    title = plant.equipment[tag].title
    assert got.text == f"{tag} {title} {says}: {HARMS['overflow'].title}"
    assert got.on_delay_s == delay_s and got.priority == "high"


def test_what_only_one_row_sees(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a wrong position that another sensor shows proved a row, or one in a mode that
    is not the row's."""
    hits = [hit("x", "milk_lost", "FD1", V31, V34), hit("z", "overflow", "TK1", V31)]
    asked: list[list[str]] = []

    class Prover:
        """Finds what the test says."""

        def __init__(self, _: Any) -> None: ...

        def first(self, question: Question, free: list[str]) -> Any:
            """The machines that it may move are kept."""
            asked.append([question.harm, *free])
            return {"milk_lost": (V31, ("V33", "open")), "overflow": (("V33", "open"),)}.get(
                question.harm
            )

    monkeypatch.setattr(table, "Prover", Prover)
    for watched, seen in ((["V31"], hits[0]), (["V31", "V34"], None), ([], None)):
        one = builder(*hits, watched=watched)
        asked.clear()
        for scene in one.scenes.values():
            scene.others = dict.fromkeys(("V31", "V33", "V34"), ("open",))
            scene.questions = [Question(h, "FD1", ()) for h in ("overflow", "milk_lost")]
        got = one._only_here(row("R", ("x",), "high"))
        if seen:
            assert got == seen and not asked
        else:
            assert got.mode == "x" and got.wrong == (V31, ("V33", "open"))
            assert asked == [["milk_lost", *(m for m in ("V31", "V33", "V34")
                                             if m not in watched or m == "V31")]]  # fmt: skip
    one.by_machine = {}
    assert one._only_here(row("R", ("x",), "high")).question.harm == "milk_lost"
    assert [a[0] for a in asked[-2:]] == ["overflow", "milk_lost"]
    assert one._only_here(row("R", (), "high")) is None


def test_what_no_row_sees() -> None:
    """Would fail if one wrong position were told once for each of its harms."""
    one = builder()
    (said,) = one._unseen([hit("x", "milk_lost", "FD1", V31), hit("y", "overflow", "TK1", V31)])
    both = f"{HARMS['milk_lost'].title} (FD1), {HARMS['overflow'].title} (TK1)"
    assert said.startswith(f"V31 open: {both} in x, y. No contact shows")


def test_a_filter_is_changed_while_its_twin_is_used(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a valve were spared by its own filter, by one whose valves nobody senses, that
    stands open already or that does not help, or by one with no valve on a side."""
    valves = {f"V{i}{s}": machine(f"V{i}{s}", "valve") for i in (1, 2) for s in "ab"}
    filters = {f"MF{i}": machine(f"MF{i}", "milk_filter", area_m2=0.1, while_running=True)
               for i in (1, 2)}  # fmt: skip
    pipes = [pipe(f"P{i}{s}", *ends) for i in (1, 2) for s, ends in (
        ("a", (f"V{i}a.b", f"MF{i}.inlet")), ("b", (f"MF{i}.outlet", f"V{i}b.a")))]  # fmt: skip
    one_of = hit("x", "closed_line", "MP1", ("V1a", "closed"))

    def beside(have: str = "V2a V2b", shut: str = "V2a V2b", helps: bool = True, drop: str = "",
               asked: str = "V1a", running: bool = True) -> Any:  # fmt: skip
        monkeypatch.setattr(table, "Case", lambda _, wrong: SimpleNamespace(holds=lambda __: not (
            helps and {("V2a", "open"), ("V2b", "open")} <= {*wrong})))  # fmt: skip
        two = filters["MF2"].model_copy(update={"while_running": running})
        kept = tuple(p for p in pipes if p.id != drop)
        every = valves | filters | {"MF2": two}
        plant = PLANT.model_copy(update={"equipment": every, "pipes": kept})
        plant.__dict__.pop("_pipes_at", None)
        made = builder(one_of, plant=plant, have=have.split())
        made.scenes["x"].others = dict.fromkeys(shut.split(), ("open",))
        return made._beside(asked, "x")

    assert beside() == "MF2"
    for none in (beside(have="V2a"), beside(shut="V2a"), beside(helps=False), beside(drop="P2b"),
                 beside(asked="V2a"), beside(running=False), beside(drop="P1a")):  # fmt: skip
        assert none == ""


def test_what_a_process_sensor_may_say(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a flow were proved where no milk comes, wash were an alarm where it may come, a
    level were of a vessel that cannot flood, or a mode without milk were asked."""
    sensors = [machine(t, "sensor", measures=m, on=on) for t, m, on in (
        ("S1", "flow", "x"), ("S2", "conductivity", "x"), ("S3", "level", "RC1"),
        ("S4", "level", "TK1"), ("S5", "temperature", "x"), ("S6", "flow", "dry"))]  # fmt: skip
    plant = PLANT.model_copy(update={"equipment": {s.id: s for s in sensors}})
    comes = {"x": {"milk"}, "y": {"milk", "wash"}, "z": {"wash"}, "w": {"milk"}}
    one = builder(plant=plant, modes="xyzw")
    for mode, scene in one.scenes.items():
        scene.name, scene.milked = mode, mode != "w"
        scene.questions = [Question("flooded", "RC1", ()), Question("overflow", "TK1", ())]
    monkeypatch.setattr(table, "Case", lambda scene, _: SimpleNamespace(
        scene=scene, walk=lambda fluid: {1} if fluid in comes[scene.name] else set()))  # fmt: skip
    monkeypatch.setattr(table, "_stands_at", lambda sensor, _: {2} if sensor.on == "dry" else {1})
    proof_s = 60 * default_rulebook().number("alarm.valve_proof_min")
    assert [(r.tag, r.modes, r.on_delay_s, r.on, r.off) for r in one._process_rows()] == [
        ("S1_no_flow", ("x", "y"), proof_s, ("S1_flow",), ()),
        ("S2_is_wash", ("x",), 3.0, (), ("S2_wash",)),
        ("S3_is_high", ("x", "y", "z"), 3.0, (), ("S3_high",))]  # fmt: skip


# litres ----------------------------------------------------------------------------------------

RATE = MilkRate(90.0, 120.0, "the basis", 0.1)


@pytest.mark.parametrize(("one", "amount", "unit", "basis"), [
    (hit("x", "overflow", "CF1", V31, loses="milk", way="withheld"), 9.0, "L/min", "withheld"),
    (hit("x", "overflow", "TK1", V31, loses="milk", way="milk"), 22.5, "L/min", "25 %"),
    (hit("x", "milk_lost", "TK1", V31, loses="milk", way="withheld"), 22.5, "L/min", "25 %"),
    (hit("x", "milk_lost", "FD1", V31, loses="milk"), 90.0, "L/min", "at most: the basis"),
    (hit("x", "milk_lost", "nowhere", V31, loses="milk"), 90.0, "L/min", "at most"),
    (hit("x", "milk_lost", "x", V31, loses="TK1"), 30.0, "L/min", "out of TK1"),
    (hit("x", "milk_to_wash", "x", V31, loses="TK1"), 30.0, "L/min", "out of TK1"),
    (hit("x", "milk_lost", "x", V31, loses="TK2"), None, "", "not a flow"),
    (hit("x", "wrong_tank", "x", V31, loses="TK1"), None, "", "not a flow"),
    (hit("x", "not_drained", "x", V31, loses="pipe:P"), math.pi * 10.0, "L", "full pipe"),
])  # fmt: skip
def test_what_a_wrong_position_loses(
    monkeypatch: pytest.MonkeyPatch, one: FoundHarm, amount: float | None, unit: str, basis: str
) -> None:
    """A quarter of 90 L/min goes to TK1, 30 come out of it, 4 m of 100 mm hold 31.4 L: would fail
    if withheld milk were counted as all milk, or a harm that loses none told litres."""
    shares = {"TK1": 0.25}
    monkeypatch.setattr(litres, "Spills", lambda *_: SimpleNamespace(
        share=lambda _, targets, l_min: shares.get(*targets) if l_min == 90.0 else None,
        out_of=lambda _, tank: 30.0 if tank == "TK1" else 0.0))  # fmt: skip
    pipe = SimpleNamespace(id="P", bore_mm=100.0, length_m=4.0)
    plant: Any = SimpleNamespace(equipment=PLANT.equipment, pipes=(pipe,))
    got = from_duty(plant, RATE)(one)
    assert (got.amount, got.unit) == (amount if amount is None else pytest.approx(amount), unit)
    assert basis in got.basis


def test_a_slower_pump_sends_more_to_the_lower_end() -> None:
    """Would fail if the share at full speed were told of a pump that follows its level: the way
    down takes 40 L/min at any speed, the way up 100 at full speed and less in proportion."""
    one: Any = Spills.__new__(Spills)
    asked: list[float] = []

    def shares(_: Any, __: Any, speed: float) -> tuple[float, float] | None:
        asked.append(speed)
        if speed < 0.1:
            return None
        flow = 40.0 + 100.0 * speed
        return 40.0 / flow, flow

    one._shares, one._led = shares, ["MP1"]
    assert one.share(None, (), 90.0) == pytest.approx(40.0 / 90.0, rel=0.01)
    assert one.share(None, (), 140.0) == pytest.approx(40.0 / 140.0)
    assert one.share(None, (), 200.0) == pytest.approx(40.0 / 140.0)
    one._led = []
    assert one.share(None, (), 90.0) == pytest.approx(40.0 / 140.0)
    one._shares = lambda *_: None
    assert one.share(None, (), 90.0) is None


def test_the_share_of_the_vessel_that_loses_most() -> None:
    """Would fail if what fills a vessel, or what holds no milk, were asked, or two ways out of one
    vessel were told as one."""
    one: Any = Spills.__new__(Spills)
    vessels = {"A": ("milk", False), "B": ("milk", False), "C": ("water", False),
               "D": ("milk", True)}  # fmt: skip
    one.net = SimpleNamespace(vessels={t: SimpleNamespace(holds=h, fill=f)
                                       for t, (h, f) in vessels.items()})  # fmt: skip
    flows = [("A", "X", 10.0), ("A", "X", 10.0), ("A", "Y", 60.0), ("B", "X", 30.0),
             ("B", "Y", 30.0), ("C", "X", 99.0), ("D", "X", 99.0)]  # fmt: skip
    one._streams = lambda *_: [SimpleNamespace(source=s, target=t, l_min=q) for s, t, q in flows]
    where = hit("x", "milk_lost", "X", V31)
    assert one._shares(where, {"X"}, 1.0) == (0.5, 60.0)
    assert one._shares(where, {"X", "Y"}, 1.0) == (1.0, 80.0)
    assert one._shares(where, {"Z"}, 1.0) is None


def test_a_machine_that_stands_is_no_way() -> None:
    """Would fail if withheld milk that goes astray by two ways were told as withheld alone."""
    asks = (Reaches("withheld", (1,)), Stands("V31", frozenset({"open"})))
    assert litres._of_withheld(FoundHarm("x", Question("overflow", "CF1", asks), (V31,)))
    both = (*asks, Reaches("milk", (1,)))
    assert not litres._of_withheld(FoundHarm("x", Question("overflow", "CF1", both), (V31,)))
    assert not litres._of_withheld(FoundHarm("x", Question("wrong_tank", "CF1", asks), (V31,)))
