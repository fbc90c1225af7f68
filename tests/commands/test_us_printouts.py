"""What the commands of a running plant print and write for a US reader holds no metric unit."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import openpyxl
import pandas as pd
import pytest
from typer.testing import CliRunner

from byrewright.cli import app
from byrewright.documents.us_words import text_in
from byrewright.drafting.close import Change
from byrewright.plant.read import read_plant_text
from byrewright.plant.upkeep import every
from byrewright.results import Assumption, Finding, Result
from byrewright.site.callout.guide import Guide, bare_guide
from byrewright.site.readings.mapping import template
from tests.documents.test_us_units import LEANING, METRIC, WORDS, words_of
from tests.plant.small import SMALL
from tests.traces.test_traces import regulated

BRIEF = Path(__file__).parents[2] / "examples" / "rotary_spring_ice" / "brief.yaml"
DATA = re.compile(r'id="data"[^>]*>(.*?)</script>', re.DOTALL)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small plant with an instrument's file."""
    made = tmp_path_factory.mktemp("us")
    (made / "plant.yaml").write_text(SMALL, encoding="utf-8")
    (made / "readings.yaml").write_text(template("PU1", "RC1"), encoding="utf-8")
    r = regulated(noise=0.05)
    frame = pd.DataFrame({"seconds": r.t_s, "vacuum": r.x.round(2)})
    frame.to_csv(made / "vacuum1.csv", index=False)
    return made


def cells_of(path: Path) -> list[str]:
    """Every cell of a workbook."""
    book = openpyxl.load_workbook(path)
    return [str(c) for sheet in book for row in sheet.iter_rows(values_only=True) for c in row]


def said(folder: Path, *words: str) -> str:
    """What a command prints in US units, lines joined."""
    run = CliRunner().invoke(app, [words[0], str(folder / "plant.yaml"), *words[1:],
                                   "--units", "us"])  # fmt: skip
    assert run.exit_code == 0, run.output
    text = " ".join(run.output.split())
    assert [m[0] for m in (METRIC.search(text), WORDS.search(text)) if m] == []
    return text


def test_readings_are_told_in_inches_of_mercury(folder: Path) -> None:
    """A recorded vacuum would be printed in kPa."""
    assert " inHg" in said(folder, "readings", str(folder / "vacuum1.csv"))


def test_a_sheet_in_us_units_is_filled_in_read_back_and_told(folder: Path) -> None:
    """13.6 inHg would be entered as 13.6 kPa, refused, or printed with numbers in kPa beside it."""
    said(folder, "tests", "--out", str(folder / "sheets"))
    page = (folder / "sheets" / "tests.html").read_text(encoding="utf-8")
    found = DATA.search(page)
    assert found is not None
    data = json.loads(found[1])
    assert [w for w in words_of(data) if METRIC.search(w)] == []
    cells = cells_of(folder / "sheets" / "tests.xlsx")
    assert "inHg" in cells and [c for c in cells if METRIC.search(f"1 {c}")] == []
    asked = {c["id"]: c["unit"] for c in data["checks"]}
    read = {"working_vacuum": "12.4", "pump_capacity@VP1": "105"}
    rows = [
        {"check": k, "value": v, "unit": asked[k], "uncertainty": "0.1", "who": "anna",
         "when": "2026-03-05 10:00", "instrument": "gauge"} for k, v in read.items()
    ]  # fmt: skip
    sheet = folder / "filled.json"
    sheet.write_text(json.dumps(data["head"] | {"rows": rows}), encoding="utf-8")
    told = said(folder, "tests", "--read", str(sheet), "--all")
    assert "2 readings entered" in told and LEANING.search(told) is None
    assert re.search(r"\b12\.4 0\.1 inHg\b", told) and re.search(r"\b105 0\.1 cfm\b", told)
    said(folder, "service", "--all")
    causes = said(folder, "diagnose", "--says", "vacuum low", "--all")
    assert "pump_capacity@VP1 reads 105 cfm" in causes


def test_service_by_the_litre_is_told_in_gallons(folder: Path) -> None:
    """A seal would be due after so many litres of milk."""
    log = folder / "plant.yaml"
    told = said(
        folder, "service", "--all", "--meter", "MP1=1000000 gallons", "--date", "2026-03-06"
    )
    assert "1 entered" in told and "5,280,000 gallons" in told
    metric = CliRunner().invoke(app, ["service", str(log), "--all", "--meter", "MP1=3800000 litres",
                                      "--date", "2026-03-20"])  # fmt: skip
    assert metric.exit_code == 0, "a million gallons are less than 3.8 million litres"


def test_a_deck_that_is_serviced_by_the_mile_is_read_in_miles(folder: Path) -> None:
    """A counter in miles would be refused, or taken for kilometres."""
    log = folder / "plant.yaml"
    said(folder, "service", "--meter", "PF1=100 miles", "--date", "2026-03-06")
    for reading, code in (("160 km", 2), ("162 km", 0)):
        run = CliRunner().invoke(app, ["service", str(log), "--meter", f"PF1={reading}",
                                       "--date", "2026-03-20"])  # fmt: skip
        assert run.exit_code == code, run.output
    assert text_in(every([("days", 30.0), ("km", 150.0)]), "US") == "30 days or 93.2 mi"


def test_call_and_interlocks_take_the_units(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Their pages and papers would be written in metric units whatever was asked."""
    monkeypatch.setattr("byrewright.site.callout.guide.guide_of", _bare)
    said(folder, "call", "--out", str(folder / "call.html"))
    page = (folder / "call.html").read_text(encoding="utf-8")
    assert "it stays under 11.8 inHg" in page
    said(folder, "interlocks", "--out", str(folder / "locks"))
    for one in (folder / "locks").glob("*.csv"):
        assert METRIC.search(one.read_text(encoding="utf-8")) is None, one.name
    cells = cells_of(folder / "locks" / "interlocks.xlsx")
    assert "gpm" in cells and "L/min" not in cells


def test_a_draft_tells_what_it_assumed_and_left_open_in_us_units(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What a draft assumed, changed, left open and would have to give would be in metric units."""
    plant = read_plant_text(SMALL).plant
    open_one = Finding("cooling.tank", "TK1", "Tank", 8.0, "degC", "8 degC, 20 kW of cold.",
                       "fails")  # fmt: skip
    made = SimpleNamespace(
        text=SMALL, plant=plant, sizing=Result("sizing", "x", (open_one,)), unjudged=(),
        assumptions=(Assumption("farm", "mean mass", 680.0, "kg", "usual"),), held_by=("sizing",),
        changes=(Change(1, "MP1", "head_m", 12.0, "1.5 m short", "x"),), open=(open_one,),
        gives=("a tank of 9000 L instead of 8000 L",),
    )  # fmt: skip
    monkeypatch.setattr("byrewright.drafting.gives.closed_draft", lambda *_, **__: made)
    monkeypatch.setattr("byrewright.plant.plant_id.keeping", lambda brief, _: brief)
    out = tmp_path / "p.yaml"
    run = CliRunner().invoke(app, ["draft", str(BRIEF), "--out", str(out), "--units", "us"])
    assert run.exit_code == 0, run.output
    for words in ("mean mass: 1499 lb", "MP1: head_m 12 (39.4\u00a0ft) (4.92 ft short)",
                  "46.4 degF, 68,200 Btu/h of cold",
                  "2378 gal instead of 2113 gal"):  # fmt: skip
        assert words in run.output


def _bare(plant: object, rules: object) -> Guide:
    """A guide at once, with a metric word in it."""
    one = bare_guide(read_plant_text(SMALL).plant)
    return replace(one, seen=(replace(one.seen[0], also=("it stays under 40 kPa",)), *one.seen[1:]))
