"""What the wash does in lines of milk and vessels, worked by hand on flows that are made up."""

from __future__ import annotations

from dataclasses import replace
from math import pi
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.plant.farm import Collection
from byrewright.plant.plant import Mode
from byrewright.plant.roles import CoolsMilk, MovesMilk
from byrewright.standards.pipes import ASME_BPE, ISO_2037
from byrewright.studies.sizing import circulation, wash_lines
from byrewright.studies.sizing.circulation import WHY, Stage
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty, duty_of
from byrewright.studies.sizing.wash_lines import MilkPipe
from tests.plants import machine, pipe
from tests.studies.benches import bench_of, milked, small
from tests.studies.told import inputs


@pytest.fixture(scope="module")
def day() -> Duty:
    """Milkings of 6000 and 4000 L."""
    return milked(duty_of(bench_of(small())), (360, 2.0, 6000.0), (960, 1.5, 4000.0))


MODES = {
    "rinse_out": Mode(name="rinse_out", does=("rinse",)),
    "tank": Mode(name="tank", does=("wash", "tank_wash")),
    "drain": Mode(name="drain", does=("drain_down",)),
}


def with_modes(*names: str, **changes: object) -> StudyContext:
    """A bench with further modes."""
    plant = small(**changes)
    modes = plant.modes | {n: MODES[n] for n in names}
    return bench_of(plant.model_copy(update={"modes": modes}))


def line(tag: str, end: str = "TK1.inlet_1", *, wash: float = 100.0, holds: float = 10.0,
         stays: float = 2.0, modes: tuple[str, ...] = ("wash",), length_m: float = 4.0,
         start: str = "MP1.outlet", **fields: Any) -> MilkPipe:  # fmt: skip
    """A line of milk of 50 mm."""
    made = MilkPipe(pipe(tag, start, end, 50.0, length_m), 150.0, wash, holds, stays, False, wash,
                    modes, False)  # fmt: skip
    return replace(made, **fields)


def test_rinse_water_that_lines_give_to_the_milk() -> None:
    """Would fail if a line that is rinsed out of a coupling alone gave its water after each wash,
    though a tanker takes it but once, or a line of the round only once a load."""
    ctx = with_modes("rinse_out", "tank", "drain")
    ctx.known["milk_pipes"] = (
        line("L1", stays=1.0), line("L2", "TB1.inlet_1", stays=10.0, modes=("rinse_out",)),
        line("L3", stays=100.0, modes=("rinse_out", "tank")),
        line("L4", stays=1000.0, modes=("wash", "rinse_out")),
        line("L5", stays=5.0, modes=("tank",)),
    )  # fmt: skip
    assert wash_lines.carried_l(ctx, 3, 2) == pytest.approx(3 * 1001 + 2 * 110)
    assert wash_lines.carried_l(ctx, 2, 5) == pytest.approx(2 * 1111)
    assert wash_lines.carried_l(ctx, 3, 2, ("L4",)) == pytest.approx(3 + 220)
    assert wash_lines.stays_l(ctx) == 1111.0 and wash_lines.stays_l(ctx, ("L3",)) == 1011.0
    dry = with_modes("rinse_out")
    dry.known["milk_pipes"] = ctx.known["milk_pipes"]
    assert wash_lines.stays_l(dry) is None


def test_the_slowest_line_and_the_time_to_push_all_out() -> None:
    """Would fail if the quickest of lines were told as the slowest, or a time in minutes."""
    ctx = bench_of(small())
    wash_lines._velocity(ctx, [line("L1", wash=60.0), line("L2", wash=240.0, holds=40.0)])
    (note,) = ctx.notes.notes
    slow = 60 / 60_000 / (pi / 4 * 0.05**2)
    assert f"slowest in L1 (MP1.outlet to TK1.inlet_1): {slow:.2f} m/s; 1 of 2" in note
    assert "takes 20 s at most" in note


@pytest.mark.parametrize(("end", "length_m", "own"), [
    ("TB1.inlet_1", 0.9, True), ("TB1.inlet_1", 30.0, False), ("TK1.inlet_1", 0.9, False),
])  # fmt: skip
def test_a_short_end_to_a_coupling_is_rinsed_with_the_hose(
    end: str, length_m: float, own: bool
) -> None:
    """Would fail if a long line to the tanker, or a short one to a tank, were taken as rinsed."""
    ctx = bench_of(small())
    wash_lines._missed(ctx, [line("L1", end, length_m=length_m, holds=7.0)])
    (told,) = ctx.notes.findings
    assert (told.value, told.verdict) == ((0.0, "holds") if own else (None, "unknown"))
    assert ("last 0.9 m to the coupling (L1)" in told.sentence) == own
    assert ("through L1 (7 L)" in told.sentence) != own
    assert len(ctx.notes.assumptions) == own and bool(told.inputs) == own
    many = bench_of(small())
    wash_lines._missed(many, [line(f"L{k}") for k in range(8)])
    assert "L0, L1, L2, L3, L4, L5 and 2 more (80 L)" in many.notes.findings[0].sentence


@pytest.mark.parametrize(("round_l_min", "milk", "ratio", "enough"), [
    (180.0, 200.0, 1.2, True), (90.0, 200.0, 0.6, False), (90.0, 60.0, 1.5, True),
    (0.0, 200.0, None, False), (90.0, 0.0, None, False),
])  # fmt: skip
def test_a_cooler_is_washed_no_slower_than_its_milk_runs(
    monkeypatch: pytest.MonkeyPatch, round_l_min: float, milk: float, ratio: float | None,
    enough: bool,
) -> None:  # fmt: skip
    """Would fail if a wash were held to more milk than comes, or than the line passes (150)."""
    asked = []

    def narrower(*given: Any) -> tuple[str, float, bool]:
        asked.append(given[-1])
        return "L9", 26.0, enough

    monkeypatch.setattr(wash_lines, "_narrower", narrower)
    ctx = bench_of(small())
    cooler = ctx.plant.equipment["PC1"]
    assert isinstance(cooler, CoolsMilk)
    wash_lines._cooler(ctx, cooler, line("L1", round_l_min=round_l_min), milk)
    (told,) = ctx.notes.findings
    assert told.value == ratio and told.limit == 1.0
    assert told.verdict == ("unknown" if ratio is None else "holds" if enough else "fails")
    assert ("no slower than the milk ran" in told.sentence) == (ratio is not None and enough)
    assert asked == ([] if ratio is None else [min(milk, 150.0)])
    why = wash_lines.NARROW if enough else wash_lines.NARROWEST
    assert (told.advised, told.advised_why) == (None if ratio is None else 26.0, why)
    assert told.target == (None if ratio is None else ("L9", "bore_mm"))
    assert len(told.missing) == (ratio is None)


@pytest.mark.parametrize(("want", "gain", "most_mm", "enough"), [
    (70.0, 5.0, 25.9, True), (90.0, 5.0, 4.7, False), (70.0, 0.0, 0.0, False),
    (40.0, 5.0, 50.0, True), (60.0, 5.0, 36.5, True),
])  # fmt: skip
@pytest.mark.parametrize("region", ["EU", "US"])
def test_the_way_round_a_cooler_is_narrowed_no_more_than_it_must_be(
    monkeypatch: pytest.MonkeyPatch,
    want: float,
    gain: float,
    most_mm: float,
    enough: bool,
    region: str,
) -> None:
    """A way round of b mm leaves the cooler (100 - b) % of the 90 L/min that come, a twentieth less
    is near enough: would fail if the narrowest were advised where a wider does, or a valve were
    narrowed that takes nothing from the cooler in the wash that gives it most."""
    plant = small()
    site = plant.site.model_copy(update={"region": region})
    plant = plant.model_copy(update={"site": site})
    other = plant.modes["wash"].model_copy(update={"name": "other"})
    ctx = bench_of(plant.model_copy(update={"modes": plant.modes | {"other": other}}))
    at = pipe("L1", "V40.b", "PC1.milk_in", 50.0)
    plain = SimpleNamespace(bore=0.0)
    plain.with_pipes = lambda pipes: SimpleNamespace(bore=next(iter(pipes)).bore_mm)

    def flows_of(net: Any, mode: str, stands: Any = None) -> dict[str, float]:
        if stands:
            return {"L1": 30.0 + (gain if "V34" in stands else -1.0)}
        return {"L1": (30.0 if mode == "wash" else 20.0) if not net.bore else 100.0 - net.bore}

    last = replace(STAGE, in_l_min=90.0, out_l_min=100.0)
    first = replace(STAGE, in_l_min=1.0, out_l_min=50.0)
    monkeypatch.setattr(wash_lines, "net_of", lambda _: plain)
    monkeypatch.setattr(wash_lines, "_flows", flows_of)
    monkeypatch.setattr(wash_lines, "_rounds", lambda _, washes: list(washes))
    still, dry = replace(last, pumps=(), in_l_min=9e9), replace(last, out_l_min=0.0)
    monkeypatch.setattr(wash_lines, "stages", lambda *_: [first, last, still, dry])
    found = wash_lines._narrower(ctx, at, want)
    tubes = {
        *wash_lines.THROTTLES_MM,
        *(t.bore_mm for t in (ASME_BPE if region == "US" else ISO_2037)),
    }
    fits = [b for b in tubes if b <= 50.0]
    (first_of, *_) = (p.id for p in ctx.plant.pipes_at("V34") if ctx.plant.service_of(p) == "milk")
    if gain <= 0:
        assert found == (None, None, False)
    elif enough:
        assert found == (first_of, max(b for b in fits if b <= most_mm), True)
    else:
        assert found == (first_of, min(fits), False)


@pytest.mark.parametrize(("stays", "words", "remedies"), [
    (30.0, "32.0 L of rinse water stays after tank in lines", True),
    (2.0, "4.0 L of rinse water stays after tank", True), (0.0, "runs empty", False),
])  # fmt: skip
def test_what_stays_against_the_milk_that_takes_it(
    monkeypatch: pytest.MonkeyPatch, stays: float, words: str, remedies: bool
) -> None:
    """Would fail if water that stays were held to another milking, or remedies turned valves where
    there is nothing to mend: a per cent of 900 L is 9 L."""
    turned = []
    monkeypatch.setattr(wash_lines, "_turned", lambda *_: turned.append(1) or ())
    ctx = bench_of(small(), {"milk.added_water_pct": 1.0})
    least = 2.0 if stays else 0.04
    wet = [line("L1", stays=least, holds=3.0), line("L2", stays=stays, holds=9.0, shut_in=True)]
    wash_lines._stays(ctx, wet, False, "tank", 900.0, "milk")
    (told,) = ctx.notes.findings
    assert told.value == round(stays + least, 1) and told.limit == pytest.approx(9.0)
    assert words in told.sentence and inputs(told)["V"] == 12.0
    assert ("closed valves in L2." in told.sentence) == (stays > 0.05)
    assert bool(turned) == (stays > 9)
    pumps = [m.id for m in ctx.plant.machines(MovesMilk)]
    assert [r.of for r in told.remedies if r.figure == "drains"] == pumps
    out = bench_of(small())
    wash_lines._stays(out, wet, True, None, 900.0, "milk")
    assert not out.notes.findings[0].remedies and out.notes.findings[0].subject == "out of tanks"


@pytest.mark.parametrize(("tanks", "loads_l"), [(1, 2500.0), (2, 1250.0)])
def test_the_milk_that_takes_the_rinse_water(
    day: Duty, monkeypatch: pytest.MonkeyPatch, tanks: int, loads_l: float
) -> None:
    """Would fail if water were held to the largest milking, or that out of tanks to a whole day:
    10 000 L, of which a fourth goes with each of four tankers, out of each tank its part."""
    told = []

    def stays(_: Any, wet: list[MilkPipe], out: bool, into: Any, milk_l: float, __: str) -> None:
        told.append(([x.pipe.id for x in wet], out, into, milk_l))

    def wet(_: Any, into: Any) -> list[MilkPipe]:
        stays_l = 3.0 if into else 1.0
        return [line("L1", stays=stays_l), line("L2", stays=1.0, out_of_tank=True)]

    monkeypatch.setattr(wash_lines, "_stays", stays)
    monkeypatch.setattr(wash_lines, "_wet", wet)
    ctx = with_modes("tank", "drain", **({} if tanks == 2 else {"TK2": None}))
    visits = tuple(Collection(at=f"{h:02d}:00", tanker_l=9000) for h in (1, 7, 13, 19))
    ctx.plant = ctx.plant.model_copy(update={"collections": visits})
    wash_lines._standing(ctx, day)
    assert told == [(["L1"], False, "tank", 4000.0), (["L2"], True, None, loads_l)]


STAGE = Stage("wash", ("RC1", "BT1"), ("MP1", "MP2"), 200.0, 150.0, 100.0, ())


@pytest.mark.parametrize(("out_l_min", "words", "verdict"), [
    (150.0, "MP1 and MP2 can take on 150 L/min (23 % short): full after 2.0 min, and the trough of "
     "900 L", "fails"),
    (0.0, "nothing takes it on (100 % short): full after 0.5 min", "fails"),
    (196.0, "MP1 and MP2 can take on 196 L/min (0 % spare).", "holds"),
])  # fmt: skip
def test_a_vessel_that_the_wash_overfills(out_l_min: float, words: str, verdict: str) -> None:
    """Would fail if a vessel were told full after another time than its room over what is left, or
    a wash that goes round (two per cent fewer may go) as one that does not."""
    ctx = bench_of(small())
    pump = ctx.plant.equipment["MP1"]
    assert isinstance(pump, MovesMilk)
    stage = replace(STAGE, out_l_min=out_l_min)
    target = ("MP1", "flow_l_min")
    circulation._judge(ctx, stage, pump, [("MP2", "head_m"), target], {target: 170.0},
                       {target: 160.0})  # fmt: skip
    (told,) = ctx.notes.findings
    assert (told.value, told.limit, told.verdict) == (out_l_min, 196.0, verdict)
    assert words in told.sentence and told.subject == "BT1"
    assert ("way round what holds it back" in told.sentence) == (out_l_min == 150.0)
    assert ("Run its pump" in told.sentence) == (out_l_min == 0.0)
    assert (told.advised, told.target, told.advised_why) == (170.0, target, WHY["flow_l_min"])
    for milk, why in ((160.0, WHY["flow_l_min"]), (180.0, "what the milk needs")):
        again = bench_of(small(TR1=None))
        circulation._judge(again, stage, pump, [target], {target: 170.0}, {target: milk})
        told = again.notes.findings[0]
        assert (told.advised, told.advised_why) == (max(milk, 170.0), why)
        assert "the trough" not in told.sentence
    none = bench_of(small())
    circulation._judge(none, replace(stage, pumps=()), None, [], {}, {})
    told = none.notes.findings[0]
    assert (told.advised, told.target) == (None, None)
    assert ("can run on by themselves" in told.sentence) == (out_l_min > 0)


def test_one_figure_has_one_advice() -> None:
    """Would fail if milk and wash were each advised their own size for the same pump, or the lesser
    of the two stood."""
    ctx = bench_of(small())
    for least, target in ((160.0, ("MP1", "flow_l_min")), (200.0, ("MP2", "flow_l_min")),
                          (120.0, ("MP1", "flow_l_min"))):  # fmt: skip
        ctx.find("x", "", 1.0, "", "", advised=least, advised_why="milk", target=target)
    assert circulation._advice(ctx) == {("MP1", "flow_l_min"): 160.0, ("MP2", "flow_l_min"): 200.0}
    circulation._raise(ctx, {("MP1", "flow_l_min"): 170.0, ("MP2", "flow_l_min"): 190.0,
                             ("MP2", "head_m"): 22.0})  # fmt: skip
    told = [(f.advised, f.advised_why) for f in ctx.notes.findings]
    wash = WHY["flow_l_min"]
    assert told == [(170.0, wash), (200.0, "milk"), (170.0, wash), (22.0, WHY["head_m"])]
    last = ctx.notes.findings[-1]
    assert (last.value, last.target) == (
        15.0,
        ("MP2", "head_m"),
    ) and "22 m takes on" in last.sentence


def test_a_wash_vessel_that_no_running_doser_reaches() -> None:
    """Would fail if one doser passed for two vessels, or one that stands for one that runs."""
    plant = small()
    stops = {n: m.model_copy(update={"positions": {**m.positions, "DS1": "stopped"}})
             for n, m in plant.modes.items()}  # fmt: skip
    second = plant.model_copy(update={
        "equipment": {**plant.equipment, "TR2": machine("TR2", "wash_trough", volume_l=900)},
        "pipes": (*plant.pipes, pipe("LX", "TR2.outlet_1", "MU1.wash"))})  # fmt: skip
    assert circulation.undosed(plant) == circulation.undosed(small(DS1=None)) == {}
    assert circulation.undosed(plant.model_copy(update={"modes": stops})) == {"wash": ("TR1",)}
    assert circulation.undosed(second) == {"wash": ("TR2",)}


@pytest.mark.parametrize(("filled", "comes", "drawn_l_min", "says", "value"), [
    ((), True, 0.0, "no water comes to TR1:", 0.0), (("wash",), True, 0.0, "", 0.0),
    (("rinse",), True, 0.0, "", 0.0), (("clean",), True, 0.0, "no water comes", 0.0),
    (("wash",), False, 0.0, "no wash comes from its vessel", 0.0),
    (("wash",), True, 0.9, "", 0.0),
    (("wash",), True, 1.0, "LP1 stands and the vacuum alone draws 1 L/min", 1.0),
    (("wash",), True, 30.0, "draws 30 L/min", 30.0),
])  # fmt: skip
def test_wash_that_comes_to_the_units(
    monkeypatch: pytest.MonkeyPatch, filled: Any, comes: bool, drawn_l_min: float, says: str,
    value: float,
) -> None:  # fmt: skip
    """Would fail if water had to come in the wash itself where a rinse fills its vessel, a mode
    that washes other units counted, or what runs from a tank of water were taken for wash."""
    roles = {"TR1": ("wash", "store"), "WT1": ("water", "store"), "WS1": ("wash", "source")}
    lines = [SimpleNamespace(source=s, l_min=q, passes=p) for s, q, p in (
        ("TR1", drawn_l_min, ("LP1",)), ("TR1", 50.0, ("LP2",)), ("WT1", 99.0, ("LP1",)),
        ("WS1", 99.0, ("LP1",)))]  # fmt: skip
    if not drawn_l_min:
        lines = lines[1:]
    net = SimpleNamespace(
        vessels={t: SimpleNamespace(holds=h, role=r) for t, (h, r) in roles.items()}, pumps=(),
        situation=lambda mode: mode, solve=lambda _: None, runs=lambda _, pump: pump == "LP2",
    )  # fmt: skip
    monkeypatch.setattr(circulation, "net_of", lambda _: net)
    monkeypatch.setattr(circulation, "streams", lambda *_: lines)
    monkeypatch.setattr(circulation, "washes_units", lambda _, mode: mode == "clean")
    monkeypatch.setattr(circulation, "_filled", lambda _, mode, wash: mode in filled
                        and wash == {"TR1"})  # fmt: skip
    plant = small()
    does = {"wash": "wash", "rinse": "rinse", "clean": "rinse", "idle": "idle"}
    modes = {n: SimpleNamespace(does=(d,)) for n, d in does.items()}
    ctx = bench_of(plant.model_copy(update={"modes": modes}))
    circulation._supplied(ctx, "wash", comes, 20.0)
    found = ctx.notes.findings
    assert len(found) == bool(says)
    if says:
        assert says in found[0].sentence and (found[0].value, found[0].limit) == (value, 20.0)


def test_ways_round_a_small_cooler_are_such_as_are_made() -> None:
    """Would fail if a narrow way were offered in a size that nobody makes."""
    assert wash_lines.THROTTLES_MM == (6.0, 8.0, 10.0, 13.0, 16.0, 19.0, 26.0)


def test_the_weakest_pump_of_a_stage_is_fitted() -> None:
    """Would fail if the stronger of two pumps were advised larger."""
    pair = {t: machine(t, "milk_pump", flow_l_min=q, head_m=9, motor_kw=1.1)
            for t, q in (("MP1", 90), ("MP2", 60), ("MP3", 30))}  # fmt: skip
    found = circulation._weakest(bench_of(small(**pair)), STAGE)
    assert found is not None and found.id == "MP2" and circulation._short(STAGE) == 50.0


@pytest.mark.parametrize(("curve", "expected"), [
    ("flow", {"flow_l_min": 220.0}), ("head", {"flow_l_min": 210.0, "head_m": 21.0}), ("never", {}),
])  # fmt: skip
def test_a_pump_is_fitted_by_flow_or_by_head(
    monkeypatch: pytest.MonkeyPatch, curve: str, expected: dict[str, float]
) -> None:
    """Would fail if a pump were advised that takes on less than the 200 L/min that come and 5 %
    more, one far larger than its flow where it lacks head, or one beyond 40 m."""

    def goes(net: Any, mode: str) -> list[Stage]:
        rated = net.pumps["MP1"]
        if curve == "flow":
            out = rated.flow_l_min * 0.97
        elif curve == "head":
            out = rated.flow_l_min * (rated.head_m >= 21)
        else:
            out = 0.0
        return [replace(STAGE, vessels=("ST1",), out_l_min=1e6), replace(STAGE, out_l_min=out)]

    monkeypatch.setattr(circulation, "stages", goes)
    pair = {t: machine(t, "milk_pump", flow_l_min=150, head_m=15, motor_kw=1.1)
            for t in ("MP1", "MP2")}  # fmt: skip
    lone = replace(STAGE, pumps=("MP1",))
    heads: list[float] = []
    plain = goes

    def counted(net: Any, mode: str) -> list[Stage]:
        heads.append(net.pumps["MP1"].head_m)
        return plain(net, mode)

    monkeypatch.setattr(circulation, "stages", counted)
    found = circulation._fit(bench_of(small(**pair)), {}, lone, "MP1")
    assert min(heads) == 15.0  # none is asked whether a lower head would do
    assert found == {("MP1", name): least for name, least in expected.items()}


def flows(*each: tuple[str, str, float, str]) -> list[Any]:
    """Streams: from, to, L/min, and the pump that it passes."""
    return [
        SimpleNamespace(source=a, target=b, l_min=q, passes=(pump,) if pump else ())
        for a, b, q, pump in each
    ]


@pytest.mark.parametrize(("every", "told"), [
    # Two receivers, a balance tank behind them, and back to the trough.
    ((("TR1", "RC1", 60, ""), ("TR1", "RC2", 40, ""), ("RC1", "BT1", 50, "MP1"),
      ("RC2", "BT1", 40, "MP2"), ("BT1", "TR1", 80, "MP3")),
     [(("RC1", "RC2"), ("MP1", "MP2"), 100, 90, 150), (("BT1",), ("MP3",), 90, 80, 300)]),
    # Part of it runs out of the coupling: the rest alone comes to the balance tank.
    ((("TR1", "RC1", 60, ""), ("TR1", "RC2", 40, ""), ("RC1", "BT1", 60, "MP1"),
      ("RC2", "TB1", 60, "MP2"), ("BT1", "TR1", 80, "MP3")),
     [(("RC1", "RC2"), ("MP1", "MP2"), 100, 120, 150), (("BT1",), ("MP3",), 50, 80, 300)]),
    # The first receiver runs over into the second by gravity.
    ((("TR1", "RC1", 100, ""), ("RC1", "RC2", 30, ""), ("RC2", "TR1", 90, "MP2")),
     [(("RC1", "RC2"), ("MP2",), 100, 90, 150)]),
    # Nothing leads on from the second receiver.
    ((("TR1", "RC1", 60, ""), ("TR1", "RC2", 40, ""), ("RC1", "TR1", 50, "MP1")),
     [(("RC2",), (), 40, 0, 50), (("RC1",), ("MP1",), 60, 50, 100)]),
    ((("TR1", "RC1", 0.9, ""), ("RC1", "TR1", 0.9, "MP1")), []),
    ((("WT1", "RC1", 50, ""), ("RC1", "TR1", 50, "MP1")), []),
])  # fmt: skip
def test_the_wash_from_vessel_to_vessel(
    monkeypatch: pytest.MonkeyPatch, every: tuple[tuple[str, str, float, str], ...],
    told: list[tuple[Any, ...]],
) -> None:  # fmt: skip
    """Would fail if a vessel were held to more or less than what comes to it of what went before,
    or one from which nothing leads on passed: half of each vessel's volume is room."""
    ctx = bench_of(small(), {"vessel.level_share": 0.5})
    litres = {"RC1": 200.0, "RC2": 100.0, "BT1": 600.0, "TB1": 9000.0}
    vessels = {t: SimpleNamespace(holds="milk", role="store", fill=False, volume_l=v)
               for t, v in litres.items()}  # fmt: skip
    vessels["TR1"] = SimpleNamespace(holds="wash", role="store", fill=False, volume_l=900.0)
    vessels["WT1"] = SimpleNamespace(holds="water", role="store", fill=False, volume_l=900.0)
    net: Any = SimpleNamespace(
        vessels=vessels, plant=ctx.plant, rules=ctx.rules, pumps={}, edges=(), kept={},
        situation=lambda _: None, solve=lambda _: None,
    )  # fmt: skip
    monkeypatch.setattr(circulation, "streams", lambda *_: flows(*every))
    found = circulation.stages(net, "wash")
    assert [(s.vessels, s.pumps, s.in_l_min, s.out_l_min, s.room_l) for s in found] == [
        (v, p, pytest.approx(i), pytest.approx(o), pytest.approx(room)) for v, p, i, o, room in told
    ]  # fmt: skip
    assert circulation.stages(net, "wash") is found


def test_each_vessel_is_judged_in_its_worst_mode(
    day: Duty, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if a vessel were judged in a mode that spares it, or a pump of two stages advised
    the lesser of their needs."""
    ctx = with_modes("rinse_out")
    short = replace(STAGE, mode="rinse_out", vessels=("RC1", "BT1"), out_l_min=100.0)
    other = replace(STAGE, vessels=("RC2",), in_l_min=90.0, out_l_min=80.0)
    by_mode = {"wash": [STAGE, other], "rinse_out": [short, replace(other, out_l_min=89.0)]}
    monkeypatch.setattr(circulation, "stages", lambda _, mode: by_mode[mode])
    monkeypatch.setattr(circulation, "_supplied", lambda *_: None)
    target = ("MP1", "flow_l_min")
    monkeypatch.setattr(circulation, "_fit", lambda _, __, stage, ___: {target: stage.in_l_min})
    judged: list[Any] = []
    monkeypatch.setattr(circulation, "_judge", lambda _, stage, *more: judged.append((stage, more)))
    raised: list[Any] = []
    monkeypatch.setattr(circulation, "_raise", lambda _, most: raised.append(most))
    circulation.size_circulation(ctx, day)
    assert [stage for stage, _ in judged] == [short, other]
    assert raised == [{target: 200.0}]
