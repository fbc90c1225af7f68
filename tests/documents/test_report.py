"""The report: complete, the same bytes each time, and deaf to markup in a plant file."""

from __future__ import annotations

import datetime as dt
import json
import shutil
import subprocess
from dataclasses import replace
from typing import Any

import pytest

from byrewright.documents.report import _finding, answer, report_data, report_pdf
from byrewright.plant.plant import Plant
from byrewright.results import VERDICTS, Finding, Result
from byrewright.standards.cautions import CAUTIONS
from byrewright.standards.rulebook import default_rulebook
from tests.documents.made import HOSTILE, made_result
from tests.plants import rotary

DATE = "2026-03-01"


def text_of(pdf: bytes) -> str:
    """The text of a PDF, read back by poppler."""
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler-utils) is not installed")
    done = subprocess.run(
        ["pdftotext", "-layout", "-", "-"], input=pdf, capture_output=True, check=True
    )
    return done.stdout.decode()


def named(name: str) -> Plant:
    """The test rotary under another name."""
    plant = rotary()
    return plant.model_copy(update={"site": plant.site.model_copy(update={"name": name})})


def data_of(plant: Plant, result: Result) -> dict[str, object]:
    """What the template gets."""
    day = dt.date.fromisoformat(DATE)
    return report_data(plant, result, day, "A", "", default_rulebook(), "metric")


@pytest.fixture(scope="module")
def pdf() -> bytes:
    """One report, made once."""
    return report_pdf(
        named(f"(invented) {HOSTILE}"), made_result(HOSTILE), date=DATE, file_hash="c0ffee"
    )


def test_the_same_input_gives_the_same_bytes(pdf: bytes) -> None:
    """Would fail if a clock or chance got into the report."""
    again = report_pdf(
        named(f"(invented) {HOSTILE}"), made_result(HOSTILE), date=DATE, file_hash="c0ffee"
    )
    assert pdf == again
    other = report_pdf(named("(invented) x"), made_result(), date="2026-03-02")
    assert other != pdf


@pytest.mark.poppler
def test_markup_in_a_plant_file_is_printed_as_it_stands(pdf: bytes) -> None:
    """Would fail if text out of the plant file could run as markup or code."""
    text = text_of(pdf)
    assert '#panic("no")' in text
    assert "*bold*" in text
    assert "INVENTED FARM" in text


@pytest.mark.poppler
def test_the_report_holds_what_a_reader_must_find(pdf: bytes) -> None:
    """Would fail if a chapter, a verdict word or the proof of origin were missing."""
    text = text_of(pdf)
    for heading in ("Key figures", "Vacuum", "Cooling", "Assumptions", "Values to check",
                    "Cautions", "Isolation list", "Sources", "How this was computed"):  # fmt: skip
        assert heading in text, heading
    for verdict in VERDICTS:
        assert verdict in text
    assert "c0ffee" in text
    assert DATE in text
    assert "never a safety system" in text
    assert "main switch of EM1" in text
    assert "page 1 of" in text


@pytest.mark.poppler
def test_nothing_internal_is_printed(pdf: bytes) -> None:
    """Would fail if a reader met a word of the program instead of a word of the trade."""
    text = text_of(pdf)
    for word in ("None", "nan", "[]", "from_memory", "at_least", "common_practice"):
        assert f" {word} " not in text, word


def test_every_general_caution_is_there() -> None:
    """Would fail if a hazard lost its caution."""
    data = data_of(rotary(), made_result())
    assert data["cautions"] == list(CAUTIONS.values())


def test_every_machine_with_energy_is_on_the_isolation_list() -> None:
    """Would fail if somebody could work on a live machine that the list forgot."""
    plant = rotary()
    listed = {row[0] for row in data_of(plant, made_result())["isolation"]}  # type: ignore[attr-defined]
    assert {
        m.id for m in plant.equipment.values() if m.fed_from or m.air_from or m.power_kw()
    } <= listed
    assert {"AV1", "DT1", "RC1", "EM1", "WH1", "TR1"} <= listed


def test_units_turn_for_a_us_reader() -> None:
    """Would fail if a US report mixed metric figures into its findings."""
    day = dt.date.fromisoformat(DATE)
    data = report_data(rotary(), made_result(), day, "A", "", default_rulebook(), "US")
    shown = json.dumps(data["chapters"])
    assert "gpm" in shown
    assert "inHg" in shown
    assert "L/min" not in shown


@pytest.mark.parametrize(
    ("keep", "says"),
    [
        (("holds",), "The plant as described holds."),
        (("holds", "unknown"), "1 of 2 answers cannot be judged"),
        (("holds", "fails", "tight"), "fails in 1 of 3 answers"),
    ],
)
def test_the_answer_is_one_honest_paragraph(keep: tuple[str, ...], says: str) -> None:
    """Would fail if the first paragraph promised more than the findings hold."""
    every = made_result()
    some = Result("sizing", "x", tuple(f for f in every.findings if f.verdict in keep))
    assert says in answer(some)


def test_what_is_held_to_no_limit_is_told_apart_on_the_cover() -> None:
    """Would fail if a reading that is only kept, or a plain statement, swelled what holds."""
    held, said = (replace(f, verdict="holds", limit=x) for f, x in
                  zip(made_result().findings[:2], (1.0, None), strict=True))  # fmt: skip
    data = data_of(rotary(), Result("sizing", "x", (held, said)))
    assert data["counts"][0]["n"] == 1  # type: ignore[index]
    assert str(data["unjudged"]).startswith("One more figure is held to no limit")
    two = (held, replace(held, subject="VP2"), said)
    assert "holds in all 2 answers" in answer(Result("sizing", "x", two))
    assert _finding(said, "metric")["verdict"] == "no limit"
    assert answer(Result("sizing", "x", (said,))) == (
        "Nothing was asked of this plant that is held to a limit."
    )


def test_a_wrong_date_is_refused() -> None:
    """Would fail if a report could be issued with no true date."""
    with pytest.raises(ValueError, match="Invalid isoformat"):
        report_pdf(rotary(), made_result(), date="tomorrow")


def test_a_plant_without_results_still_gets_its_report() -> None:
    """Would fail if an empty result broke the pages."""
    assert report_pdf(rotary(), Result("sizing", "x"), date=DATE, drawings=[]).startswith(b"%PDF")


@pytest.mark.parametrize(("key", "limit", "word"), [
    ("as_measured.pump_capacity", None, "kept"), ("as_measured.drop_pump", 2.0, "holds"),
    ("day.load", None, "no limit"),
])  # fmt: skip
def test_a_reading_that_is_held_to_nothing_does_not_hold_in_the_report(
    key: str, limit: float | None, word: str
) -> None:
    """A pump that was measured to give nothing would stand in the report as one that holds."""
    sense: Any = "informational" if limit is None else "at_most"
    one = Finding(key, "VP2", "Airflow", 0.0, "L/min", "", "holds", sense=sense, limit=limit)
    assert _finding(one, "metric")["verdict"] == word
