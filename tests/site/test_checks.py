"""Test sheets of a plant: made, filled in, read back, judged; bad ones refused in a sentence."""

from __future__ import annotations

import base64
import io
import json
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import openpyxl
import pytest

import byrewright as bw
from byrewright.commands.common import console
from byrewright.commands.tests import _print as print_tests
from byrewright.documents.certificate import certificate_data, issue
from byrewright.documents.test_sheets import sheet_html, sheet_xlsx
from byrewright.documents.tests_in import check_in, judged_in
from byrewright.plant.machine import kinds
from byrewright.plant.read import read_plant_text
from byrewright.results import Result
from byrewright.site.checks.catalogue import TESTS
from byrewright.site.checks.check import Check, Limit, checks_of, revision_of
from byrewright.site.checks.measured import PlantChecks, bench_of
from byrewright.site.checks.sheet import (
    CLOCK,
    Filled,
    Row,
    SheetError,
    empty,
    from_data,
    read_json,
    take,
)
from byrewright.site.checks.verdicts import as_measured, judged
from byrewright.site.checks.workbook import read_workbook
from byrewright.site.log import Log, New, Owner
from byrewright.site.log.entry import current
from byrewright.standards.diagnosis import TEST_MINUTES
from byrewright.standards.rulebook import default_rulebook
from byrewright.standards.units import typed_number
from tests.plant.small import SMALL

OWNER = Owner("plant-1", "(invented) one")
JPEG = b"\xff\xd8\xff photo"
WHEN = "2026-03-05 10:00"


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> PlantChecks:
    """The checks of a small plant."""
    path = tmp_path_factory.mktemp("plant") / "plant.yaml"
    path.write_text(SMALL, encoding="utf-8")
    return bench_of(path, read_plant_text(SMALL).plant, default_rulebook())


@pytest.fixture
def log(tmp_path: Path) -> Any:
    """An empty log."""
    one = Log(tmp_path / "log.sqlite", OWNER)
    yield one
    one.close()


def of(checks: tuple[Check, ...], *ids: str) -> tuple[Check, ...]:
    """Some of the checks."""
    found = tuple(c for c in checks if c.id in ids)
    assert len(found) == len(ids)
    return found


def filled(bench: PlantChecks, *rows: Row, **more: str) -> Filled:
    """A sheet that came back."""
    told = {"sheet": "s1", "plant_id": "plant-1", "plant": "(invented) one",
            "revision": revision_of(bench.checks)} | more  # fmt: skip
    return Filled("sheet", rows=rows, **told)


def row(check: str, value: float | None, **more: Any) -> Row:
    """One reading."""
    told = {"uncertainty": 0.1, "who": "anna", "when": WHEN, "instrument": "gauge 1"} | more
    return Row(check, value, **told)


def test_every_test_of_every_kind_can_be_done() -> None:
    """Would fail if a kind named a test that no sheet shows, or a method stood for none."""
    named = {t for kind in kinds().values() for t in kind.TESTS}
    assert named == set(TESTS) == set(TEST_MINUTES)


def test_every_predicted_reading_is_on_the_sheet(bench: PlantChecks) -> None:
    """Would fail if the vacuum study predicted a reading that nobody is asked to take."""
    from fnmatch import fnmatch

    from byrewright.site.checks.predicted import predicted_of

    asked = [k for t in TESTS.values() for f in t.figures for k in f.findings]
    for one in predicted_of(bench.plant, default_rulebook()).findings:
        if one.key.startswith("vacuum.test."):
            assert any(fnmatch(one.key, k) for k in asked), one.key
    by_id = {c.id: c for c in bench.checks}
    assert by_id["milkline_slope@ML1"].held_to == "at least 0.5"
    assert by_id["milkline_slope@ML1"].predicted == 1.0
    assert any(c.group == "Alarms" for c in bench.checks)


def test_three_ways_give_the_same_entries(bench: PlantChecks, tmp_path: Path) -> None:
    """Would fail if workbook, page and file kept the same reading differently."""
    checks = of(bench.checks, "milkline_slope@ML1", "level_control@RC1", "turn_time@PF1")
    head = empty("plant-1", "(invented) one", bench.checks, "s1")
    (tmp_path / "p.jpg").write_bytes(JPEG)
    book = openpyxl.load_workbook(io.BytesIO(sheet_xlsx(head, bench.checks, made="2026-03-01")))
    book["Instruments"].append(["level 3", "2026-01-15", 0.1, "%"])
    told: dict[str, dict[str, Any]] = {
        "milkline_slope@ML1": {"value": "1,1", "instrument": "level 3", "remark": "far \n end",
                               "photo file": "p.jpg"},
        "level_control@RC1": {"value": "x"},
        "turn_time@PF1": {"not done, why": "no cows yet"},
    }  # fmt: skip
    for sheet in book.worksheets[2:]:
        names = [c.value for c in sheet[1]]
        for line in sheet.iter_rows(min_row=2):
            for name, value in told.get(str(line[0].value), {}).items():
                line[names.index(name)].value = value
                line[names.index("by")].value = "anna"
                line[names.index("when")].value = WHEN
    book.save(tmp_path / "tests.xlsx")
    data = head | {"rows": [
        {"check": "milkline_slope@ML1", "value": "1.1", "unit": "%", "instrument": "level 3",
         "calibrated": "2026-01-15", "uncertainty": "0.1", "who": "anna", "when": WHEN,
         "remark": "far \n end",
         "photo": "data:image/jpeg;base64," + base64.b64encode(JPEG).decode()},
        {"check": "level_control@RC1", "seen": True, "who": "anna", "when": WHEN},
        {"check": "turn_time@PF1", "why_not": "no cows yet", "unit": "s", "who": "anna",
         "when": WHEN},
    ]}  # fmt: skip
    (tmp_path / "tests.json").write_text(json.dumps(data))
    made = []
    for one in (read_workbook(tmp_path / "tests.xlsx"), read_json(tmp_path / "tests.json"),
                from_data("page", data)):  # fmt: skip
        log = Log(tmp_path / f"{len(made)}.sqlite", OWNER)
        entries = take(log, one, bench.checks, OWNER).new
        made.append({(e.uid, e.at, e.tag, e.who, e.body) for e in entries})
        assert len(log.photos()) == 1
        log.close()
    assert made[0] == made[1] == made[2] and len(made[0]) == len(checks)


def test_a_sheet_is_taken_once_and_its_changes_are_corrections(
    bench: PlantChecks, log: Log
) -> None:
    """Would fail if a second upload doubled readings, or a changed value lost the old one."""
    first = filled(bench, row("milkline_slope@ML1", 1.1), row("receiver_volume@RC1", 120.0))
    assert len(take(log, first, bench.checks, OWNER).new) == 2
    with pytest.raises(SheetError, match="not in the log already"):
        take(log, first, bench.checks, OWNER)
    later = filled(bench, row("milkline_slope@ML1", 0.9), row("receiver_volume@RC1", 120.0))
    taken = take(log, later, bench.checks, OWNER)
    assert (len(taken.new), taken.corrected, taken.same) == (1, 1, 1)
    assert sorted(e.data["value"] for e in current(log.entries())) == [0.9, 120.0]
    assert len(log.entries()) == 3 and not log.verify()


def test_a_copy_of_a_sheet_filled_in_at_another_visit_corrects_nothing(
    bench: PlantChecks, log: Log
) -> None:
    """Would fail if last year's reading, and with it the trend, were lost to this year's."""
    for when, value in ((WHEN, 1.1), ("2025-03-05 10:00", 1.2), ("2025-03-06 09:00", 1.15)):
        taken = take(log, filled(bench, row("milkline_slope@ML1", value, when=when)),
                     bench.checks, OWNER)  # fmt: skip
    assert (taken.corrected, taken.again) == (1, 0), "the next day is the same visit"
    assert sorted(e.data["value"] for e in current(log.entries())) == [1.1, 1.15]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"plant_id": "plant-2", "plant": "(invented) two"}, "another plant"),
        ({"rows": [row("nothing@X1", 1.0)], "revision": "old"}, "older revision.*--unchanged"),
        ({"rows": [row("nothing@X1", 1.0)]}, "no check nothing@X1"),
        ({"rows": [row("milkline_slope@ML1", 1.0, unit="mm")], "revision": "o"}, "older revision"),
        ({"rows": [row("milkline_slope@ML1", 1.0, unit="mm")]}, "read in mm.* asks for it in %"),
        ({"rows": [row("milkline_slope@ML1", 1.0)] * 2}, "filled in twice"),
        ({"rows": [row("milkline_slope@ML1", None, seen=True)]}, "not a tick"),
        ({"rows": [row("level_control@RC1", 3.0)]}, "not a number"),
        ({"rows": [row("milkline_slope@ML1", 1.0, who="")]}, "who did it"),
        ({"rows": [row("milkline_slope@ML1", 1.0, when="")]}, "when it was done"),
        ({"rows": [row("milkline_slope@ML1", 1.0, when="soon")]}, "no date and time"),
        ({"rows": [row("milkline_slope@ML1", 1.0, when="2099-01-01 10:00")]}, "future"),
        ({"rows": [row("milkline_slope@ML1", 1.0, calibrated="2026-04-01")]}, "calibration"),
        ({"rows": [row("milkline_slope@ML1", 1.0, uncertainty=-1.0)]}, "less than nothing"),
        ({"rows": [row("milkline_slope@ML1", 1.0, photo=b"text")]}, "no JPEG or PNG"),
        ({"rows": []}, "nothing is filled in"),
    ],
)  # fmt: skip
def test_a_bad_sheet_is_refused_whole(
    bench: PlantChecks, log: Log, change: dict[str, Any], words: str
) -> None:
    """Would fail if half of a sheet that cannot be were kept, or its fault not said."""
    good = row("receiver_volume@RC1", 120.0)
    rows = change.pop("rows", [row("milkline_slope@ML1", 1.1)])
    sheet = filled(bench, *rows, *([good] if rows else []), **change)
    with pytest.raises(SheetError, match=words) as told:
        take(log, sheet, bench.checks, OWNER)
    assert "\n" not in str(told.value)
    assert not log.entries()


def test_of_an_older_sheet_what_is_unchanged_may_be_taken(bench: PlantChecks, log: Log) -> None:
    """Would fail if a day's readings were lost since one machine was changed meanwhile."""
    sheet = filled(bench, row("nothing@X1", 1.0), row("receiver_volume@RC1", 1.0), revision="old")
    taken = take(log, sheet, bench.checks, OWNER, unchanged=True)
    assert (len(taken.new), taken.left, taken.older) == (1, ["nothing@X1"], True)
    now = filled(bench, row("milkline_slope@ML1", 1.0))
    assert not take(log, now, bench.checks, OWNER).older


def test_files_that_are_no_sheets_are_refused_in_a_sentence(tmp_path: Path) -> None:
    """Would fail if a wrong or cut file gave a traceback."""
    for name, data, words in (
        ("a.json", b"{", "cut off"), ("b.json", b"[1]", "no export"),
        ("c.json", b'{"byrewright_tests":1}', "no rows"), ("d.json", b"\xff\xfe", "cut off"),
        ("e.json", b'{"byrewright_tests":1,"rows":[{"check":"a","value":"1.2,3"}]}', "two ways"),
        ("f.json", b'{"byrewright_tests":1,"rows":[{"check":"a","photo":"data:;base64,x"}]}',
         "photo was cut off"),
        ("g.xlsx", b"PK", "no workbook"),
    ):  # fmt: skip
        (tmp_path / name).write_bytes(data)
        read: Callable[[Path], Filled] = read_workbook if name.endswith("x") else read_json
        with pytest.raises(SheetError, match=words):
            read(tmp_path / name)
        with pytest.raises(SheetError, match="no such file"):
            read(tmp_path / f"no{name}")
    book = openpyxl.Workbook()
    book.save(tmp_path / "other.xlsx")
    with pytest.raises(SheetError, match="no workbook of test sheets"):
        read_workbook(tmp_path / "other.xlsx")
    for bad in ("1.2,3", "1,2,3", "1,250", "abc", "nan", ""):
        with pytest.raises(ValueError, match=r"number|two ways"):
            typed_number(bad)


def entry(check: str, value: float, doubt: float | None, at: float = 0.0) -> New:
    """A reading as it is entered."""
    when = time.mktime(time.strptime(WHEN, CLOCK)) + at
    body = {"check": check, "value": value, "uncertainty": doubt, "outcome": "read"}
    return New("test", when, check.partition("@")[2], "anna", body)


@pytest.mark.parametrize(
    ("value", "doubt", "verdict", "words"),
    [
        (0.8, 0.1, "holds", ""),
        (0.55, 0.1, "unknown", "an instrument within 0.05 % would decide"),
        (0.45, 0.1, "unknown", "would decide"),
        (19.9, 25.0, "unknown", "an instrument within 19 % would decide"),
        (0.3, 0.1, "fails", "at least 0.5"),
        (0.8, None, "unknown", "plus or minus"),
        (0.5, 0.1, "unknown", "lies on the limit"),
    ],
)  # fmt: skip
def test_the_verdict_takes_the_instrument_in(
    bench: PlantChecks, log: Log, value: float, doubt: float | None, verdict: str, words: str
) -> None:
    """Would fail if a reading that its instrument cannot decide were passed or failed."""
    log.append([entry("milkline_slope@ML1", value, doubt)])
    (one,) = judged(of(bench.checks, "milkline_slope@ML1"), log.entries())
    assert one.finding.verdict == verdict and words in one.finding.sentence
    assert "predicted 1" in one.finding.sentence


def test_both_sides_of_a_range_are_held(bench: PlantChecks, log: Log) -> None:
    """Would fail if a reading above the upper limit passed since it is above the lower one."""
    (slope,) = of(bench.checks, "milkline_slope@ML1")
    both = replace(slope, limits=(Limit("at_least", 40.0, "", ""), Limit("at_most", 44.0, "", "")))
    told = ((39.0, "fails"), (42.0, "holds"), (45.0, "fails"), (43.95, "unknown"))
    for number_of, (value, verdict) in enumerate(told):
        log.append([entry(slope.id, value, 0.1, at=60.0 * number_of)])
        (one,) = judged((both,), log.entries())
        assert one.finding.verdict == verdict, value


def test_a_reading_that_is_held_to_nothing_does_not_hold(bench: PlantChecks, log: Log) -> None:
    """Would fail if a pump at half its capacity, which no limit forbids, stood on the certificate
    as one that holds."""
    log.append([entry("pump_capacity@VP1", 1500.0, 50.0), entry("milkline_slope@ML1", 0.9, 0.05)])
    result = as_measured("one", bench.checks, log.entries())
    table = result.table("as_measured")
    at = table.columns.index("verdict")
    assert [row[at] for row in table.rows] == ["kept", "holds"]
    told = certificate_data(bench, log.entries(), name="1", day="2026-03-06", who="anna")
    assert told["summary"].startswith("1 holds, 1 kept;")
    assert [r[0] for g in told["groups"] for r in g["rows"]] == ["", "+"]


def test_found_and_mended_and_the_certificate(bench: PlantChecks, log: Log, tmp_path: Path) -> None:
    """Would fail if a mended fault vanished, or a certificate did not bind its log, or an old
    reading stood on it as one of today."""
    with pytest.raises(SheetError, match="nothing to certify"):
        issue(bench, log, tmp_path / "c.pdf", who="anna", day="2026-03-06")
    log.append([entry("milkline_slope@ML1", 0.2, 0.05), entry("receiver_volume@RC1", 120.0, 1.0)])
    log.append([entry("milkline_slope@ML1", 0.9, 0.05, at=3600.0)])
    result = as_measured("one", bench.checks, log.entries())
    assert result.table("as_measured.mended").rows[0][2:5:2] == (0.2, 0.9)
    assert result.worst() == "holds"
    told = certificate_data(bench, log.entries(), name="1", day="2026-03-06", who="anna")
    rows = [r for g in told["groups"] for r in g["rows"]]
    assert len(rows) == 2 and {r[-1] for r in rows} == {WHEN[:10]} and told["read_by"] == "anna"
    before = log.digest()
    made = issue(bench, log, tmp_path / "c.pdf", who="anna", day="2026-03-06")
    assert (tmp_path / "c.pdf").read_bytes().startswith(b"%PDF")
    assert made.number.startswith("1 of 2026-03-06") and before[:8] in made.number
    assert made.entry.data["log"] == before and not log.verify()
    again = issue(bench, log, tmp_path / "c2.pdf", who="anna", day="2026-03-06")
    assert again.number.startswith("2 of")
    from tests.site.test_log_entries import change

    change(log, "DELETE FROM entry WHERE id = 1")
    with pytest.raises(SheetError, match="does not fit"):
        issue(bench, log, tmp_path / "c3.pdf", who="anna", day="2026-03-06")
    assert not (tmp_path / "c3.pdf").exists()


def test_a_certificate_is_neither_lost_nor_dated_before_what_it_tells(
    bench: PlantChecks, log: Log, tmp_path: Path
) -> None:
    """Would fail if a certificate took the place of an issued one, told readings of days after its
    own, or bore a day still to come."""
    log.append([entry("milkline_slope@ML1", 0.9, 0.05)])
    (tmp_path / "c.pdf").write_bytes(b"issued")
    for name, day, said in (("c.pdf", WHEN[:10], "already exists"),
                            ("d.pdf", "2026-03-04", f"readings of {WHEN[:10]}"),
                            ("d.pdf", "9999-01-01", "still to come")):  # fmt: skip
        with pytest.raises(SheetError, match=said):
            issue(bench, log, tmp_path / name, who="anna", day=day)
    assert (tmp_path / "c.pdf").read_bytes() == b"issued" and not (tmp_path / "d.pdf").exists()
    assert not log.entries("certificate")


def test_a_large_reading_is_told_as_people_write_it(bench: PlantChecks, log: Log) -> None:
    """Would fail if a reserve of 11,840 L/min were told as 1.184e+04, in no unit."""
    (one,) = of(bench.checks, "effective_reserve")
    one = replace(one, predicted=11836.2)
    log.append([entry("effective_reserve", 2378.6, 56.6)])
    (done,) = judged([one], log.entries())
    assert "predicted 11840, difference -9460." in done.finding.sentence
    assert "predicted 418 cfm, difference -334 cfm" in judged_in(done, "US").finding.sentence


def test_stalls_in_rows_are_not_put_to_the_tests_of_a_deck(bench: PlantChecks) -> None:
    """Would fail if the sheets, the service and the cautions of fixed stalls asked for stop ropes,
    the level of a turn and the rollers' track."""
    deck, fixed = (kinds()["platform"](id="PF1", layout=how, stalls=20, turn_s=600)
                   for how in ("rotary", "rows"))  # fmt: skip
    assert "emergency stops" in deck.tests() and deck.upkeep() and deck.cautions()
    assert fixed.tests() == ("stray voltage",) and not fixed.upkeep() and not fixed.cautions()


def test_what_flows_back_is_of_what_the_pipes_carry() -> None:
    """Would fail if the back flow of a chilled pump's valve were asked in cfm."""
    plant = bw.read(Path("examples/rotary_spring_ice/plant.yaml")).sound
    asked = {c.id: check_in(c, "US").unit
             for c in checks_of(plant, default_rulebook(), Result("none", "one", ()))
             if c.id.startswith("back_flow")}  # fmt: skip
    assert set(asked.values()) == {"cfm", "gpm"}, asked
    for tag, unit in asked.items():
        carried = {plant.service_of(p) for p in plant.pipes_at(tag.partition("@")[2])}
        assert unit == ("cfm" if carried & {"vacuum", "air"} else "gpm"), tag


def test_what_is_held_to_nothing_is_not_counted_as_holding(
    bench: PlantChecks, log: Log, capsys: pytest.CaptureFixture[str]
) -> None:
    """Would fail if the screen counted as sound what the certificate only keeps."""
    log.append([entry("pump_capacity@VP1", 1500.0, 50.0), entry("milkline_slope@ML1", 0.9, 0.05)])
    print_tests(console(), as_measured("one", bench.checks, log.entries()), False)
    told = " ".join(capsys.readouterr().out.split())
    assert "+ 1 holds" in told and "1 kept" in told


def test_what_no_plant_can_read_is_not_entered(bench: PlantChecks, log: Log) -> None:
    """Would fail if 43 typed as 430, per cent of the time over 100, or a flow below nothing were
    entered for good, and the second of them told as what holds."""
    for check, value in (("working_vacuum", 430.0), ("milkline_stable@ML1", 101.0),
                         ("pump_capacity@VP1", -5.0)):  # fmt: skip
        asked = {c.id: c for c in bench.checks}[check]
        with pytest.raises(SheetError, match=f"{check}: .* cannot be"):
            take(log, filled(bench, row(check, value, unit=asked.unit)), bench.checks, OWNER)
    taken = take(log, filled(bench, row("milk_leak", -0.5, unit="L/min")), bench.checks, OWNER)
    assert len(taken.new) == 1


def test_nothing_typed_into_a_plant_can_break_out_of_the_page(bench: PlantChecks) -> None:
    """Would fail if a farm's name could end the page's data and run as a script."""
    name = "</script><script>alert(1)</script>"
    page = sheet_html(empty("p", name, bench.checks, "s"), bench.checks, made="2026-03-01")
    assert "alert(1)" in page and "<script>alert" not in page
