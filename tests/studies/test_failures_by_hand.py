"""What milking has left with something broken, worked by hand on a small plant whose needs are made
up: 1000 L/min of air for the units and 500 besides, 100 L/min of milk, 3 kW on the deck."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.plant.machine import Failure
from byrewright.plant.plant import Plant
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.failures import flows, script
from byrewright.studies.failures.analysis import Analysis, Case
from byrewright.studies.failures.answer import Answer
from byrewright.studies.failures.events import Event, FaultEffect
from byrewright.studies.failures.fault_state import FaultState
from byrewright.studies.failures.overload import Overload
from byrewright.studies.failures.paths import OperatorAction
from byrewright.studies.failures.script import HALT, MODE_CHANGE, Script, Scripts, Stage
from byrewright.studies.failures.structure import Asked, Load, Needs, Structure
from tests.plants import machine, pipe, rotary

RULES = default_rulebook()
NEEDS: dict[str, Any] = {
    "air_units_l_min": 1000.0, "air_fixed_l_min": 500.0, "milk_l_min": 100.0, "drive_kw": 3.0,
    "leak_l_min": 300.0, "backflow_share": 0.1, "slow_share": 0.7, "least_pace": 0.5,
    "shed_s": 100.0,
}  # fmt: skip
GIVES = {"MP1": 60.0, "MP2": 60.0, "MP3": 60.0, "MP4": 60.0}


def plant(*pipes: str, at: dict[str, str] | None = None, **changes: Any) -> Plant:
    """A rotary of 20 with further pipes ("from to service") and positions in every mode."""
    made = rotary(20, 60, **changes)
    more = []
    for i, text in enumerate(pipes):
        start, end, *service = text.split()
        one = pipe(f"LX{i}", start, end)
        more.append(one.model_copy(update={"service": service[0]}) if service else one)
    modes = {n: m.model_copy(update={"positions": {**m.positions, **(at or {})}})
             for n, m in made.modes.items()}  # fmt: skip
    return made.model_copy(update={"pipes": (*made.pipes, *more), "modes": modes})


def pumps(q: float, count: int = 1) -> dict[str, Any]:
    """Both vacuum pumps of so many L/min."""
    return {t: machine(t, "vacuum_pump", capacity_l_min_free=q, motor_kw=5, count=count,
                       fed_from=("SB1",)) for t in ("VP1", "VP2")}  # fmt: skip


def structure(of: Plant | None = None, load: Load | None = None, gives: Any = None,
              **needs: Any) -> Structure:  # fmt: skip
    """The plant in milking."""
    return Structure(of or plant(), "milking", Needs(**{**NEEDS, **needs}),
                     lambda *_: GIVES if gives is None else gives, load)  # fmt: skip


def asked(s: Structure, *hits: FaultEffect) -> Asked:
    """One question."""
    return Asked(s, FaultState.of(hits))


def off(*tags: str) -> tuple[FaultEffect, ...]:
    """Machines that are off."""
    return tuple(FaultEffect("off", t) for t in tags)


def said(answer: Answer) -> list[str]:
    """Verb, machine and position of every act."""
    return [" ".join(x for x in a if x) for a in answer.acts]


@pytest.mark.parametrize(("q", "count", "hits", "pace", "spare", "acts"), [
    (1500.0, 1, (), 1.0, 1500.0, []), (1500.0, 1, off("VP1"), 1.0, 0.0, []),
    (1200.0, 1, off("VP1"), 0.7, -300.0, ["slow"]), (1499.5, 1, off("VP1"), 0.9995, -0.5, []),
    (400.0, 2, (FaultEffect("share", "VP1", amount=0.5),), 0.7, -300.0, ["slow"]),
    (400.0, 1, off("VP1"), 0.0, -1100.0, ["slow"]),
])  # fmt: skip
def test_the_pace_that_the_pumps_hold(
    q: float, count: int, hits: Any, pace: float, spare: float, acts: list[str]
) -> None:
    """Would fail if air for other than units slowed nothing, a half of two pumps counted as none or
    all, or people were told to go slower where they need not."""
    s = structure(plant(**pumps(q, count)))
    answer, at = flows.vacuum(asked(s, *hits))
    assert answer.goes_on and answer.pace == pytest.approx(pace) and set(at) == {"RC1", "RC2"}
    assert answer.spare_l_min == pytest.approx(spare) and said(answer) == acts
    assert flows.vacuum(asked(structure(s.plant, air_units_l_min=0.0), *hits))[0].pace == 1.0


def test_a_pump_that_people_start_helps_where_the_others_do_not_do() -> None:
    """Would fail if people were called where one pump does, or a pump that stands gave its air by
    itself, or took the vacuum of a receiver from the pump that runs."""
    for stands, runs in (("VP1", "VP2"), ("VP2", "VP1")):
        for q, acts, pace in ((1600.0, [], 1.0), (1200.0, [f"start {stands}"], 1.0)):
            s = structure(plant(at={stands: "stopped"}, **pumps(q)))
            answer, at = flows.vacuum(asked(s))
            assert (said(answer), answer.pace) == (acts, pace)
            assert at == {"RC1": (), "RC2": ()}
        answer, at = flows.vacuum(asked(s, *off(runs)))
        assert said(answer) == [f"start {stands}", "slow"] and answer.pace == pytest.approx(0.7)
        assert at["RC1"] == (OperatorAction("start", stands),)
    both, none = flows.vacuum(asked(s, *off("VP1", "VP2")))
    assert (both.goes_on, both.why, none) == (False, "no vacuum reaches a receiver", {})
    dead, none = flows.vacuum(asked(s, FaultEffect("shut", "PA1")))
    assert (dead.goes_on, dead.why, none) == (False, "no vacuum reaches PU1", {})
    _, one = flows.vacuum(asked(s, *off("RC2")))
    assert set(one) == {"RC1"}


def test_air_that_is_let_in() -> None:
    """Would fail if a leak outside of the vacuum were counted, people shut nothing, or a valve that
    stands shut before an opening let air in."""
    regulator = machine("RG1", "regulator", capacity_l_min_free=2500, set_vacuum_kpa=42)
    s = structure(plant(RG1=regulator))
    for tag, air in (("DT1", 300.0), ("RC1", 300.0), ("WT1", 0.0), ("PC1", 0.0)):
        assert flows.leak_l_min(asked(s, FaultEffect("leaks", tag)), False) == air
    stuck = asked(s, FaultEffect("admits air", "RG1"))
    assert flows._leaks(stuck, False) == (2500.0, [])
    assert flows._leaks(stuck, True) == (0.0, [OperatorAction("fixed", "RG1")])
    jet = asked(s, FaultEffect("admits air", "AI1"))
    assert flows._leaks(jet, False) == flows._leaks(jet, True) == (flows.WHOLE, [])
    gate = machine("V70", "valve", ways=2)
    for place, air, acts in (("open", flows.WHOLE, ["close"]), ("closed", 0.0, [])):
        made = plant("AI1.outlet V70.a air", "V70.b ML1.air air", at={"V70": place}, V70=gate)
        cut = tuple(p for p in made.pipes if (p.start, p.end) != ("AI1.outlet", "ML1.air"))
        jet = asked(structure(made.model_copy(update={"pipes": cut})),
                    FaultEffect("admits air", "AI1"))  # fmt: skip
        assert flows._leaks(jet, False) == (air, [])
        total, shut = flows._leaks(jet, True)
        assert (total, [a.verb for a in shut]) == (0.0, acts)


def test_air_back_through_a_pump_at_rest() -> None:
    """A tenth of its 1500 L/min: would fail if a pump that runs let air back, two let back as much
    as one, or people had no valve to shut on either side of what leaks."""
    leak = FaultEffect("passes", "NR1")
    s = structure(plant(**pumps(1500.0, 2)))
    assert flows._leaks(asked(s, leak), False) == (0.0, [])
    still = asked(s, leak, *off("VP1"))
    assert flows._leaks(still, False) == flows._leaks(still, True) == (300.0, [])
    assert flows._leaks(asked(s, leak, *off("VP2")), False)[0] == 0.0
    gate = machine("V71", "valve", ways=2)
    for ends, gone in ((("DT1.pump_1 V71.a", "V71.b NR1.inlet"), "NR1.inlet"),
                       (("NR1.outlet V71.a", "V71.b VP1.inlet"), "VP1.inlet")):  # fmt: skip
        made = plant(*(f"{e} vacuum" for e in ends), at={"V71": "open"}, V71=gate, **pumps(1500.0))
        kept = tuple(p for p in made.pipes if p.end != gone or p.id.startswith("LX"))
        s = structure(made.model_copy(update={"pipes": kept}))
        still = asked(s, leak, *off("VP1"))
        assert flows._leaks(still, False) == (150.0, [])
        assert flows._leaks(still, True) == (0.0, [OperatorAction("close", "V71")])
        held = asked(s, leak, *off("VP1"), FaultEffect("stuck", "V71", "open"))
        assert flows._leaks(held, True) == (150.0, [])
    ready = structure(plant(at={"VP1": "stopped"}, **pumps(1500.0)))
    assert flows._leaks(asked(ready, leak), False) == (150.0, [])
    assert flows._leaks(asked(ready, leak), True) == (0.0, [])


@pytest.mark.parametrize(("start", "moved_by", "sucks", "verb"), [
    ("ML1.receiver_1", "hand", True, "cap"), ("PC1.milk_out", "air", False, "move"),
])  # fmt: skip
def test_a_valve_stuck_open_to_the_floor(start: str, moved_by: str, sucks: bool, verb: str) -> None:
    """Would fail if air came in where no vacuum is, a valve stuck where it stands spilled, or
    people were told to move what has no drive."""
    gate = machine("V72", "valve", ways=2, moved_by=moved_by)
    s = structure(plant(f"{start} V72.a milk", "V72.b FD1.inlet_9 milk", at={"V72": "closed"},
                        V72=gate))  # fmt: skip
    stuck = asked(s, FaultEffect("stuck", "V72", "open"))
    assert s.drains == {"V72": sucks} and flows.spills(stuck) == [("V72", sucks)]
    assert flows._leaks(stuck, False) == (flows.WHOLE * sucks, [])
    assert [a.verb for a in flows._leaks(stuck, True)[1]] == [verb]
    assert flows.spills(asked(s, FaultEffect("stuck", "V72", "closed"))) == []
    assert flows.spills(asked(s, FaultEffect("stuck", "V31", "closed"))) == []


@pytest.mark.parametrize(("hits", "pace", "acts"), [
    ((), 1.0, []), (off("MP3"), 0.6, []), (off("MP1"), 0.6, ["stand RC1"]),
    ((FaultEffect("share", "MP4", amount=0.25),), 0.75, []),
    ((FaultEffect("held", "BT1"),), 1.0, ["run MP3"]),
])  # fmt: skip
def test_the_pace_that_the_milk_pumps_hold(hits: Any, pace: float, acts: list[str]) -> None:
    """Four pumps of 60 L/min, two behind two: would fail if stages were added up or the stronger
    one told, or milk of a receiver that stands were lost."""
    s = structure()
    answer = flows.milk(asked(s, *hits), {"RC1": (), "RC2": ()})
    assert answer.goes_on and answer.pace == pytest.approx(pace) and sorted(said(answer)) == acts
    rated = structure(gives={"MP1": 60.0, "MP2": 60.0})
    assert flows.milk(asked(rated), {"RC1": (), "RC2": ()}).pace == pytest.approx(
        min(1.0, sum(rated.plant.equipment[t].flow_l_min for t in ("MP3", "MP4")) / 100)
    )  # type: ignore[attr-defined]
    assert flows.milk(asked(structure(milk_l_min=0.0), *hits), {"RC1": (), "RC2": ()}).pace == 1.0


def test_milk_that_gets_nowhere() -> None:
    """Would fail if milk passed two pumps that stand, or a receiver without vacuum."""
    s = structure()
    at: dict[str, Any] = {"RC1": (), "RC2": ()}
    lost = flows.milk(asked(s, *off("MP1", "MP2")), at)
    assert (lost.goes_on, lost.why) == (False, "milk does not get past MP1")
    assert not flows.milk(asked(s), {}).goes_on
    shut = flows.milk(asked(structure(plant(at={"V31": "closed"}))), at)
    assert shut.goes_on and [a.split()[0] for a in said(shut)] == ["set"]


def board(trips_s: float, *shed: str, holds: bool = True) -> Load:
    """A board that is over its rating as soon as anything is lost."""
    return lambda lost: (Overload("SB1", 120.0, 100.0, trips_s, shed, holds),)


@pytest.mark.parametrize(("trips_s", "shed", "holds", "goes_on", "acts"), [
    (250.0, ("WH1", "CU1"), True, True, ["shed SB1 WH1 and CU1"]),
    (150.0, ("WH1", "CU1"), True, True, ["reset SB1 WH1 and CU1"]),
    (150.0, ("WH1",), True, True, ["shed SB1 WH1"]), (99.0, (), True, True, ["reset SB1"]),
    (250.0, ("WH1",), False, False, []),
])  # fmt: skip
def test_a_board_that_carries_more_than_it_may(
    trips_s: float, shed: tuple[str, ...], holds: bool, goes_on: bool, acts: list[str]
) -> None:
    """People switch a load off in 100 s: would fail if two were off as soon as one, or a board held
    that trips again."""
    s = structure(
        plant(GE1=machine("GE1", "generator", rating_kva=99)), board(trips_s, *shed, holds=holds)
    )
    answer = s.ask(off("GE1"))
    assert (answer.goes_on, said(answer)) == (goes_on, acts)
    assert s.ask(off("WS1")).untouched and s.overloads(()) == ()


def test_power_by_the_feeder_that_asks_least() -> None:
    """Would fail if a set that people start were taken where the mains are live, or an automatic
    one asked for hands."""
    for by, acts in (("hand", ["transfer GE1"]), ("automatic", [])):
        set_ = machine("GE1", "generator", rating_kva=100, start_by=by)
        for order in (("GE1", "EM1"), ("EM1", "GE1")):
            s = structure(plant(GE1=set_, SB1=machine("SB1", "switchboard", fed_from=order)))
            assert s.ask(()).untouched
            assert said(s.ask(off("EM1"))) == acts
            assert not s.ask(off("EM1", "GE1")).goes_on


@pytest.mark.parametrize(("sets", "lost", "goes_on"), [(1, 1, False), (2, 1, True), (2, 2, False)])
def test_rings_of_the_deck(sets: int, lost: int, goes_on: bool) -> None:
    """Would fail if one of two rings took the power of what turns, or machines beside the deck
    hung on them."""
    s = structure(plant(GL1=machine("GL1", "rotary_gland", power_rings=sets)))
    s.__dict__["on_deck"] = frozenset({"DU1"})
    cut = asked(s, *(FaultEffect("no power", "GL1"),) * lost)
    assert (cut.power("DU1") is not None) == goes_on and cut.power("VP1") == ()


@pytest.mark.parametrize(("hits", "pace", "acts"), [
    ((), 1.0, []), ((FaultEffect("share", "DU1", amount=2 / 3),), 1.0, ["lift DU1"]),
    ((FaultEffect("share", "DU1", amount=0.5),), 0.75, ["lift DU1"]),
    ((FaultEffect("slow", "PF1"),), 0.7, []), ((FaultEffect("bears", "RL1"),), 1.0, []),
    ((FaultEffect("bears", "RL1"),) * 2, 0.7, []),
    ((FaultEffect("share", "DU1", amount=0.5), FaultEffect("slow", "PF1")), 0.525, ["lift DU1"]),
    (off("DU1"), None, []), (off("PF1"), None, []),
])  # fmt: skip
def test_a_deck_with_fewer_drives(hits: Any, pace: float | None, acts: list[str]) -> None:
    """Three drives of 1.5 kW for 3 kW: would fail if the third were missed, half of them did, or
    one roller of those that bear it slowed the deck."""
    s = structure(bears_one_less=frozenset({"RL1"}))
    answer = asked(s, *hits).deck()
    assert answer.goes_on == (pace is not None) and said(answer) == acts
    assert answer.pace == pytest.approx(pace) if pace else True
    assert asked(structure(drive_kw=0.0)).deck().pace == 1.0
    kit = machine("PF1", "platform", stalls=20, turn_s=160, joint_kit=True)
    clamped = asked(structure(plant(PF1=kit)), FaultEffect("slow", "PF1")).deck()
    assert (clamped.pace, said(clamped)) == (1.0, ["clamp PF1"])


@pytest.mark.parametrize(("left", "goes_on"), [(0.5, True), (0.49, False)])
def test_the_slowest_part_decides_whether_milking_is_worth_it(left: float, goes_on: bool) -> None:
    """Would fail if half of the pace, the least that is asked, stopped milking, or less did not."""
    s = structure(drive_kw=4.5)
    answer = s.ask([FaultEffect("share", "DU1", amount=left)])
    assert (answer.goes_on, answer.pace) == (goes_on, pytest.approx(left))
    assert ("the deck carries only 49 %" in answer.why) == (not goes_on)
    weak = asked(s, FaultEffect("share", "PU1", amount=0.8)).pulse()
    assert weak.goes_on and weak.pace == pytest.approx(0.8)
    gone = asked(s, FaultEffect("share", "VP1", amount=0.0005))
    assert gone.runs("VP1") is None and gone.runs("VP2") == ()
    assert asked(s, FaultEffect("share", "VP1", amount=0.002)).runs("VP1") == ()


def test_what_a_controller_that_stops_leaves() -> None:
    """Would fail if what people can run by hand stood, what keeps its rate needed them, or a second
    controller counted for nothing."""
    fields = {"flow_l_min": 60, "head_m": 9, "motor_kw": 1, "led_by": "BT1", "fed_from": ("SB1",)}
    pump = machine("MP3", "milk_pump", controlled_by=("CT1",), **fields)
    own = machine("MP4", "milk_pump", controlled_by=("CT1",), own_control=True, **fields)
    s = structure(plant(MP3=pump, MP4=own))
    alone = asked(s, *off("CT1"))
    assert alone.control("MP3") == (OperatorAction("run", "MP3"),) == alone.runs("MP3")
    assert alone.control("MP4") == () == alone.control("MP1") == asked(s).control("MP3")
    two = machine("MP3", "milk_pump", controlled_by=("CT1", "CT2"), **fields)
    s = structure(plant(MP3=two, CT2=machine("CT2", "controller", fed_from=("SB1",))))
    assert asked(s, *off("CT1")).control("MP3") == ()
    assert asked(s, *off("CT1", "CT2")).control("MP3") == (OperatorAction("run", "MP3"),)


def stage(after_s: float = 0.0, *settings: Any, valves: Any = ()) -> Stage:
    """A stage of a script."""
    return Stage(after_s, settings, valves)


def test_what_a_script_says_of_itself() -> None:
    """Would fail if milk were kept where nobody acts or no milk pump stands, or a script without
    any change were simulated."""
    stands, weak, sound = (("machine", t, x) for t, x in (("MP1", 0.0), ("MP1", 0.5), ("MP1", 1.0)))
    for some, keeps in (((stage(0, stands), stage(9)), True), ((stage(0, stands),), False),
                        ((stage(0, weak), stage(9)), True), ((stage(0, sound), stage(9)), False),
                        ((stage(0, ("machine", "VP1", 0.0)), stage(9)), False),
                        ((stage(0, ("level", "MP1", 0.0)), stage(9)), False),
                        ((stage(0), stage(9, valves=(("V1", "open"),))), True)):  # fmt: skip
        assert Script(some, 99.0).keeps_milk({"MP1"}) == keeps
    one = Script((stage(0, stands), stage(9, ("supply", "TK1", 0.0))), 99.0)
    assert one.hits({"TK1"}) and one.hits({"MP1"}) and not one.hits({"VP1"})
    assert Script((stage(), stage(9)), 99.0).nothing and not one.nothing
    assert not Script((stage(valves=(("V1", "open"),)),), 99.0).nothing
    assert not Script((stage(),), 99.0, late_s=5.0).nothing
    slow = Script((stage(0), stage(600, ("drive", "", 0.5), ("gate", "", 0.25))), 3600.0)
    assert slow.longest_wait_s == 600 + 0.75 * 3000


def test_fallen_cups_are_put_on_again_after_the_last_halt() -> None:
    """A hundred seconds to put them on: would fail if people put cups on while all stands, or what
    follows came before they are done."""
    again = script._again
    halt = HALT[0]
    assert again([stage(5.0)], 900.0, 0.0) == ([stage(5.0)], 900.0)
    assert again([stage(0.0, halt)], 900.0, 100.0) == (
        [stage(0.0, halt), Stage(900.0, HALT, ())], 1000.0)  # fmt: skip
    assert again([], 900.0, 100.0) == ([stage(0.0, halt), stage(100.0)], 900.0)
    found, repair_s = again(
        [stage(0.0, halt), stage(20.0), stage(50.0), stage(300.0)], 200.0, 100.0
    )
    assert [(s.after_s, s.settings) for s in found] == [
        (0.0, HALT), (20.0, HALT), (120.0, ()), (120.0, ()), (300.0, ())]  # fmt: skip
    assert repair_s == 300.0


def scripts(of: Plant | None = None, fallen: float = 0.0) -> Any:
    """The writer of scripts of a plant; so many cups fall, 10 s each to put on."""
    s = structure(of)
    made: Any = Scripts(Analysis(s.plant, RULES, s, SimpleNamespace(units_on=20.0), "milking",  # type: ignore[arg-type]
                                 s.ask(()), (), (), {}, None))  # fmt: skip
    made.cups = SimpleNamespace(fall=lambda _, dark_s: fallen, again_s=lambda n: 10 * n)
    return made


def case(writer: Any, *hits: FaultEffect, hand_min: float = 0.0, repair_h: float = 2.0,
         effect: Any = None, tag: str = "", goes_on: bool | None = None) -> Case:  # fmt: skip
    """A failure of these hits."""
    failure: Any = SimpleNamespace(repair_h=repair_h, effect=effect or SimpleNamespace(
        law=hits[0].law, share=0.4))  # fmt: skip
    answer = writer.s.ask(hits)
    if goes_on is not None:
        answer = Answer(goes_on)
    event = Event("it", tag or hits[0].machine, "fails", failure, (hits,))
    return Case(event, hits, answer, "equipment", hand_min)


def test_the_stages_of_a_failure_come_in_order() -> None:
    """Would fail if hours were taken as minutes, people acted after the repair, milking stood where
    it goes on, or cups fell before milking."""
    factor, notice = (RULES.number(f"failures.{k}") for k in ("repair_factor", "notice_min"))
    w = scripts()
    (VP1,) = off("VP1")
    one = w.of(case(w, VP1))
    assert one.repair_s == pytest.approx(7200 * factor) and [s.after_s for s in one.stages] == [0.0]
    assert ("machine", "VP1", 0.0) in one.stages[0].settings and one.only == ""
    assert ("halt", "", 1.0) not in one.stages[0].settings and one.late_s == 0.0
    hand = w.of(case(w, VP1, hand_min=3.0))
    assert [s.after_s for s in hand.stages] == [0.0, 180.0]
    late = w.of(case(w, VP1, hand_min=60 * 2.0 * factor))
    assert [s.after_s for s in late.stages] == [0.0]
    stops = w.of(case(w, *off("VP1", "VP2")))
    assert [s.after_s for s in stops.stages] == [0.0, 60 * notice]
    assert all(("halt", "", 1.0) in s.settings for s in stops.stages)
    stuck = scripts(fallen=5.0)
    moves = stuck.of(case(stuck, FaultEffect("stuck", "V31", "open")))
    stands = {n: stuck.a.plant.position(n, "V31") for n in stuck.a.plant.modes}
    other = tuple(n for n, at in stands.items() if at not in ("open", None))
    assert (moves.only, moves.fallen, moves.elsewhere) == (MODE_CHANGE, 0.0, other)
    assert moves.elsewhere
    falls = stuck.of(case(stuck, VP1, FaultEffect("late", "TK1")))
    assert (falls.only, falls.fallen, falls.again_s) == ("", 5.0, 50.0)
    assert [s.after_s for s in falls.stages] == [0.0, 50.0] and falls.late_s == falls.repair_s
    assert HALT[0] in falls.stages[0].settings and HALT[0] not in falls.stages[1].settings


def test_dark_until_a_set_carries_the_load() -> None:
    """Would fail if of two sets the later lit the plant, one that people start did, or none was
    dark where the set itself is lost."""
    sets = {t: machine(t, "generator", rating_kva=100, start_by=by, start_s=at) for t, by, at in
            (("GE1", "automatic", 20), ("GE2", "automatic", 12), ("GE3", "hand", 5))}  # fmt: skip
    main = machine("SB1", "switchboard", fed_from=("EM1", "GE1", "GE2", "GE3"))
    w = scripts(plant(SB1=main, **sets))
    for hits, dark_s in ((off("EM1"), 12.0), (off("EM1", "GE2"), 20.0), (off("VP1"), 0.0),
                         (off("EM1", "GE1", "GE2"), 0.0), (off("SB1"), 0.0)):  # fmt: skip
        assert w._dark_s(hits) == dark_s
    one = w.of(case(w, *off("EM1")))
    assert [s.after_s for s in one.stages] == [0.0, 12.0]
    first, then = one.stages
    assert HALT[0] in first.settings and HALT[0] not in then.settings
    assert ("machine", "VP1", 0.0) in first.settings and then.settings == (("machine", "EM1", 0.0),)
    assert len(w.of(case(w, *off("EM1"), hand_min=0.1)).stages) == 2


def test_what_is_set_of_each_machine() -> None:
    """Would fail if what people mend stayed broken, what they cannot was mended, or a share were
    told of another machine."""
    w = scripts()

    def settings(
        *hits: FaultEffect, hands: bool = False, **more: Any
    ) -> dict[tuple[str, str], float]:
        made = w._stage(0.0, asked(w.s, *hits), case(w, *hits, **more), hands=hands, halted=False)
        return {(i, t): v for i, t, v in made.settings}

    assert settings(FaultEffect("share", "VP1", amount=0.4)) == {("machine", "VP1"): 0.4}
    assert settings(FaultEffect("shut", "MF1"))["filter", "MF1"] == 0.0
    for hands in (False, True):
        held = settings(FaultEffect("held", "BT1"), hands=hands)
        assert held.get(("level", "BT1")) == (None if hands else 0.0)
        burst = settings(FaultEffect("leaks", "AV1"), hands=hands)
        assert burst.get(("air leak", "AV1")) == (None if hands else 1.0)
        on = settings(FaultEffect("held on", "MP3"), hands=hands)
        assert on.get(("level", "BT1")) == (None if hands else 1.0)
    assert settings(FaultEffect("leaks", "DT1"))["vacuum air", ""] == 300.0
    assert settings(FaultEffect("fouled", "PC1"))["exchanger", "PC1"] == 0.4
    assert settings(FaultEffect("duty", "CU1"))["machine", "CU1"] == 0.4
    gate = settings(*off("YG1"))
    assert gate["gate", ""] == RULES.number("failures.slow_share")
    slow = settings(FaultEffect("share", "DU1", amount=0.5))
    assert slow["drive", ""] == pytest.approx(0.75) and ("gate", "") not in slow
    assert settings(*off("DU1"))["drive", ""] == 0.0
    dry = settings(*off("LP1"))
    assert dry["supply", "PC1.water_in"] == 0.0 and ("supply", "WH1.inlet") not in dry
    assert ("supply", "TK1.refrigerant_in") not in dry


def test_valves_that_stand_elsewhere() -> None:
    """Would fail if a valve that stands where it should were told, or acts moved nothing."""
    w = scripts()

    def valves(*hits: FaultEffect, hands: bool = False, acts: Any = ()) -> dict[str, str]:
        one = case(w, *hits)
        made = Case(one.event, hits, Answer(True, acts), "equipment", 0.0)
        return dict(w._valves(asked(w.s, *hits), made, hands))

    stuck = FaultEffect("stuck", "V31", "closed")
    assert valves(stuck) == {"V31": "closed"} and valves(FaultEffect("stuck", "V31", "open")) == {}
    acts = (OperatorAction("set", "V32", "open"), OperatorAction("close", "V40"),
            OperatorAction("move", "V31", "open"), OperatorAction("set", "V33", ""))  # fmt: skip
    assert valves(stuck, acts=acts) == {"V31": "closed"}
    assert valves(stuck, hands=True, acts=acts) == {"V32": "open", "V40": "closed"}
    assert valves(FaultEffect("shut", "MF1")) == {}
    assert valves(FaultEffect("shut", "PC1")) == {"PC1": script.SHUT}
    assert script._allowed((), False) and not script._allowed(acts, False)
    assert script._allowed(acts, True) and not script._allowed(None, True)


def test_acts_for_cold_one_after_another() -> None:
    """Would fail if two acts took no longer than one, or none took the time to notice."""
    w = scripts()
    notice, act = (60 * RULES.number(f"failures.{k}_min") for k in ("notice", "act"))
    for n in (0, 1, 3):
        w.cold_acts = lambda _, n=n: (OperatorAction("start", "LP1"),) * n
        assert w._cold_s(w.usual) == pytest.approx(n and notice + n * act)


def test_a_valve_has_its_air_from_the_receiver_that_asks_least() -> None:
    """Would fail if people mended a hose though a second receiver moves the valve."""
    valve: Any = machine("V31", "valve", duty="fill", moved_by="air", air_from=("AV1", "AV2"),
                         on_loss="closes")  # fmt: skip
    made = plant("AC1.outlet AV2.inlet_1 air", V31=valve,
                 AV2=machine("AV2", "air_receiver", volume_l=90))  # fmt: skip
    s = structure(made)
    assert asked(s)._moving(valve) == ()
    assert asked(s, FaultEffect("leaks", "AV1"))._moving(valve) == ()
    both = asked(s, FaultEffect("leaks", "AV1"), FaultEffect("leaks", "AV2"))
    assert both._moving(valve) == (OperatorAction("isolate", "AV1"),)
    none = asked(s, FaultEffect("shut", "AV1"), *off("AV2"))
    assert none._moving(valve) is None and none.rests(valve)


def test_air_from_the_compressor_that_asks_least() -> None:
    """Would fail if people started one compressor while the other runs."""
    for at in ({"AC1": "stopped", "AC2": "runs"}, {"AC1": "runs", "AC2": "stopped"}):
        s = structure(plant(at=at))
        assert asked(s).air("AV1") == ()
        runs, stands = sorted(at, key=lambda t, at=at: at[t])  # type: ignore[misc]
        assert asked(s, *off(runs)).air("AV1") == (OperatorAction("start", stands),)
    assert asked(s, *off("AC1", "AC2")).air("AV1") is None


def test_a_receiver_that_no_milk_comes_to_need_not_stand_full() -> None:
    """Would fail if people let a receiver fill up whose line is shut."""
    gate = machine("V73", "valve", ways=2)
    for place, acts in (("open", ["stand RC1"]), ("closed", [])):
        made = plant("ML1.receiver_1 V73.a milk", "V73.b RC1.milkline_1 milk", at={"V73": place},
                     V73=gate)  # fmt: skip
        ends = ("ML1.receiver_1", "RC1.milkline_1")
        kept = tuple(p for p in made.pipes if (p.start, p.end) != ends)
        s = structure(made.model_copy(update={"pipes": kept}))
        answer = flows.milk(asked(s, *off("MP1")), {"RC1": (), "RC2": ()})
        assert answer.goes_on and said(answer) == acts


@pytest.mark.parametrize(("maker", "fields", "out"), [
    ("chiller", {"duty_kw": 40}, "coolant_out"),
    ("ice_bank", {"store_kwh": 90, "duty_kw": 20}, "coolant_out_1"),
])  # fmt: skip
def test_cold_that_a_shut_valve_keeps_away(maker: str, fields: dict[str, Any], out: str) -> None:
    """Would fail if chilled liquid came past a valve that sticks shut."""
    cooler = machine("PC1", "plate_cooler", area_m2=40, water_ratio=2.0, chilled_area_m2=20.0)
    one = machine("CH1", maker, fed_from=("SB1",), **fields)
    gate = machine("V74", "valve", ways=2)
    w = scripts(plant(f"CH1.{out} V74.a", "V74.b PC1.coolant_in", at={"V74": "open"}, PC1=cooler,
                      CH1=one, V74=gate))  # fmt: skip
    for place, lost in (("open", False), ("closed", True)):
        hit = FaultEffect("stuck", "V74", place)
        made = w._stage(0.0, asked(w.s, hit), case(w, hit), hands=True, halted=False)
        assert (("supply", "PC1.coolant_in", 0.0) in made.settings) == lost


def test_a_failure_is_typed() -> None:
    """Would fail if an effect could be any word."""
    with pytest.raises(TypeError):
        Failure("x", "filter", 1.0, "", "", effect="gone")  # type: ignore[arg-type]
