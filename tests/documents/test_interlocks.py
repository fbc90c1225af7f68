"""The interlock pack: exported text run against the model and a search of the raw file."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from byrewright.documents.interlocks import acceptance, alarms, files, matrix, page_csv, signals
from byrewright.documents.structured_text import exchange_xml, structured_text
from byrewright.engine.interlocks import DRAFT, Table, active, contacts, outputs, permitted
from byrewright.plant.read import read_plant
from byrewright.site.addresses import default_addresses
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.routes.brute import harms_of
from byrewright.studies.routes.classes import HARMS
from byrewright.studies.routes.propagation import Combination
from byrewright.studies.routes.study import Routes, report
from byrewright.studies.routes.table import process_contacts
from tests.documents.st_runner import Program, StError, parse
from tests.plants import machine, rotary
from tests.studies.raw_search import Raw

EXAMPLE = Path(__file__).parents[2] / "examples" / "rotary_spring_ice" / "plant.yaml"
LONG_MS = 200_000  # longer than every delay of the table
SCAN_MS = 100


@pytest.fixture(scope="module")
def study() -> Routes:
    """The routes of an example plant."""
    return Routes(read_plant(EXAMPLE).plant, Rulebook())


@pytest.fixture(scope="module")
def text(study: Routes) -> str:
    """Its exported Structured Text."""
    return structured_text(study.table)


def shown(study: Routes, table: Table, mode: str, wrong: Combination = ()) -> dict[str, bool]:
    """What the contacts show in a mode with some positions wrong."""
    scene = study.scenes[mode]
    position = {**scene.wanted, **dict(wrong)}
    return contacts(table, position, process_contacts(table, scene, wrong))


def settle(
    program: Program, table: Table, mode: str, readings: Mapping[str, bool]
) -> dict[str, bool | int]:
    """Scan until every delay is over."""
    inputs: dict[str, bool | int] = {
        "Mode": table.number(mode),
        **{f"I_{t}": v for t, v in readings.items()},
    }
    program.run(inputs, 0)
    return program.run(inputs, LONG_MS)


def alarms_on(out: Mapping[str, bool | int]) -> set[str]:
    """The alarms that are on, by row."""
    return {n[2:] for n, v in out.items() if n.startswith("A_") and v}


def test_text_equals_the_table_in_every_mode_and_wrong_position(study: Routes, text: str) -> None:
    """Would fail if the exported text and the model's evaluation differed anywhere."""
    table, program = study.table, parse(text)
    for mode, scene in study.scenes.items():
        for wrong in [(), *(((m, p),) for m, ps in scene.others.items() for p in ps)]:
            readings = shown(study, table, mode, wrong)
            out = settle(_fresh(program), table, mode, readings)
            assert alarms_on(out) == set(active(table, mode, readings)), (mode, wrong)
            assert bool(out[f"Permit_mode_{table.number(mode)}"]) is permitted(
                table, mode, readings
            )
            for effect, state in outputs(table, mode, readings).items():
                assert bool(out[effect]) is state


def _fresh(program: Program) -> Program:
    """The same program as after power-up, without reading the text again."""
    for timer in program.timers.values():
        timer.since, timer.Q = None, False
    return program


def test_text_is_quiet_when_all_is_right_and_sees_every_harm(study: Routes, text: str) -> None:
    """Would fail if the text alarmed with everything in place, or missed a harm that the
    separate search of the raw file finds."""
    table, raw = study.table, Raw(EXAMPLE)
    program = parse(text)
    seen = 0
    for mode, scene in study.scenes.items():
        assert not alarms_on(settle(_fresh(program), table, mode, shown(study, table, mode))), mode
        for machine_id, positions in scene.others.items():
            for position in positions:
                if position == "full" or not raw.harms(mode, {machine_id: position}):
                    continue
                wrong = ((machine_id, position),)
                out = settle(_fresh(program), table, mode, shown(study, table, mode, wrong))
                assert alarms_on(out) and out["Sound_alarm"], (mode, wrong)
                assert not out[f"Permit_mode_{table.number(mode)}"] or position in (
                    "stopped",
                    "runs",
                )
                seen += 1
    assert seen > 100  # the loop above really met harmful positions


def test_deleting_a_needed_row_leaves_its_wrong_position_unseen(study: Routes) -> None:
    """Would fail if a row called needed were not: without it a named harmful position is silent."""
    table = study.table
    needed = [r for r in table.rows if r.needed]
    assert len(needed) >= len(study.best.machines)
    whole = parse(structured_text(table))
    for row in needed:
        assert harms_of(study.scenes[row.proof_mode], row.proof_wrong), row.tag
        readings = shown(study, table, row.proof_mode, row.proof_wrong)
        with_row = settle(_fresh(whole), table, row.proof_mode, readings)
        assert row.tag in alarms_on(with_row)
        without = table.without(row.tag)
        out = settle(parse(structured_text(without)), without, row.proof_mode, readings)
        position_rows = {r.tag for r in without.rows if not _process(table, r.on + r.off)}
        assert not alarms_on(out) & position_rows, row.tag


def _process(table: Table, tags: tuple[str, ...]) -> bool:
    by_tag = {s.tag: s for s in table.signals}
    return any(by_tag[t].process for t in tags)


def test_deleting_a_sensor_leaves_its_wrong_position_unseen(study: Routes) -> None:
    """Would fail if a dead contact (it never leaves right) were still seen to be wrong."""
    table = study.table
    program = parse(structured_text(table))
    for row in (r for r in table.rows if r.needed):
        right = shown(study, table, row.proof_mode)
        readings = shown(study, table, row.proof_mode, row.proof_wrong)
        dead = {s.tag: right[s.tag] for s in table.signals if s.machine == row.machine}
        out = settle(_fresh(program), table, row.proof_mode, {**readings, **dead})
        position_rows = {r.tag for r in table.rows if not _process(table, r.on + r.off)}
        assert not alarms_on(out) & position_rows, row.tag


def test_an_alarm_tells_in_each_mode_what_comes_of_it_there(study: Routes) -> None:
    """Would fail if a row told in one mode what its valve does in another (a take-off open
    in milking was told as wash to milk), or something lesser than the worst."""
    rank = list(HARMS)
    for row in study.table.rows:
        assert sorted(m for t in row.told for m in t.modes) == sorted(row.modes)
        for told in row.told:
            for mode in told.modes:
                hits = [h for h in study.hits if h.mode == mode and row.machine in h.machines]
                worst = [(h.order, rank.index(h.question.harm)) for h in hits]
                if worst:  # what takes three, only the prover finds
                    assert told.harm == rank[min(worst)[1]], (row.tag, mode)
                    assert (" if also " in told.text) is (min(worst)[0] > 1), (row.tag, mode)
    row = study.table.row("V38_not_closed")
    assert row.priority == "high" and row.harm == "wash_to_milk"
    assert row.told_in("milking_tank_1")[0].endswith(": milk to a vessel not meant to be filled")
    assert row.text.endswith(
        "in wash, wash into tank 1, wash into tank 2: wash to milk; in rinse, last rinse: water to "
        "milk; in other modes: milk to a vessel not meant to be filled"
    )
    assert "Stop attaching" not in study.table.row("VS1_not_closed").told_in("idle")[1]
    assert "milk" not in study.table.row("V21_not_open").told_in("wash")[0].partition(": ")[2]
    for line in acceptance(study.table).rows:
        told = next(r for r in study.table.rows if line[4] in {t.text for t in r.told})
        assert line[4] == told.told_in(str(line[1]))[0]
    assert study.table.row("V65_not_to_c").priority == "medium"  # milk to wash, where it takes two


def test_wash_that_is_seen_at_the_milk_stops_every_wash_pump(study: Routes) -> None:
    """A probe that sees wash where milk runs would sound the alarm and let the pump run on, though
    a valve that lets it in stops the pump."""
    table = study.table
    seen = [r for r in table.rows if r.harm == "wash_to_milk" and _process(table, r.on + r.off)]
    let_in = [r for r in table.rows if r.harm == "wash_to_milk" and r not in seen]
    assert seen and let_in
    stops = {e for r in let_in for e in r.effects if e.startswith("Stop_")}
    assert len(stops) > 1
    assert all(stops <= set(r.effects) for r in seen)


def test_delays(study: Routes, text: str) -> None:
    """Would fail if the text alarmed before its on delay, or let go before its off delay."""
    table, mode = study.table, "milking_tank_1"
    program = parse(text)
    row = table.row("V46_not_closed")
    on_ms, off_ms = round(row.on_delay_s * 1000), round(row.off_delay_s * 1000)
    wrong = {f"I_{t}": v for t, v in shown(study, table, mode, (("V46", "open"),)).items()}
    right = {f"I_{t}": v for t, v in shown(study, table, mode).items()}
    number = {"Mode": table.number(mode)}
    times = list(range(0, on_ms + 1, SCAN_MS))
    states = [program.run({**number, **wrong}, t)["A_V46_not_closed"] for t in times]
    assert states == [t >= on_ms for t in times]
    later = list(range(on_ms + SCAN_MS, on_ms + off_ms + 3 * SCAN_MS, SCAN_MS))
    states = [program.run({**number, **right}, t)["A_V46_not_closed"] for t in later]
    assert states == [t - later[0] < off_ms for t in later]


def test_no_mode_no_alarm(study: Routes, text: str) -> None:
    """Would fail if an unknown mode number raised alarms, or a dead input card passed as right."""
    table = study.table
    nothing: dict[str, bool | int] = {f"I_{s.tag}": False for s in table.signals}
    program = parse(text)
    program.run({"Mode": 0, **nothing}, 0)
    assert not alarms_on(program.run({"Mode": 0, **nothing}, LONG_MS))
    out = settle(
        parse(text), table, "milking_tank_1", dict.fromkeys((s.tag for s in table.signals), False)
    )
    assert alarms_on(out) and not out[f"Permit_mode_{table.number('milking_tank_1')}"]


def test_awkward_tags_make_good_identifiers() -> None:
    """Would fail if two tags became one variable, or a tag made a name the language refuses."""
    plant = rotary(**{"V31": machine("V31", "valve", duty="fill", sensed=True)})
    renames = {"V31": "V-31_", "V32": "V-31", "V33": "v-31"}
    raw = plant.model_dump_json()
    for old, new in renames.items():
        raw = raw.replace(f'"{old}"', f'"{new}"').replace(f'"{old}.', f'"{new}.')
    again = _from_json(raw)
    table = Routes(again, Rulebook()).table
    program = parse(structured_text(table))
    tags = [s.tag.lower() for s in table.signals]
    assert len(tags) == len(set(tags)) and program.statements


def _from_json(raw: str):  # type: ignore[no-untyped-def]
    import json

    from byrewright.plant.machine import kinds
    from byrewright.plant.plant import Plant

    data = json.loads(raw)
    plant = rotary()
    kind_of = {m: e.kind for m, e in plant.equipment.items()}
    by_name = {}
    for (tag, fields), kind in zip(data["equipment"].items(), kind_of.values(), strict=True):
        by_name[tag] = kinds()[kind](**{**fields, "id": tag})
    data["equipment"] = by_name
    return Plant.model_validate(data)


def test_runner_refuses_what_the_language_refuses() -> None:
    """Would fail if the runner let bad text pass and so proved nothing."""
    head = "FUNCTION_BLOCK f VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT b : BOOL; END_VAR "
    for body in ("b := a", "a := b;", "b := (a;", "b := a ! a;", "c := a;"):
        with pytest.raises((StError, KeyError, IndexError)):
            parse(f"{head}{body} END_FUNCTION_BLOCK").run({"a": True})
    for name in ("a__b", "b_", "A", "and"):
        with pytest.raises(StError):
            parse(f"FUNCTION_BLOCK f VAR_INPUT a : BOOL; {name} : BOOL; END_VAR END_FUNCTION_BLOCK")


def test_exchange_file_holds_the_same_block(study: Routes, text: str) -> None:
    """Would fail if the exchange file's variables or statements differed from the text's."""
    root = ET.fromstring(exchange_xml(study.table))
    space = {"p": "www.iec.ch/public/TC65SC65BWG7TF10"}
    body = root.find(".//p:MainBody/p:BodyContent/p:ST", space)
    program = parse(text)
    assert body is not None and body.text is not None
    assert [
        v.get("name") for v in root.findall(".//p:InputVars/p:Variable", space)
    ] == program.sections["VAR_INPUT"]
    assert [
        v.get("name") for v in root.findall(".//p:OutputVars/p:Variable", space)
    ] == program.sections["VAR_OUTPUT"]
    assert body.text.strip() in text


def test_pages_say_what_an_engineer_asks(study: Routes) -> None:
    """Would fail if a row had no text, no action, no test, or a signal no address."""
    table = study.table
    assert (
        len(matrix(table).rows)
        == len(alarms(table).rows)
        == len(acceptance(table).rows)
        == len(table.rows)
    )
    for row in alarms(table).rows:
        assert row[1] in ("high", "medium", "low") and row[2] and row[4]
    listed = {r[1] for r in signals(table, default_addresses(table)).rows}
    assert {s.tag for s in table.signals} <= listed
    tested = {r[2] for r in acceptance(table).rows}
    assert {r.machine for r in table.rows} == tested


def test_files_open_and_say_they_are_a_draft(study: Routes) -> None:
    """Would fail if a file could not be opened, changed from run to run, or lost the warning."""
    import openpyxl

    result = report(study, orders=False)
    made = files(study.table, result)
    assert made == files(study.table, result)
    book = openpyxl.load_workbook(io.BytesIO(made["interlocks.xlsx"]))
    assert {"Cause and effect", "Alarms", "Permissives", "Acceptance test"} <= set(book.sheetnames)
    assert any(DRAFT in str(c.value) for row in book["Read first"].rows for c in row)
    assert made["interlocks.pdf"].startswith(b"%PDF")
    assert DRAFT in made["interlocks.st"].decode() and DRAFT.encode() in made["interlocks.xml"]
    rows = list(csv.reader(io.StringIO(made["alarms.csv"].decode())))
    assert len(rows) == len(study.table.rows) + 1


def test_csv_cells_cannot_be_formulas(study: Routes) -> None:
    """Would fail if a label such as =1+1 could run in a spreadsheet."""
    page = alarms(study.table)
    nasty = page.__class__("x", ("a",), (("=1+1",), ("@x",), ("-2",)))
    assert page_csv(nasty).splitlines()[1:] == ["'=1+1", "'@x", "'-2"]
