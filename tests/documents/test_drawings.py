"""Service drawings: complete, tidy, told apart without colour, the same bytes each time."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from byrewright.documents.ink import (
    LEAST_CONTRAST,
    PAPER,
    SERVICE_INK,
    UNKNOWN_INK,
    contrast,
)
from byrewright.documents.layered import acyclic, ranks, straightened
from byrewright.documents.schematic import (
    Issue,
    schematic_layout,
    schematic_svg,
    sheets_for,
    title_block,
)
from byrewright.documents.shapes import Circle, Letters
from byrewright.documents.sheets import SHEETS, pipe_sheets, sheet_of
from byrewright.documents.symbols import SYMBOLS, symbol
from byrewright.plant.machine import SERVICES, kinds
from byrewright.plant.plant import Plant
from byrewright.plant.problems import PlantError
from byrewright.plant.read import read_plant
from byrewright.plant.roles import PumpsVacuum
from byrewright.site.checks.catalogue import TESTS
from tests.documents.tidy import faults, meet, pieces
from tests.plants import machine, rotary, rows

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
RANDOM_PLANTS = 6  # each lays out five sheets; more would slow the suite
REMOVABLE = ("ST2", "MP2", "MF2", "MP4", "CF1", "TK2", "V32", "VP2", "NR2", "AC2", "WT2", "WF1",
             "RG1", "BT1", "AI1", "CW1", "BF1", "DS1", "WH1", "CU2", "PA1", "V33")  # fmt: skip


@pytest.mark.parametrize("plant", [rotary(), rows()], ids=["rotary", "rows"])
@pytest.mark.parametrize("key", [*(s.key for s in SHEETS), "all"])
def test_no_text_on_a_line_and_no_symbol_on_another(plant: Plant, key: str) -> None:
    """Would fail if symbols or words overlapped, or a pipe ran through one or aslant."""
    for page in ("A4", "A3"):
        assert faults(schematic_layout(plant, key, page=page)) == []


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*/plant.yaml")), ids=lambda p: p.parent.name)
def test_the_examples_are_drawn_tidily(path: Path) -> None:
    """Would fail if a plant that we show to the world had an untidy drawing."""
    try:
        plant = read_plant(path).plant
    except PlantError:
        pytest.skip("this example is broken on purpose")
    for sheet in sheets_for(plant):
        assert faults(schematic_layout(plant, sheet.key)) == []


@settings(max_examples=RANDOM_PLANTS, deadline=None)
@given(st.sets(st.sampled_from(REMOVABLE)))
def test_any_part_of_a_plant_is_drawn_tidily(gone: set[str]) -> None:
    """Would fail if the layout were tidy only for the plants it was tried on."""
    plant = rotary(**dict.fromkeys(gone))
    for sheet in sheets_for(plant):
        assert faults(schematic_layout(plant, sheet.key)) == []


def test_an_untidy_sheet_is_noticed() -> None:
    """Would fail if the tidiness check itself were blind."""
    layout = schematic_layout(rotary(), "vacuum")
    run = layout.routed[0]
    x, y = run.points[0]
    layout.letters.append(Letters(x + 2, y + 0.5, "on the line", 2.0, "start"))
    layout.placed.append(replace(layout.placed[1], key="twin"))
    found = " ".join(faults(layout))
    assert "runs through 'on the line'" in found
    assert "overlap" in found


def test_every_pipe_and_its_machines_are_drawn_once() -> None:
    """Would fail if a pipe were left out, drawn on two sheets, or came without its machines."""
    plant = rotary()
    home = pipe_sheets(plant)
    assert set(home) == {p.id for p in plant.pipes}
    for sheet in sheets_for(plant):
        layout = schematic_layout(plant, sheet.key)
        if sheet.key == "power":
            loads = {m.id for m in plant.equipment.values() if m.fed_from}
            bars = {t.text.partition(" ")[0] for t in layout.letters}
            assert loads <= {p.machine for p in layout.placed} | bars
            continue
        own = {p.id for p in plant.pipes if home[p.id] == sheet.key}
        assert {r.pipe for r in layout.routed} == own
        ends = {e.partition(".")[0] for p in plant.pipes if p.id in own for e in (p.start, p.end)}
        assert ends <= {p.machine for p in layout.placed}


def test_every_point_that_a_tester_connects_to_is_drawn() -> None:
    """Would fail if a drawing sent the tester to another point than the sheet and the study do."""
    plant = rotary()
    drawn = {
        (p.machine, letters)
        for sheet in sheets_for(plant)
        for p in schematic_layout(plant, sheet.key).placed
        for w in p.words
        if w.text.startswith("test ")
        for letters in w.text.split()[1:]
    }
    pumps, coolers = plant.machines(PumpsVacuum), [m.id for m in plant.able("cools milk")]
    wanted = {(p.id, letters) for p in pumps for letters in ("A2", "Vp", "Pe")}
    assert drawn >= wanted | {("RC1", "A1"), ("RC1", "Vm"), ("RG1", "Vr"), (coolers[0], "TP")}
    named = {w for t in TESTS.values() for f in t.figures for w in f.point.split(", ") if w}
    assert named == {letters for _, letters in drawn} - {"TP", "PP"}
    assert "tester's connection" in schematic_svg(plant, "vacuum").replace("&#x27;", "'")


def test_a_cut_pipe_has_a_flag_at_each_end_that_names_the_other() -> None:
    """Would fail if a reader could not follow a pipe from one band of a sheet to the next."""
    plant = rotary()
    layout = schematic_layout(plant, "milk")
    halves = [r.pipe for r in layout.routed]
    cut = [p for p in plant.pipes if halves.count(p.id) == 2]
    assert cut
    flags = {p.key: p.machine for p in layout.placed if p.symbol == "flag"}
    for pipe in cut:
        assert flags[f"{pipe.id}>"] == pipe.end.partition(".")[0]
        assert flags[f">{pipe.id}"] == pipe.start.partition(".")[0]


def test_the_same_plant_gives_the_same_bytes() -> None:
    """Would fail if a clock, a hash order or chance got into a drawing."""
    issue = Issue(date="2026-03-01", revision="B")
    first = schematic_svg(rotary(), "milk", issue=issue)
    assert first == schematic_svg(rotary(), "milk", issue=issue)
    assert "2026-03-01" in first
    assert "INVENTED FARM" in first


def test_a_drawing_says_whether_it_was_approved() -> None:
    """Would fail if a sheet pulled from a set that nobody approved could be built from unseen."""
    block = (rotary(), sheet_of("milk"), None, "A3", 420.0, 297.0)
    assert "for review, not approved" in "".join(title_block(*block, Issue()))
    signed = "".join(title_block(*block, Issue(approved="J. Hay")))
    assert "approved: J. Hay" in signed and "for review" not in signed


def test_every_sheet_is_sound_xml() -> None:
    """Would fail if a name with signs of markup broke the drawing."""
    plant = rotary()
    odd = plant.equipment["TK1"].model_copy(update={"label": 'Tank <b>&"1"</b>'})
    plant = plant.model_copy(update={"equipment": {**plant.equipment, "TK1": odd}})
    root = ElementTree.fromstring(schematic_svg(plant, "milk"))
    assert any("<b>" in (t.text or "") for t in root.iter("{http://www.w3.org/2000/svg}text"))


def test_services_differ_without_colour_and_are_readable_with_it() -> None:
    """Would fail if two services looked alike in grey, or an ink were too pale for its paper."""
    assert set(SERVICE_INK) == set(SERVICES)
    looks = [(i.dashes, i.width_mm) for i in SERVICE_INK.values()]
    letters = [i.letter for i in SERVICE_INK.values()]
    assert len(set(letters)) == len(letters)
    piped = [i for s, i in SERVICE_INK.items() if s not in ("power", "signal")]
    assert len({(i.dashes, i.width_mm) for i in piped}) == len(piped), looks
    for ink in (*SERVICE_INK.values(), UNKNOWN_INK):
        assert contrast(ink.colour, PAPER) >= LEAST_CONTRAST, ink


def test_contrast_agrees_with_the_published_extremes() -> None:
    """Would fail if the contrast formula were wrong (WCAG 2: black on white is 21 to 1)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)  # widely printed value


def test_every_kind_has_a_symbol_of_its_own_name() -> None:
    """Would fail if a machine kind named a symbol that nobody drew."""
    assert {k.SYMBOL for k in kinds().values()} <= set(SYMBOLS)
    assert symbol("no such thing") is SYMBOLS["box"]


def test_a_mode_shows_in_the_valves() -> None:
    """Would fail if a drawing of a mode did not say which valves are shut."""
    layout = schematic_layout(rotary(), "milk", mode="direct")
    at = {p.machine: p.position for p in layout.placed if p.symbol != "flag"}
    assert (at["V31"], at["V33"], at["MP1"]) == ("closed", "open", "runs")
    shut = symbol("valve").draw(8, 5, "closed")
    assert shut != symbol("valve").draw(8, 5, "open")
    with pytest.raises(ValueError, match="no mode"):
        schematic_svg(rotary(), "milk", mode="flying")
    with pytest.raises(ValueError, match="choose"):
        sheet_of("gold")


@given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), max_size=25))
def test_ranks_point_every_forward_tie_to_a_higher_column(pairs: list[tuple[int, int]]) -> None:
    """Would fail if a circle of pipes could hang the layout, or a pipe ran within one column."""
    keys = [str(i) for i in range(10)]
    ties = [(str(a), str(b)) for a, b in pairs]
    ahead = [t for t, ok in zip(ties, acyclic(keys, ties), strict=True) if ok]
    rank = ranks(keys, ahead)
    assert all(rank[a] < rank[b] for a, b in ahead)


def test_straight_runs_are_one_piece() -> None:
    """Would fail if needless corners were kept on a straight pipe."""
    assert straightened([(0, 0), (1, 0), (1, 0), (3, 0), (3, 2)]) == [(0, 0), (3, 0), (3, 2)]


@pytest.mark.parametrize("make", [rotary, rows])
def test_every_instrument_is_on_one_sheet_and_on_nothing_else(make: Any) -> None:
    """A sensor would be missing from the drawings, or its bubble stand on a symbol or a pipe."""
    plant = make()
    extra = {
        f"SN{i}": machine(f"SN{i}", "sensor", measures=m, on=on)
        for i, (m, on) in enumerate(
            (("vacuum", "DT1"), ("level", "RC1"), ("temperature", "TK1"), ("current", "VP1")), 90
        )
    }  # fmt: skip
    plant = plant.model_copy(update={"equipment": {**plant.equipment, **extra}})
    drawn: list[str] = []
    for sheet in sheets_for(plant):
        layout = schematic_layout(plant, sheet.key)
        if sheet.key == "power":
            continue
        assert faults(layout) == []
        bubbles = [s for s in layout.extra if isinstance(s, Circle)]
        drawn += [t.text for t in layout.letters if t.text.isdigit()]
        for one in bubbles:
            box = (one.x - one.r, one.y - one.r, one.x + one.r, one.y + one.r)
            assert not any(meet(box, (p.x, p.y, p.x + p.w, p.y + p.h)) for p in layout.placed)
            assert not any(meet(box, (min(a[0], b[0]), min(a[1], b[1]), max(a[0], b[0]),
                                      max(a[1], b[1]))) for _, a, b in pieces(layout))  # fmt: skip
    numbers = [t.removeprefix("SN") for t in plant.equipment if t.startswith("SN")]
    assert sorted(drawn) == sorted(numbers)
