"""The plan set in US units: feet and inches on its sheets, decimal feet in its lists."""

from __future__ import annotations

import csv
import html
import io
import re
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import cast

import pytest
from hypothesis import given
from hypothesis import strategies as st

from byrewright.commands.place import write_set
from byrewright.documents.changes import drawings
from byrewright.documents.format import System, drawn_in
from byrewright.documents.ink import text_width_mm
from byrewright.documents.lengths import CUT, feet, hole_mm
from byrewright.documents.pack import write_pack
from byrewright.documents.plan_set import plan_set
from byrewright.documents.plan_sheets import plan_sheets, plan_svg
from byrewright.documents.power_line import BREAKER_MM, RATING_MM, STEP_MM, power_layout
from byrewright.documents.quotation import quotation_data
from byrewright.documents.readers import paper_for
from byrewright.documents.schematic import BORDER_MM, PAGES, Issue
from byrewright.documents.tests_in import asked_by
from byrewright.plant.pinning import read_set_out
from byrewright.plant.sited import sited
from byrewright.site.checks.check import revision_of
from byrewright.site.checks.sheet import Filled, Row, SheetError, take
from byrewright.site.log import Log, Owner
from byrewright.standards.cables import SIZES, us_size
from byrewright.standards.pipes import trade_in
from byrewright.standards.units import convert
from byrewright.studies.changes import Change
from byrewright.studies.sizing import size
from tests.documents.test_us_units import METRIC, PLANS, WORDS, bench
from tests.place.scenes import briefed
from tests.quote.test_quotation import made as priced
from tests.studies.failing import ROWS, example

LENGTH = re.compile(
    r"\d\.\d\d+(?!\d| (?:in|ft2)\b)|^\d+ [+±-]|^\d{3,}$|^\d+-\d+ .*[^\"]$|\bmetres\b| in mm?\b"
)
"""What a sheet in feet and inches has nowhere: metres with two places, an opening, a mark or a cut
piece in millimetres. A bore is in decimal inches."""


@cache
def plan_files(name: str, units: System) -> dict[str, bytes]:
    """The lists and sheets of an example's plan."""
    parts = plan_set(example(name), units=units)
    return {p.name: p.make() for p in parts if p.name.endswith((".csv", ".svg"))}


@pytest.mark.parametrize(("check", "typed", "unit", "says"), [
    ("working_vacuum", Row("", 120.0, unit="inHg"), "inHg", "120 inHg cannot be"),
    ("working_vacuum", Row("", 13.0, unit="gpm"), "inHg", "is read in gpm, and .* in inHg; enter"),
    ("pump_capacity@VP1", Row("", seen=True), "cfm", "is a reading in cfm, not a tick"),
])  # fmt: skip
def test_a_us_sheet_is_refused_in_its_own_units(
    tmp_path: Path, check: str, typed: Row, unit: str, says: str
) -> None:
    """A tester who typed 120 inHg for 12.0 would be told that 406 kPa cannot be; his sheet asks for
    no kPa."""
    checks, log = bench(ROWS).checks, Log(tmp_path / "log.sqlite", Owner("p", "x"))
    good = Row("milkline_slope@ML1", 1.0, unit="%", who="anna", when="2026-03-05 10:00")
    vacuum = Row("drop_pump@VP1", None, unit="inHg")  # an empty line says what the sheet asks in
    for rows, system in (((good, vacuum), "metric"), ((good,), "US")):
        line = replace(typed, check=check, who="anna", when="2026-03-05 10:00")
        sheet = Filled("s", "s1", "p", "x", revision_of(checks), (*rows, line))
        asked = asked_by(sheet, checks, cast(System, system))
        assert asked({c.id: c for c in checks}[check]) == unit
        with pytest.raises(SheetError, match=f"{check}:? {says}"):
            take(log, sheet, checks, log.owner, asked=asked)
    log.close()


def test_the_single_line_has_wires_as_they_are_bought() -> None:
    """A US electrician would read 2.5 mm² on the single line beside 12 AWG in the cable list, or a
    size that runs into the next breaker."""
    with drawn_in("US"):
        layout = power_layout(example("rotary_spring_ice"), "power", 380.0, 240.0)
    said = [one.text for one in layout.letters]
    assert sum(t.endswith(("AWG", "kcmil")) for t in said) > 20
    widest = max(text_width_mm(us_size(one.mm2).replace(" kcmil", "kcmil"), RATING_MM)
                 for one in SIZES)  # fmt: skip
    assert 1.7 + widest < STEP_MM - BREAKER_MM / 2
    assert not any(re.fullmatch(r"(\d+x)?\d+(\.\d)?", t) for t in said)
    assert not any("mm²" in note for note in layout.notes)


@pytest.mark.parametrize("name", PLANS)
def test_no_sheet_of_the_plan_holds_a_metric_length(name: str) -> None:
    """A US fitter would read a level in metres beside a bore in inches."""
    checked = 0
    for file, made in plan_files(name, "US").items():
        if not file.endswith(".svg"):
            continue
        texts = [html.unescape(t) for t in re.findall(r">([^<]+)</text>", made.decode())]
        assert [t for t in texts if METRIC.search(t) or WORDS.search(t)] == [], file
        if "list" in file:
            heads = [t for t in texts if METRIC.search(f"1 {t.rpartition(' ')[2]}")]
            assert heads == [], file
        if file[0] in "BPS":
            assert [t for t in texts if LENGTH.search(t)] == [], file
        checked += sum("'-" in t or t.endswith(" ft") for t in texts)
    assert checked > 300


@pytest.mark.parametrize("stalls", [16, 32])
def test_levels_of_a_section_stand_inside_the_frame(stalls: int) -> None:
    """Feet and inches are longer than metres: levels would run over the sheet's frame."""
    plant = briefed("rows", stalls)
    frame = PAGES["A3"][0] - BORDER_MM
    level = re.compile(r'<text x="([0-9.]+)"[^>]*font-size="([0-9.]+)"[^>]*>([+±-][^<]*)<')
    seen = 0
    with drawn_in("US"):
        for sheet in plan_sheets(plant, "US"):
            if not sheet.key.startswith(("P4", "P5")):
                continue
            for x, big, text in level.findall(html.unescape(plan_svg(plant, sheet))):
                assert float(x) + text_width_mm(text, float(big)) / 2 < frame - 0.5, text
                seen += 1
    assert seen > 10


@pytest.mark.parametrize("name", PLANS)
def test_bores_on_the_plan_are_told_as_they_are_bought(name: str) -> None:
    """A sketch would tell the fitter to cut tube of 2.87 in."""
    plant = example(name)
    decimals = {f"{p.bore_mm / 25.4:.3g}" for p in plant.pipes if trade_in(p.bore_mm)}
    texts = {
        file: [html.unescape(t) for t in re.findall(r">([^<]+)</text>", made.decode())]
        for file, made in plan_files(name, "US").items() if file.endswith(".svg")
    }  # fmt: skip
    named = re.compile(rf"(?<![\d.])(?:{'|'.join(map(re.escape, decimals))})(?: in|/| *$)")
    assert [t for file, many in texts.items() if file[0] in "SF" for t in many
            if named.search(t)] == []  # fmt: skip
    assert any(re.search(r"(?:milk|vacuum) 2 1/2 in|1/2 in", t) for m in texts.values() for t in m)
    assert any("2 1/2 OD (2.374)" in many for file, many in texts.items() if file[0] == "F")


@pytest.mark.parametrize("name", PLANS)
def test_lists_of_the_plan_are_in_decimal_feet(name: str, tmp_path: Path) -> None:
    """A list would keep metres under its heads, or turn them by another factor; a set-out table
    could not be read back."""
    us, metric = (plan_files(name, units) for units in ("US", "metric"))
    for file in (f for f in us if f.endswith(".csv")):
        rows, before = (list(csv.reader(io.StringIO(x[file].decode()))) for x in (us, metric))
        heads = [h.rpartition(" ")[2].strip("()") for h in rows[0]]
        assert [h for h in heads if METRIC.search(f"1 {h}")] == [], file
        assert [c for row in rows[1:] for c in row if METRIC.search(c)] == [], file
        for i, (head, own) in enumerate(zip(heads, before[0], strict=True)):
            if head in ("ft", "in"):
                unit = own.rpartition(" ")[2].strip("()")
                for a, b in zip(before[1:], rows[1:], strict=True):
                    wanted = convert(float(a[i]), unit, head)
                    assert float(b[i]) == pytest.approx(wanted, abs=0.0006), (file, own)
    path = tmp_path / "set_out.csv"
    path.write_bytes(us["set_out.csv"])
    made = sited(example(name))
    assert made is not None
    for tag, one in read_set_out(path).items():
        body = made.plan.bodies[tag]
        assert (one.east_m, one.north_m) == pytest.approx((body.x, body.y), abs=0.001), tag


@given(st.floats(-90, 90), st.sampled_from((1, 2, 4, CUT)))
def test_feet_and_inches_come_back_to_the_length(metres: float, part: int) -> None:
    """A length would be told as another, as "1 ft 12 in", or with a fraction that is not least."""
    said = feet(metres, part)
    found = re.fullmatch(r"(-?)(?:(\d+)'-)?(?:(\d+)(?: |(?=\")))?(?:(\d+)/(\d+))?\"", said)
    assert found is not None, said
    sign, whole, inches, over, under = found.groups()
    assert int(inches or 0) < 12
    assert over is None or int(over) % 2 == 1
    told = int(whole or 0) * 12 + int(inches or 0) + int(over or 0) / int(under or 1)
    assert (-told if sign else told) == pytest.approx(metres / 0.0254, abs=0.5 / part + 1e-9)


@given(st.integers(20, 600))
def test_no_opening_is_told_narrower_than_it_must_be(mm: int) -> None:
    """A hole rounded to the nearest half inch would not let its pipe through."""
    with drawn_in("US"):
        whole, _, inches = hole_mm(mm).removesuffix('"').rpartition("'-")
    told = int(whole or 0) * 12 + sum(map(Fraction, inches.split()))
    assert 0 <= told - mm / 25.4 + 1e-6 < 0.5 + 2e-6


class Asked(Exception):
    """What was asked for, told at once."""


def test_every_way_to_the_plan_set_passes_the_units_on(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A pack, the place command, a quotation or the list of changes would have sheets in metres."""

    def set_of(*_: object, units: System = "metric", **__: object) -> None:
        raise Asked(units)

    def packed(*told: object) -> None:
        raise Asked(told[3])

    def sheets_of(_: object, units: System = "metric") -> None:
        raise Asked(units)

    plant = example(ROWS)
    moved = Change("positions", "changed", "TK1", "moved")
    monkeypatch.setattr("byrewright.documents.pack.plan_set", packed)
    monkeypatch.setattr("byrewright.documents.plan_set.plan_set", set_of)
    for module in ("quotation", "changes", "readers"):
        monkeypatch.setattr(f"byrewright.documents.{module}.plan_sheets", sheets_of)
    ways: list[Callable[[], object]] = [
        lambda: write_pack(tmp_path / "a", "", plant, size(plant), date="2026-03-01", units="US"),
        lambda: write_set(plant, tmp_path / "b", "US"),
        lambda: quotation_data(plant, priced(), None, (), "US", "letter"),
        lambda: drawings(plant, plant, [moved], "2026-03-01", "US"),
        lambda: paper_for("builder", plant, size(plant), Issue("2026-03-01", "A"), "US"),
    ]
    for way in ways:
        with pytest.raises(Asked, match="US"):
            way()
