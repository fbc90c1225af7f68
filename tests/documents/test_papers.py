"""A short paper for each reader: whole, readable, and never mixed with another revision's."""

from __future__ import annotations

import re
import subprocess
import xml.etree.ElementTree as ET
from functools import cache
from pathlib import Path

import pytest

from byrewright.documents.pack import write_pack
from byrewright.documents.papers import Standing, paper_pdf
from byrewright.documents.reader_farmer import supply_told
from byrewright.documents.readers import READERS, paper_for
from byrewright.documents.readers_work import differs_by_hand, input_output, told_by_name
from byrewright.documents.report_lists import isolation
from byrewright.documents.schematic import Issue
from byrewright.documents.us_units import finding_in
from byrewright.plant.plant import Plant
from byrewright.plant.roles import IsValve, SuppliesPower
from byrewright.results import DAYS_ARE_OF, Finding, Result, Table, merge
from byrewright.standards.units import convert
from byrewright.studies.sizing import size
from tests.plants import machine, rotary, rows
from tests.studies.failing import example

DATE = "2026-03-10"
LEAST_PT = 7
PORTRAIT = 1.2
"""Height over width from which a page is one of text; drawings lie."""
FOOT_SHARE = 0.925
"""Below this share of the page is its foot."""
LOW_SHARE = 0.8
STANDING = Standing(DATE, "B", "0123456789abcdef", "", "supersedes revision A of 2026-01-01")


@cache
def plant() -> Plant:
    """Stalls in rows."""
    return rows()


@cache
def results() -> Result:
    """Sizing, and a long list of failures made by hand."""
    ranked = Table(
        "failures.ranked", "Failures", ("failure", "milking", "last cow later by", "milk lost",
                                        "acts take"), ("", "", "min", "L", "min"),
        tuple((f"VP1 way {i}", "continues", float(i), 0.0, 4.0) for i in range(60)),
    )  # fmt: skip
    to_do = Table(
        "failures.to_do", "To do", ("failure", "seen", "done"), ("", "", ""),
        tuple((f"VP1 way {i}", "a lamp", "1. stop it 2. open V1 3. go on") for i in range(60)),
    )  # fmt: skip
    return merge("all", "x", [size(plant()), Result("failures", "x", tables=(ranked, to_do))])


def pages(path: Path) -> list[ET.Element]:
    """The pages of a PDF with their texts and sizes."""
    done = subprocess.run(["pdftohtml", "-xml", "-i", "-stdout", "-nodrm", str(path)], check=True,
                          capture_output=True, text=True)  # fmt: skip
    text = re.sub(r"<!DOCTYPE[^>]*>", "", done.stdout)
    return list(ET.fromstring(text).iter("page"))


@pytest.mark.poppler
@pytest.mark.parametrize("key", list(READERS))
@pytest.mark.parametrize("size_of", ["a4", "letter"])
def test_pages_can_be_read(key: str, size_of: str, tmp_path: Path) -> None:
    """A table would be too small to read, a heading stand alone at a foot, or a page be empty."""
    path = tmp_path / "p.pdf"
    path.write_bytes(paper_pdf(paper_for(key, plant(), results(), Issue(DATE, "B")), STANDING,
                               size_of))  # fmt: skip
    fonts: dict[str, int] = {}
    text_pages = 0
    for page in pages(path):
        fonts |= {f.get("id", ""): int(f.get("size", "0")) for f in page.iter("fontspec")}
        wide, tall = float(page.get("width", "0")), float(page.get("height", "0"))
        if tall / wide < PORTRAIT:
            continue
        text_pages += 1
        scale = {"a4": 842, "letter": 792}[size_of] / tall
        texts = [t for t in page.iter("text") if "".join(t.itertext()).strip()]
        sizes = [fonts[t.get("font", "")] * scale for t in texts]
        assert min(sizes) >= LEAST_PT - 0.7, "".join(texts[sizes.index(min(sizes))].itertext())
        body = [(float(t.get("top", "0")), s, t) for t, s in zip(texts, sizes, strict=True)
                if 0.07 * tall < float(t.get("top", "0")) < FOOT_SHARE * tall]  # fmt: skip
        assert body, "an empty page"
        _, size, last = max(body, key=lambda b: b[0])
        assert size < 12, f"a heading alone at the foot: {''.join(last.itertext())}"
        body.sort(key=lambda b: b[0])
        tops = [i for i, (_, s, _) in enumerate(body) if s >= 12]
        if tops and body[tops[-1]][0] > LOW_SHARE * tall:  # one line under it is not enough
            rows = {round(top) for top, _, _ in body[tops[-1] + 1 :]}
            assert len(rows) > 1, f"a heading and a line at the foot: {''.join(last.itertext())}"
        foot = " ".join("".join(t.itertext()) for t in texts)
        assert "revision B" in foot and "01234567" in foot and "not approved" in foot
    assert text_pages


def test_every_paper_says_what_its_reader_came_for() -> None:
    """A reader's paper would lack its point."""
    words = {
        "electrician": ("Lock-outs", "stray voltage", "licensed electrician"),
        "milker": ("Start-up", "What each alarm", "On the wall"),
        "inspector": ("Proof of the wash", "What touches milk"),
        "controls": ("Inputs and outputs", "Interlocks"),
        "service": ("What is due",),
        "farmer": ("What you get", "What it needs from you"),
    }
    for key, wanted in words.items():
        said = str(paper_for(key, plant(), results(), Issue(DATE, "B")).blocks)
        assert all(w in said for w in wanted), key


def test_an_electrician_at_fixed_stalls_is_not_told_of_a_turning_deck() -> None:
    """A brush for a deck that is not there would be looked for, and ordered."""
    told = str(paper_for("electrician", plant(), results(), Issue(DATE, "B")).blocks)
    assert "Bond stalls" in told and "turning deck" not in told


def test_figures_of_a_day_name_its_month() -> None:
    """An owner would take the electricity of the hardest month for that of any day."""
    energy = Finding(
        "day.energy_1000_l", "", "Electricity for milk", 41.0, "kWh/1000 L", "", "holds"
    )
    warm = Finding("day.milk_temperature_1", "", "Milk", 3.0, "degC", "Warmest 3 degC.", "holds")
    heads = ("milking", "begun", "last off", "time", "cows", "milk", "clean at")
    milked = Table("milkings", "", heads, ("",) * 7, (("morning", "5", "7", 2, 9, 9, "8"),))
    days = Result("day", "x", (energy, warm), (milked,), notes=(f"{DAYS_ARE_OF}January, so.",))
    told = merge("all", "x", [results(), days])
    for key in ("farmer", "inspector"):
        said = str(paper_for(key, plant(), told, Issue(DATE, "B")).blocks)
        assert "The days are of January" in said, key
        assert "The days are" not in str(
            paper_for(key, plant(), results(), Issue(DATE, "B")).blocks
        )


def test_signals_and_hand_valves_are_those_of_the_plant() -> None:
    """The controller would have too few inputs, or people turn valves that a drive moves."""
    tags = {row[0] for row in input_output(plant())}
    whole = example("rotary_spring_ice")
    magnets = [row[2] for row in input_output(whole) if row[0] == "PU1"]
    assert magnets == ["digital output"]  # a pulsator's magnet tells nothing back
    sensed = {t for t, m in plant().equipment.items() if getattr(m, "sensed", False)}
    assert sensed <= tags
    usual = next(n for n, m in plant().modes.items() if "milking" in m.does)
    said = " ".join(turn for _, turn in differs_by_hand(plant(), usual))
    assert not [
        t for t, m in plant().equipment.items()
        if getattr(m, "moved_by", "") in ("air", "motor") and re.search(rf"\b{t}\b", said)
    ]  # fmt: skip


def test_the_gland_and_the_wash_pumps_are_locked_off_too() -> None:
    """A man who changes the brushes of the gland would find its rings live and on no list, and one
    who opens a wash pump would not be told what is in it."""
    rows = {row[0]: row[2:] for row in isolation(example("rotary_spring_ice"))}
    held, where = rows["GL1"]
    for energy in ("electricity", "moving parts", "vacuum", "compressed air", "caustic and acid"):
        assert energy in held
    assert where == "breaker in SB2 for the deck, breaker in SB3 for the deck, then vent and drain"
    assert "caustic and acid" in rows["LP4"][0] and "caustic" not in rows["LP1"][0]
    for washed in ("MP1", "RC1"):  # hot wash stands in them between two milkings
        assert "caustic and acid" in rows[washed][0]
    assert "refrigerant under pressure" in rows["IB1"][0]


def test_a_machine_that_others_keep_live_is_shut_off_by_its_hand_valves() -> None:
    """With its breaker off a pump would stand open to the vacuum of the next, and a valve turned by
    a motor would stand on no list because the file names no supply for it."""
    site = example("rotary_spring_ice")
    rows = {row[0]: row[2:] for row in isolation(site)}
    assert rows["VP1"][1] == "breaker in SB2, shut V11, then vent"  # behind its non-return valve
    assert rows["DT1"][1].startswith("shut V11, V12")
    moved = {m.id for m in site.machines(IsValve) if m.moved_by != "hand"}
    named = {tag for row in rows.values() for tag in re.findall(r"\bV\d+\b", row[1])}
    assert named and not named & moved  # what a controller opens shuts nothing off
    motors = {m.id for m in site.machines(IsValve) if m.moved_by == "motor"}
    assert motors and all("supply of its motor" in rows[tag][1] for tag in motors)


def test_a_new_revision_says_what_it_supersedes_and_leaves_no_old_paper(tmp_path: Path) -> None:
    """Papers of two revisions would lie in one folder unseen."""
    folder = tmp_path / "pack"
    write_pack(folder, "byrewright: 1\n", plant(), results(), date="2026-01-01",
               readers=["farmer", "service"], engineer=False)  # fmt: skip
    first = (folder / "index.txt").read_text(encoding="utf-8")
    assert "supersedes" not in first and "1-farmer.pdf" in first and "for review" in first
    write_pack(folder, "byrewright: 1 #\n", plant(), results(), date=DATE, revision="B",
               readers=["service"], engineer=False, approved="R. Wright")  # fmt: skip
    index = (folder / "index.txt").read_text(encoding="utf-8")
    assert "Supersedes revision A of 2026-01-01" in index and "approved: R. Wright" in index
    assert [p.name for p in (folder / "papers").iterdir()] == ["9-service.pdf"]
    assert not (folder / "call.html").exists()
    write_pack(folder, "byrewright: 1 #\n", plant(), results(), date=DATE, revision="B",
               readers=["milker"], engineer=False)  # fmt: skip
    assert (folder / "call.html").stat().st_size > 50_000, "who milks gets the call-out page"
    assert "call.html" in (folder / "index.txt").read_text(encoding="utf-8")


def test_the_wall_sheet_says_what_a_tag_is() -> None:
    """Would fail if a milker at five in the morning had to know the tags by heart."""
    said = told_by_name(rotary(), "MP1 stops: run MP2 by hand, then stop MP2; XX9 stays")
    assert said == "MP1 (milk pump) stops: run MP2 (milk pump) by hand, then stop MP2; XX9 stays"


def test_the_farmer_is_told_the_supply_that_the_sizes_rest_on() -> None:
    """Would fail if a farm that states no limit were told of none, beside "has 133 kVA" and
    the electrician's mains of 133 kVA."""
    drawn = sum(m.supply_kva for m in plant().machines(SuppliesPower))
    open_site = plant().site.supply.model_copy(update={"limit_kva": None})
    site = plant().site.model_copy(update={"supply": open_site})
    said = supply_told(plant().model_copy(update={"site": site}))
    assert f"{drawn:g} kVA" in said and "ask the network" in said


def test_a_tractor_driven_generator_asks_for_no_service_of_an_engine() -> None:
    """Would fail if the farmer were told to check the start battery of a set that has none, or to
    connect the tractor in place of the tractor."""
    own = machine("GE1", "generator", rating_kva=80)
    driven = machine("GE1", "generator", rating_kva=80, start_by="tractor")
    assert any("battery" in u.what for u in own.upkeep())
    said = " ".join([*(u.what for u in driven.upkeep()), *(f.do for f in driven.failures())])
    assert "battery" not in said and "filter" not in said and "tractor's" not in said
    assert "run it on load" in said and any("shaft" in c for c in driven.cautions())
    assert [f.life for f in driven.failures()] == [f.life for f in own.failures()]


def test_a_us_sentence_and_table_agree_on_what_they_both_tell() -> None:
    """Would fail if a sentence were turned from a rounder metric figure than the table beside it:
    53.6 degF for a rinse at 54, 9.77 gpm for a slope of milk at 9.85."""
    cool = plant().site.model_copy(update={"water_temperature_c": (110 / 9,) * 12})
    told = size(plant().model_copy(update={"site": cool}))
    said = {f.key: finding_in(f, "US") for f in told.findings}
    assert "at 54 degF" in said["wash.water"].sentence
    slope = said["milkline.stratified"]
    assert slope.limit is not None
    takes = re.search(r"takes ([0-9.]+) gpm", slope.sentence)
    assert takes and float(takes[1]) == pytest.approx(
        convert(slope.limit, "L/min", "gpm"), abs=0.05
    )


def test_people_at_fixed_stalls_are_told_of_no_deck() -> None:
    """Would fail if the wall sheet of a parlour in rows sent people to listen along a deck."""
    told = [f"{t}: {f.seen}; {f.do}" for t, m in plant().equipment.items()
            if not m.can("joins deck") for f in m.failures()]  # fmt: skip
    assert told and not [t for t in told if re.search(r"\bdeck\b", t)]
