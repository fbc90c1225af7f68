"""Each page's main task in a real browser, at desktop and tablet size."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from tests.web.conftest import FEW, LARGEST, ROOT, SMALL, Eye, Served

pytestmark = pytest.mark.browser
WAIT_MS = 180_000  # a study on a busy machine
once = pytest.mark.parametrize("eye", ["desktop"], indirect=True)
"""For what does not depend on the size of the screen."""


def cli(*words: str) -> str:
    """What the command line prints."""
    done = subprocess.run(
        [sys.executable, "-m", "byrewright", *words], cwd=ROOT, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_the_folder_lists_its_plants(eye: Eye, served: Served) -> None:
    """Would fail if a plant of the folder could not be found from the first page."""
    eye.page.goto(served.url)
    eye.page.get_by_role("link", name=re.compile("Ashpole Bottom")).click()
    eye.page.get_by_role("heading", name="The plant by service").wait_for()
    assert f"/p/{SMALL}/plant" in eye.page.url
    eye.page.goto(served.url)
    eye.shoot("start")


@once
def test_a_broken_file_is_told_with_its_line(eye: Eye, served: Served) -> None:
    """Would fail if a broken plant file showed a fault of the program instead of a sentence."""
    eye.page.goto(served.page("broken", "plant"))
    eye.page.get_by_text("This plant file cannot be used yet").wait_for()
    eye.page.get_by_text("Line 3").first.wait_for()
    eye.shoot("broken")


@once
def test_an_unknown_address_is_told(eye: Eye, served: Served) -> None:
    """Would fail if a wrong address showed a fault, or anything outside the folder."""
    eye.refusals = ("404",)  # the browser notes each one
    for slug in ("nothing", "..~..~etc~passwd"):
        eye.page.goto(served.page(slug, "plant"))
        eye.page.get_by_role("heading", name="No such plant").wait_for()
    for slug in ("%2e%2e%2fsecret", "..%2f..%2fetc%2fpasswd"):
        answer = eye.page.goto(served.page(slug, "plant"))
        assert answer.status == 404
    assert eye.page.goto(served.page(SMALL, "nowhere")).status == 404
    eye.page.get_by_role("heading", name="No such page").wait_for()
    eye.page.goto(served.page(SMALL, "plant", "?mode=dancing&pick=V999&turn=V81:ajar,V82:open"))
    eye.page.get_by_text("plant file does not have: dancing, V999, V81:ajar.").wait_for()


def test_plant_pick_mode_and_turn_a_valve(eye: Eye, served: Served) -> None:
    """Would fail if a machine could not be picked, or a valve turned by hand showed no harm."""
    page = eye.page
    page.goto(served.page(LARGEST, "plant"))
    page.locator("#plant-drawing svg").wait_for()
    page.get_by_label("Mode").select_option("milking_tank_1")
    page.get_by_text("does no harm").wait_for()
    page.locator(".drawing.flows").wait_for()
    drain = page.locator('[data-machine="V81"][tabindex="0"]')
    drain.focus()
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="V81").wait_for()
    page.get_by_role("button", name="open", exact=True).click()
    page.get_by_text("milk to drain or floor").first.wait_for()
    page.locator('[data-machine="V81"].turned').first.wait_for(state="attached")
    eye.shoot("plant-turned")
    again = page.url
    assert "turn=V81" in again and "mode=milking_tank_1" in again
    page.goto(again)
    page.get_by_text("milk to drain or floor").first.wait_for()
    page.get_by_role("button", name="All back as the mode wants").click()
    page.get_by_text("does no harm").wait_for()


@once
def test_plant_findings_are_those_of_the_command_line(eye: Eye, served: Served) -> None:
    """Would fail if the page and `size --json` told different findings."""
    path = served.folder / "rotary_round_the_clock" / "plant.yaml"
    result = json.loads(cli("size", str(path), "--json"))
    eye.page.goto(served.page(LARGEST, "plant", "?pick=machine%20VP1"))
    eye.page.get_by_role("heading", name="What happens if it fails").wait_for()
    eye.page.locator(".counts").wait_for(timeout=WAIT_MS)
    shown = [int(x) for x in eye.page.locator(".counts b").all_text_contents()]
    free = [f["verdict"] == "holds" and f["limit"] is None for f in result["findings"]]
    told = [f["verdict"] for f, x in zip(result["findings"], free, strict=True) if not x]
    judged = [told.count(v) for v in ("fails", "unknown", "tight", "holds")]
    assert shown == [*judged, sum(free)]
    mine = [f for f in result["findings"] if "VP1" in (f["subject"], (f["target"] or [""])[0])]
    assert mine
    for one in mine:
        finding = eye.page.locator(f'[id="finding-{one["name"]}"]').first
        assert one["sentence"][:20].replace("degC", "°C")[:15] in finding.text_content()
    first = eye.page.locator(f'[id="finding-{mine[0]["name"]}"]').first
    first.locator("summary").click()
    first.get_by_role("heading", name="Value and limit").wait_for()
    eye.shoot("plant-machine")


def test_plant_every_sheet_zoom_and_pan(eye: Eye, served: Served) -> None:
    """Would fail if a sheet did not come, or zooming and panning did nothing."""
    page = eye.page
    page.goto(served.page(SMALL, "plant"))
    for name in (
        "Vacuum",
        "Water and cooling",
        "Compressed air",
        "Electric power",
        "Milk and wash",
    ):
        page.get_by_role("button", name=name).click()
        page.locator(f'#plant-drawing svg[aria-label*="{name}"]').wait_for()
        eye.shoot(f"sheet-{name.split()[0].lower()}")
    svg = page.locator("#plant-drawing svg")
    page.get_by_role("button", name="Whole sheet").click()  # a tablet begins with a part of it
    before = svg.get_attribute("viewBox")
    page.get_by_role("button", name="Nearer").click()
    nearer = svg.get_attribute("viewBox")
    assert float(nearer.split()[2]) < float(before.split()[2])
    page.locator("#plant-drawing [tabindex='0']").first.focus()
    page.keyboard.press("ArrowRight")
    assert svg.get_attribute("viewBox") != nearer
    page.get_by_role("button", name="Whole sheet").click()
    assert svg.get_attribute("viewBox") == before


def test_units_and_light(eye: Eye, served: Served) -> None:
    """Would fail if a visitor could not read US units, or the dark sheet, or it were forgotten."""
    page = eye.page
    page.goto(served.page(SMALL, "plant", "?pick=pipe%20" + first_pipe(served)))
    page.get_by_text("Bore").wait_for()
    assert "mm" in page.locator(".side dl").inner_text()
    page.get_by_label("Units", exact=True).select_option("US")
    page.wait_for_load_state()
    page.get_by_text("Bore").wait_for()
    assert re.search(r"\din|\d\sin", page.locator(".side dl").inner_text())
    page.goto(served.page(SMALL, "plant", "?pick=machine%20VP1"))
    page.locator(".side dt", has_text="Motor rating").wait_for()
    assert re.search(r"\d\shp", page.locator(".side dl").inner_text())
    page.get_by_label("Light or dark").select_option("dark")
    page.wait_for_load_state()
    page.locator("#plant-drawing svg").wait_for()
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(25, 26, 24)"
    eye.shoot("plant-dark")


def first_pipe(served: Served) -> str:
    """A pipe of the small plant."""
    from byrewright.plant.read import read_plant

    return read_plant(served.folder / "rows_two_by_twenty" / "plant.yaml").plant.pipes[0].id


def test_day_is_simulated_and_played(eye: Eye, served: Served) -> None:
    """Would fail if the day did not come, could not be played, or differed from the study."""
    from byrewright.plant.read import read_plant
    from byrewright.studies.day.study import run_day

    page = eye.page
    page.goto(served.page(LARGEST, "day"))
    page.locator("#at").wait_for(timeout=WAIT_MS)
    page.locator("#day-drawing .level").first.wait_for(state="attached")
    result = run_day(read_plant(served.folder / "rotary_round_the_clock" / "plant.yaml").plant)
    shown = [int(x) for x in page.locator(".counts b").all_text_contents()]
    told = [result.count()[v] for v in ("fails", "unknown", "tight", "holds")]
    assert shown == [*told, result.unjudged()] and shown[-1]
    assert page.locator("summary .mark.free").count() == shown[-1]  # told, and not told to hold
    before = page.locator("h2").first.inner_text()
    page.locator("#at").focus()
    for _ in range(3):
        page.keyboard.press("PageUp")
    page.wait_for_function("t => document.querySelector('h2').innerText !== t", arg=before)
    assert page.locator("figure svg").count() >= 4
    eye.shoot("day")
    page.get_by_role("button", name="Play").click()
    page.get_by_role("button", name="Hold").wait_for()
    page.get_by_role("button", name="Hold").click()


READABLE = """() => {
    const boxes = (what) => [...document.querySelectorAll("#day-drawing " + what)];
    const readings = boxes("[data-machine^=TK] .reading").map(t => t.getBBox());
    const circles = boxes("circle").filter(c => !c.closest("[data-machine]")).map(c => c.getBBox());
    const apart = (a, b) => a.y + a.height <= b.y + 1 || b.y + b.height <= a.y + 1 ||
        a.x + a.width <= b.x || b.x + b.width <= a.x;
    const clear = r => circles.every(c => apart(r, c));
    return readings.length && circles.length && readings.every(clear);
}"""
"""Whether no instrument hides what a tank is said to hold."""


@once
def test_day_compares_two_plants(eye: Eye, served: Served) -> None:
    """Would fail if two plants could not be laid side by side, an instrument hid how warm the milk
    in a tank is, or a point of a chart were read without its unit."""
    page = eye.page
    page.goto(served.page(SMALL, "day", f"?beside={LARGEST}"))
    page.get_by_text(
        "rows two by twenty / plant beside rotary round the clock / plant"
    ).first.wait_for(timeout=WAIT_MS)
    page.wait_for_function(READABLE, timeout=WAIT_MS)
    eye.shoot("day-compared")
    # a point of a chart tells its clock, every line and its unit, in either system
    for units, unit in (("metric", "kPa"), ("US", "inHg")):
        page.context.add_cookies([{"name": "byre_units", "value": units, "url": served.url}])
        page.reload()
        named = page.locator("figure", has_text="Electric load and vacuum")
        chart = named.locator(".nicegui-echart")
        chart.locator("svg").wait_for(timeout=WAIT_MS)
        chart.scroll_into_view_if_needed()
        box = chart.bounding_box()
        page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        tip = chart.locator("> div", has_text=re.compile(r"\d\d:\d\d.*kW", re.DOTALL)).last
        tip.wait_for()
        clock, *lines = tip.inner_text().split("\n")
        assert re.fullmatch(r"\d\d:\d\d", clock) and len(lines) == 4, lines
        for one, ending in zip(lines, ("kW", unit) * 2, strict=True):
            assert re.fullmatch(rf"(load|vacuum)( \(.*\))? \d[\d.]* {ending}", one), lines
        eye.shoot(f"tip-{units}")


def test_failures_are_ranked_and_one_is_shown(eye: Eye, served: Served) -> None:
    """Would fail if a failure could not be found, seen on the drawing, or followed in time."""
    page = eye.page
    page.goto(served.page(SMALL, "failures"))
    page.get_by_role("button", name="Matrix").wait_for(timeout=2 * WAIT_MS)
    page.get_by_role("button", name="Show all").click()
    page.get_by_role("button", name="VP1 stops", exact=True).click()
    page.get_by_role("heading", name="VP1 stops").wait_for()
    page.locator('#failure-drawing [data-machine="VP1"].picked').first.wait_for()
    page.get_by_role("heading", name="Milk from all units").wait_for(timeout=WAIT_MS)
    assert page.locator("figure svg").count() >= 3
    page.get_by_role("heading", name="VP1 stops").scroll_into_view_if_needed()
    eye.shoot("failure")
    page.get_by_role("button", name="Matrix").click()
    page.get_by_text("Failure by consequence").first.wait_for()
    page.wait_for_url("**view=matrix**")
    assert "pick=VP1" in page.url


def test_interlocks_table_and_proof(eye: Eye, served: Served) -> None:
    """Would fail if the table of causes or its proof could not be read."""
    page = eye.page
    page.goto(served.page(FEW, "interlocks"))
    page.get_by_role("heading", name="Table of causes").wait_for(timeout=WAIT_MS)
    assert page.locator("tbody tr").count() > 2
    page.locator("details").first.wait_for(timeout=WAIT_MS)
    eye.shoot("interlocks")


def test_edit_checks_undo_diff_and_save(eye: Eye, served: Served) -> None:
    """Would fail if a typed figure were not checked, undone, shown before saving, or if saving
    lost a comment of the file."""
    path = served.folder / "few.yaml"
    before = path.read_text(encoding="utf-8")
    page = eye.page
    page.goto(served.page(FEW, "edit", "?pick=VP1"))
    motor = page.get_by_label("Motor rating")
    motor.fill("minus two")
    page.locator("[aria-invalid=true]").wait_for()
    assert page.get_by_role("button", name="Save").is_disabled()
    motor.fill("37 kW")
    page.locator("pre.diff .add", has_text="37").wait_for()
    page.locator(".say.good, ul.plain").first.wait_for(timeout=WAIT_MS)
    eye.shoot("edit")
    page.get_by_role("button", name="Undo", exact=True).click()
    page.get_by_role("button", name="Undo", exact=True).click()
    page.get_by_text("Nothing has been changed").wait_for()
    page.get_by_label("Motor rating").fill("37")
    page.locator("pre.diff .add", has_text="37").wait_for()
    page.get_by_role("button", name="Save").click()
    page.get_by_text("Saved.").wait_for()
    after = path.read_text(encoding="utf-8")
    assert "motor_kw: 37" in after
    assert after.count("#") == before.count("#")
    path.write_text(before, encoding="utf-8")


@once
def test_edit_conflict_is_told_and_nothing_is_lost(eye: Eye, served: Served) -> None:
    """Would fail if the later of two users overwrote the earlier."""
    path = served.folder / "few.yaml"
    before = path.read_text(encoding="utf-8")
    page = eye.page
    page.goto(served.page(FEW, "edit", "?pick=VP1"))
    page.get_by_label("Motor rating").fill("45")
    page.locator("pre.diff .add", has_text="45").wait_for()
    path.write_text(before + "# a colleague was here\n", encoding="utf-8")
    page.get_by_role("button", name="Save").click()
    page.get_by_text("Somebody else saved this file meanwhile").wait_for()
    eye.shoot("edit-conflict")
    page.get_by_role("button", name="Apply my changes to theirs").click()
    page.get_by_text("Look them over and save").wait_for()
    page.get_by_role("button", name="Save").click()
    page.get_by_text("Saved.").wait_for()
    after = path.read_text(encoding="utf-8")
    assert "# a colleague was here" in after and "motor_kw: 45" in after
    path.write_text(before, encoding="utf-8")


@once
def test_brief_drafts_and_shows_what_changes(eye: Eye, served: Served) -> None:
    """Would fail if the form did not draft a plant, or hid what it changes: that a draft by sizing
    alone gives up the sensed positions that the studies asked for."""
    page = eye.page
    page.goto(served.page(SMALL, "brief"))
    cows = page.get_by_label("Cows in milk")
    cows.fill("many")
    page.locator("[aria-invalid=true]").first.wait_for()
    assert page.get_by_role("button", name="Draft by sizing alone").is_disabled()
    cows.fill("420")
    page.wait_for_function("document.querySelector('#brief-text').value.includes('cows: 420')")
    page.get_by_role("button", name="Draft by sizing alone").click()
    page.get_by_role("button", name="Save as the plant").wait_for(timeout=WAIT_MS)
    page.get_by_text(re.compile(r"What changes: \d+")).wait_for()
    page.get_by_text(re.compile(r"no longer in this draft: [1-9]")).wait_for()  # and why
    eye.shoot("brief")


@once
def test_pack_is_built_stopped_and_taken(eye: Eye, served: Served, tmp_path: Path) -> None:
    """Would fail if the pack could not be stopped or taken, held another result than `size`, or
    lacked the papers for its readers that the command writes."""
    page = eye.page
    page.goto(served.page(FEW, "pack"))
    page.get_by_label("Date on the documents").fill("2031-02-03")
    every = page.get_by_label("with every study")  # takes so long that it can be stopped
    every.check()
    page.get_by_role("button", name="Build the pack").click()
    page.get_by_role("button", name="Stop").click()
    page.get_by_text("Stopped").wait_for(timeout=WAIT_MS)
    every.uncheck()
    page.get_by_role("button", name="Build the pack").click()
    page.get_by_text("The pack is ready").wait_for(timeout=4 * WAIT_MS)  # a dozen papers are set
    eye.shoot("pack")
    with page.expect_download() as taking:
        page.get_by_role("link", name=re.compile("Take the pack")).click()
    taken = tmp_path / "pack.zip"
    shutil.copy(taking.value.path(), taken)
    with zipfile.ZipFile(taken) as archive:
        names = archive.namelist()
        result = archive.read("result.json").decode()
        plant = archive.read("plant.yaml")
    assert {"report.pdf", "schedule.xlsx", "plant.yaml"} <= set(names)
    from byrewright.documents.readers import READERS

    assert len([n for n in names if n.startswith("papers/")]) == len(READERS)
    path = served.folder / "few.yaml"
    assert plant == path.read_bytes()
    assert json.loads(result) == json.loads(cli("size", str(path), "--json"))
