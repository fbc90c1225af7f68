"""US units everywhere: no metric unit is left in any sentence, table or drawing."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from byrewright.documents.certificate import certificate_data
from byrewright.documents.format import key_figure, shown
from byrewright.documents.interlocks import pages as pages_of
from byrewright.documents.readers import READERS, paper_for
from byrewright.documents.schedule import page_in, pages
from byrewright.documents.schematic import Issue, schematic_svg, sheets_for
from byrewright.documents.tests_in import checks_in, measured_in
from byrewright.documents.us_units import RULE_KEY, explained_in, finding_in, result_in, table_in
from byrewright.documents.us_words import COLD_KEYS, bore_in, text_in
from byrewright.results import Finding, Input, Result, Table, merge
from byrewright.site.checks.check import revision_of
from byrewright.site.checks.measured import PlantChecks, bench_of
from byrewright.site.checks.sheet import Filled, Row, _in_asked_unit, take
from byrewright.site.checks.verdicts import as_measured
from byrewright.site.log import Log, Owner
from byrewright.standards.pipes import trade_in
from byrewright.standards.rulebook import default_rulebook
from byrewright.standards.units import US_UNITS, convert
from byrewright.studies.count import data_plate
from byrewright.studies.day import run_day
from byrewright.studies.failures.study import study_failures
from byrewright.studies.place import study_place
from byrewright.studies.quantities import quantities
from byrewright.studies.routes.study import Routes, routes
from byrewright.studies.sizing import size
from byrewright.studies.vacuum import study_vacuum
from byrewright.studies.vacuum.balance import KEY as BALANCE
from tests.studies.failing import ROWS, SMALL, example

WORDS = re.compile(r"\b(?:litres?|metres?|kilograms?|tonnes?|millimetres?)\b", re.IGNORECASE)
"""Metric units written out."""
METRIC = re.compile(
    r"(?<![\w.])\d[\d.]*[ \u00a0]?(?:L/min|L/h|L/d|L/s|mL|L|kPa|mbar|bar|degC|\u00b0C|mm2?|cm|um|"
    r"m2|m3|m/s|km|m|kg|kN|N|K|MJ|t|W/m2K|kJ/kgK|kW/m3|kW/kg|kWh/kg|mPa\.s|"
    r"lbf m)(?![A-Za-z0-9]|/L)|\d gal/s|\d gal of air|"
    r"per kPa|per K\b|\bdegC\b|\bkPa\b|"
    r"\b264 gal of milk|for 264 gal"
)
"""A number with a metric unit behind it. kW, kWh, kVA, A and V are the US trade's too."""

PLANS = (SMALL, ROWS)
"""Example plants with a plan: a rotary, and stalls in rows."""
STUDIES = ("sizing", "vacuum", "day", "failures", "routes")


@cache
def metric_study(name: str) -> Result:
    """A study of the small example."""
    plant = example(SMALL)
    made = {
        "sizing": lambda: size(plant),
        "vacuum": lambda: study_vacuum(plant),
        "day": lambda: run_day(plant),
        "failures": lambda: study_failures(plant, simulate=False),
        "routes": lambda: routes(plant, orders=False),
    }
    return made[name]()


def study(name: str) -> Result:
    """A study of the small example, in US units."""
    return result_in(metric_study(name), "US")


@pytest.mark.parametrize("name", ["sizing", "vacuum", "day", "failures", "routes"])
def test_no_sentence_of_any_study_holds_a_metric_unit(name: str) -> None:
    """A US reader would get degC in one sentence and degF in the next."""
    result = study(name)
    told = [(f.name, f.sentence) for f in result.findings]
    told += [(f.name, f.title) for f in result.findings] + [("note", n) for n in result.notes]
    told += [(f.name, f.advised_why) for f in result.findings]
    told += [(f.name, i.meaning) for f in result.findings for i in f.inputs]
    for table in result.tables:
        told += [(table.key, x) for x in (table.title, table.note, *table.columns)]
        told += [(table.key, c) for row in table.rows for c in row if isinstance(c, str)]
        told += [(table.key, f"1 {u}") for u in table.units]
    for series in result.series:
        told += [(series.key, f"1 {u}") for _, u, _ in series.lines]
    left = [(where, text) for where, text in told if METRIC.search(text) or WORDS.search(text)]
    assert left == []


@pytest.mark.parametrize("name", ["sizing", "vacuum", "day", "failures"])
def test_an_explained_finding_holds_one_system_of_units(name: str) -> None:
    """ "W = 35 280 kg" was read as "W = 35 617 lb", and the formula over it held kilograms."""
    checked = 0
    for one in metric_study(name).findings:
        told = explained_in(one, "US")
        lines = [row for heading, rows in told.parts if heading != "Source" for row in rows]
        assert [x for x in lines if METRIC.search(x)] == [], one.name
        put_in = dict(told.parts).get("Numbers put in", ())
        for i, line in zip(one.inputs, put_in, strict=True):
            if i.unit in US_UNITS and not isinstance(i.value, str):
                number = re.match(r"(?:.+? = )?(-?[\d. ]*\d)", line)
                assert number is not None, line
                other = "psi" if " psi: " in line else US_UNITS[i.unit]
                wanted = convert(i.value, i.unit, other)
                told_as = float(number[1].replace(" ", ""))
                assert told_as == pytest.approx(wanted, rel=2e-3, abs=2e-4), line
                checked += 1
    assert checked


def test_a_symbol_of_a_formula_is_no_unit() -> None:
    """Would fail if "3600 N / T", N stalls, were told as "809 lbf / T", and the operators of
    "3600 m / WRT" as 11811 ft."""
    told = {f.key: finding_in(f, "US").formula for f in metric_study("sizing").findings}
    assert told["throughput.net"].startswith("net = 3600 x N / T")
    assert told["throughput.labour"].startswith("3600 x m / WRT")
    assert "2.64 gal a unit" in told["wash.water"]


def test_thousands_that_are_set_apart_are_one_number() -> None:
    """10,000 L would be turned into "10,0 gal", and 10 000 L into "10 0 gal"."""
    assert text_in("It holds 10,000 L.", "US") == "It holds 2642 gal."
    assert "0 gal" not in text_in("It holds 10 000 L.", "US")


@pytest.mark.parametrize("name", ["sizing", "vacuum", "failures"])
def test_no_cell_of_the_workbook_is_metric(name: str) -> None:
    """The schedules of a US plant would list bores in mm and assume pressures in kPa."""
    plain = metric_study(name)
    for before in pages(example(SMALL), plain):
        page = page_in(before, "US")
        assert page.rows or not before.rows
        told = [t.rpartition(", ")[2] for t in page.titles if ", " in t]
        if "Unit" in page.titles:
            told += [str(row[page.titles.index("Unit")]) for row in page.rows]
        left = [u for u in told if METRIC.search(f"1 {u}")]
        left += [c for row in page.rows for c in row if isinstance(c, str) and METRIC.search(c)]
        assert left == [], page.name


def test_what_is_told_for_so_much_milk_is_for_a_round_number_of_gallons() -> None:
    """A US reader would get what 264 gallons take, or the figure of a thousand litres.

    1 US gallon is 231 cubic inches (NIST Handbook 44, appendix C; from memory)."""
    thousand = (231 * 0.0254**3) * 1000  # so many m3, as thousands of litres, are 1000 gal
    plain, turned = metric_study("day"), study("day")
    energy = plain.finding("day.energy_1000_l")
    assert energy.unit == "kWh/1000 L" and energy.value is not None
    value, unit = shown(energy.value, energy.unit, "US")
    assert (unit, value) == ("kWh/1000 gal", pytest.approx(energy.value * thousand))
    before, after = plain.table("day.uses"), turned.table("day.uses")
    assert after.columns == before.columns and after.units[2] == "kWh/1000 gal"
    for a, b in zip(before.rows, after.rows, strict=True):
        assert float(b[2]) == pytest.approx(float(a[2]) * thousand, rel=1e-3)
    hours = [
        float(re.findall(r"([\d.]+) h/1000 (?:L|gal) of milk", r.finding("day.labour").sentence)[0])
        for r in (plain, turned)
    ]
    assert hours[1] == pytest.approx(hours[0] * thousand, abs=0.03)


def test_a_row_of_the_workbook_is_turned_by_its_own_unit() -> None:
    """A limit would stay metric beside a turned value; free air would be gpm."""
    before = next(p for p in pages(example(SMALL), metric_study("sizing")) if p.name == "Findings")
    page = page_in(before, "US")
    unit, has, limit = (page.titles.index(t) for t in ("Unit", "Has", "Limit"))
    pairs = zip(before.rows, page.rows, strict=True)
    air = [(a, b) for a, b in pairs if a[unit] == "L/min free" and a[has]]
    assert air
    for a, b in air:
        assert b[unit] == "cfm"
        assert b[has] == pytest.approx(convert(float(a[has] or 0), "L/min free", "cfm"))
        if a[limit]:
            assert b[limit] == pytest.approx(convert(float(a[limit]), "L/min free", "cfm"))


BARE = re.compile(
    r"(?<![\w.@:])\d+(?:\.\d+)?(?= (?:is|are) needed| before,| during|, at the worst|, highest"
    r"| in its busiest| \(\d+ % (?:spare|short))"
)
"""A number that takes its unit from one further up in the sentence."""


def test_no_number_leans_on_the_unit_of_another() -> None:
    """ "VP1 draws 166 cfm; 4040 is needed": the second would stay metric, and look right."""
    told = [f.sentence for name in ("sizing", "vacuum") for f in study(name).findings]
    assert [s for s in told if BARE.search(s)] == []


def test_free_air_is_cfm_and_motors_are_hp() -> None:
    """Free air in gpm, or a motor in kW, is not what the trade there says."""
    sizing, vacuum = study("sizing"), study("vacuum")
    air = [f for r in (sizing, vacuum) for f in r.findings if f.unit == "L/min free"]
    assert len(air) > 5
    assert not [f.sentence for f in air if "gpm" in f.sentence and "milk" not in f.sentence
                and "water" not in f.sentence]  # fmt: skip
    every = [f.sentence for n in ("sizing", "vacuum", "day", "failures") for f in study(n).findings]
    assert [s for s in every if re.search(r"gpm of (?:\w+ )?air", s)] == []
    assert any("cfm of air leaving wet" in s for s in every)
    wet = [f.sentence for f in sizing.findings if f.key.startswith(("delivery.", "water."))]
    assert [s for s in wet if "cfm" in s] == []
    motors = [f for f in sizing.findings if "motor" in f.key and f.unit == "kW motor"]
    motors += [f for f in sizing.findings if f.key == "deck.running_power"]
    motors += [f for f in sizing.findings if f.key == "cooling.tank.agitator"]
    assert {f.unit for f in motors} == {"kW motor"}
    assert len(motors) > 5
    assert all(" hp" in f.sentence and " kW" not in f.sentence for f in motors)
    milk = [f.sentence for f in sizing.findings if f.key.startswith("milk")]
    assert not [s for s in milk if "cfm" in s]


def test_what_was_is_told_in_the_unit_of_what_is() -> None:
    """A pump that grows from 5900 to 6200 L/min of air would be told as "5900 becomes 1638 gpm"."""
    for metric, told in (
        ("VP1 (Vacuum pump): capacity 5900 becomes 6200 L/min; motor 15 becomes 18.5 kW.",
         "VP1 (Vacuum pump): capacity 208 cfm becomes 219 cfm; motor 20.1 hp becomes 24.8 hp."),
        ("L105: bore 150 becomes 200 mm; length 4 becomes 6 m",
         "L105: bore 6 in becomes 8 in; length 13.1 ft becomes 19.7 ft"),
        ("VP1: capacity 4518 L/min (4294 to 4755), by pump_capacity@VP1",
         "VP1: capacity 160 cfm (152 cfm to 168 cfm), by pump_capacity@VP1"),
        ("Milk out: 3.9 becomes 4.4 degC, 0.5 K more",
         "Milk out: 39 degF becomes 39.9 degF, 0.9 degF more"),
    ):  # fmt: skip
        assert text_in(metric, "US") == told


def test_heat_that_is_moved_is_in_btu() -> None:
    """Refrigeration would be in kW, as no condensing unit is sold there, or a heater in Btu/h."""
    found = [f for n in ("sizing", "day") for f in study(n).findings if f.key.startswith(COLD_KEYS)]
    assert len([f for f in found if "Btu" in f.sentence]) >= 4
    assert [f.sentence for f in found if re.search(r"\dW?h? kWh?\b", f.sentence)] == []
    assert {f.unit for f in found} & {"kW", "kWh"} == set()
    assert not [c for c in study("sizing").table("cooling.stages").units if c == "kW"]
    heaters = [f for f in study("sizing").findings if f.key == "wash.heater_power"]
    assert heaters and all(" kW" in f.sentence and "Btu" not in f.sentence for f in heaters)
    blocks = paper_for("refrigeration", example(ROWS), told(ROWS), Issue("2026-03-01", "A"),
                       "US", drawn=KeyedBlank()).blocks  # fmt: skip
    assert [w for w in words_of(blocks) if re.search(r"\d\W*kWh?\b", w)] == []


def test_pressure_of_liquids_is_in_psi_and_vacuum_in_inches_of_mercury() -> None:
    """A pump's friction would be in inches of mercury, as no engineer there has it."""
    every = study("sizing").findings
    pumps = [f for f in every if f.key.endswith("pump.head") or f.key == "delivery.head"]
    assert len(pumps) > 4
    for one in pumps:
        assert " psi of friction" in one.sentence, one.name
        assert not re.search(r"inHg(?! of vacuum)", one.sentence), one.sentence
    assert " inHg of vacuum to draw against" in pumps[0].sentence
    wash = next(f for f in every if f.key == "wash.injector" and f.inputs)
    assert {i.unit for i in wash.inputs if i.symbol in ("p", "p_a")} == {"kPa"}
    assert "psi" not in next(f for f in every if f.key == "vacuum.airline.bore").sentence


def test_every_flow_and_volume_of_free_air_is_in_cubic_feet() -> None:
    """The leaks of the milk system, and the air of a room, would be told in gallons."""
    balance = study("vacuum").table(BALANCE)
    assert {u for u in balance.units if u} == {"cfm"}
    users = study("sizing").table("air.users")
    assert "gal" not in users.units and "ft3" in users.units
    rooms = table_in(study_place(example(SMALL)).table("place.air"), "US")
    assert rooms.units[1:4] == ("Btu/h", "ft3", "cfm")


@pytest.mark.parametrize("name", PLANS)
def test_bores_are_told_by_the_size_they_are_bought_under(name: str) -> None:
    """A fitter would be sent for a tube of 1.91 in, as nobody sells it."""
    plant = example(name)
    labels = {}
    for sheet in sheets_for(plant):
        if sheet.key != "power":
            svg = html.unescape(schematic_svg(plant, sheet.key, units="US"))
            labels |= dict(re.findall(r"[A-Z]+ (L\d+) ⌀([^<]+)<", svg))
    bores = {p.id: p.bore_mm for p in plant.pipes}
    assert len(labels) > 50 and {"2 1/2 OD (2.374)", "3 OD"} <= set(labels.values())
    for tag, said in labels.items():
        assert said == bore_in(bores[tag]), tag
    by_name = {said: bores[tag] for tag, said in labels.items()}
    assert len(set(by_name.values())) == len(by_name), "two bores read alike"
    sentences = [f.sentence for f in result_in(size(plant), "US").findings]
    decimals = {f"{b / 25.4:.3g}" for b in bores.values() if trade_in(b)}
    assert [s for s in sentences for d in decimals if re.search(rf"(?<![\d.]){d} in\b", s)] == []
    assert any("1/2 in" in s for s in sentences)
    page = page_in(next(p for p in pages(plant, told(name)) if p.name == "Pipes"), "US")
    column = page.titles.index("Bore, in")
    tags = page.titles.index("Tag")
    assert {r[tags]: r[column] for r in page.rows}["L101"] == bore_in(bores["L101"])
    found = page_in(next(p for p in pages(plant, told(name)) if p.name == "Findings"), "US")
    put_in = found.titles.index("Numbers put in")
    slug = next(str(r[put_in]) for r in found.rows if str(r[0]).startswith("wash.slug"))
    assert re.match(r"d = \d\.\d\d in \(bore", slug), "a formula takes the true bore"
    paper = paper_for("fitter", plant, told(name), Issue("2026-03-01", "A"), "US",
                      drawn=KeyedBlank())  # fmt: skip
    lists = [b for b in paper.blocks if b["kind"] == "table" and "bore, in" in b["heads"]]
    cells = {r[0]: r[b["heads"].index("bore, in")] for b in lists for r in b["rows"]}
    assert len(cells) > 50 and all(said == bore_in(bores[tag]) for tag, said in cells.items())
    assert all(b["right"][b["heads"].index("bore, in")] for b in lists)


def test_a_long_number_set_apart_by_a_thin_space_is_turned_whole() -> None:
    """12 000 L in the workbook was turned into 12 0 gal, and 88 697 L into 88 184 gal."""
    assert text_in("V = 12\u2009000 L", "US") == "V = 3170 gal"


def test_data_plates_tell_what_their_figures_are_of() -> None:
    """A vacuum pump of a US plant would be ordered by so many gpm, its motor in kW."""
    plates = {m.KIND: (data_plate(m), key_figure(m, "US")) for n in PLANS
              for m in example(n).equipment.values()}  # fmt: skip
    said = {kind: (text_in(plate, "US"), figure) for kind, (plate, figure) in plates.items()}
    assert re.match(r"capacity \d+ cfm, motor 20.1 hp", said["vacuum_pump"][0])
    assert re.match(r"flow [\d.]+ gpm, .*motor [\d.]+ hp", said["liquid_pump"][0])
    assert re.search(r"capacity [\d.]+ cfm, motor", said["air_compressor"][0])
    assert said["ice_bank"] == ("store 273,000 Btu, duty 34,100 Btu/h", "34\u2009121\u00a0Btu/h")
    assert said["condensing_unit"][1].endswith("Btu/h")
    assert "heater 9 kW" in said["water_heater"][0]
    assert "agitator 0.738 hp" in said["bulk_tank"][0]
    assert "input 6 kW" in said["cloth_washer"][0] and "hp" not in said["cloth_washer"][0]
    assert said["controller"][1] == "0.2\u00a0kW"


def test_a_trend_is_told_by_its_year() -> None:
    """A wash that cools by a degree a year would be told in kelvins, or as 30 degF a year."""
    assert shown(-1.0, "degC a year", "US") == (pytest.approx(-1.8), "degF difference a year")
    assert shown(1.0, "kPa a year", "US") == (pytest.approx(1 / 3.386389), "inHg a year")
    assert shown(1.0, "kPa a year") == (1.0, "kPa a year")


def test_metric_readers_see_nothing_new() -> None:
    """The metric text would be touched."""
    plain = metric_study("sizing")
    assert result_in(plain, "metric") is plain
    assert finding_in(plain.findings[0], "metric") is plain.findings[0]


def test_drawings_are_lettered_in_inches() -> None:
    """A US plant's drawings would carry bores in mm and motors in kW."""
    plant = example(SMALL)
    key = sheets_for(plant)[0].key
    us, metric = (schematic_svg(plant, key, units=u) for u in ("US", "metric"))
    assert "size in inches as it is bought" in us
    assert "bore in mm" in metric
    assert not METRIC.search(" ".join(re.findall(r">([^<]*)<", us)))


def words_of(thing: object) -> Iterator[str]:
    """Every word in plain data, drawings left out."""
    if isinstance(thing, str):
        yield thing
    elif isinstance(thing, dict):
        for key, one in thing.items():
            yield from () if key in ("svg", "kind") else words_of(one)
    elif isinstance(thing, list | tuple):
        for one in thing:
            yield from words_of(one)
    elif is_dataclass(thing):
        yield from words_of([getattr(thing, f.name) for f in fields(thing)])


@cache
def told(name: str) -> Result:
    """What the papers of an example tell: every study of the small one, sizing of the other."""
    if name == SMALL:
        return merge("all", "x", [metric_study(k) for k in STUDIES])
    return size(example(name))


@pytest.mark.parametrize("name", PLANS)
@pytest.mark.parametrize("reader", list(READERS))
def test_no_paper_holds_a_metric_unit(name: str, reader: str) -> None:
    """A builder would get a room in metres, a fitter a bore in mm, an owner milk in litres."""
    paper = paper_for(reader, example(name), told(name), Issue("2026-03-01", "A"), "US",
                      drawn=KeyedBlank())  # fmt: skip
    words = list(words_of(paper.blocks))
    assert len(words) > 20
    wanted = {"builder": "'-", "electrician": " AWG", "fitter": "ft", "refrigeration": "Btu/h"}
    assert sum(wanted[reader] in w for w in words) > 2 if reader in wanted else True
    left = [w for w in words if METRIC.search(w) or WORDS.search(w)]
    heads = [h for b in paper.blocks if b["kind"] == "table" for h in b["heads"]]
    left += [h for h in heads if METRIC.search(f"1 {h.rpartition(', ')[2]}")]
    assert left == []


def test_motors_on_papers_are_in_horsepower() -> None:
    """An electrician would be told the motors of a US plant in kW."""
    blocks = paper_for("electrician", example(ROWS), told(ROWS), Issue("2026-03-01", "A"), "US",
                       drawn=KeyedBlank()).blocks  # fmt: skip
    (heads,) = [b["heads"] for b in blocks if b["kind"] == "table" and "rated, each, hp" in
                b["heads"]]  # fmt: skip
    assert heads[:3] == ["tag", "machine", "count"]
    (rows,) = [b["rows"] for b in blocks if b["kind"] == "table" and b["heads"] == heads]
    rated = {row[0]: row[3] for row in rows}
    assert rated["VP1"] == "20.1" and rated["WH1"] == "9 kW" and rated["all"].endswith(" kW")
    (locked,) = [b["rows"] for b in blocks if b["kind"] == "table" and "isolated at" in b["heads"]]
    energies = {row[0]: row[2].replace("\u00a0", " ") for row in locked}
    assert energies["VP1"].startswith("electricity 20.1 hp")
    assert energies["TK1"].startswith("electricity 0.738 hp")
    assert energies["WH1"].startswith("electricity 9 kW")
    page = page_in(next(p for p in pages(example(ROWS), told(ROWS)) if p.name == "Motors"), "US")
    each, unit = page.titles.index("Each"), page.titles.index("Unit")
    rows = {row[0]: (row[each], row[unit]) for row in page.rows}
    assert rows["VP1"] == (pytest.approx(15 / 0.7457, rel=1e-4), "hp")
    assert rows["WH1"] == (9.0, "kW")
    power = schematic_svg(example(ROWS), "power", units="US")
    assert set(re.findall(r">([\d.]+ kW)[ <]", power)) == {
        "9 kW",
        "6 kW",
        "3.7 kW",
        "0.2 kW",
        "0.05 kW",
    }  # heater, laundry, cold, electronics


class KeyedBlank(dict[str, str]):
    """Drawings of every sheet that are not drawn: their words are tested on their own."""

    def __contains__(self, key: object) -> bool:
        return True

    def __missing__(self, key: str) -> str:
        return '<svg width="420mm"></svg>'


@cache
def bench(name: str) -> PlantChecks:
    """The checks of an example."""
    return bench_of(Path("plant.yaml"), example(name), default_rulebook())


def test_test_sheets_ask_in_us_units_and_are_read_back() -> None:
    """A US tester would be asked for kPa, and what he reads be taken for kPa."""
    plain = bench(ROWS).checks
    asked = checks_in(plain, "US")
    assert [w for c in asked for w in words_of(c) if METRIC.search(w) or WORDS.search(w)] == []
    assert [c.id for c in asked if METRIC.search(f"1 {c.unit}") or c.unit in ("bar", "kN")] == []
    for before, after in zip(plain, asked, strict=True):
        row = _in_asked_unit(Row(before.id, after.predicted, unit=after.unit, uncertainty=0.5),
                             before)  # fmt: skip
        assert row.unit == before.unit
        assert row.value == (None if before.predicted is None else
                             pytest.approx(before.predicted, rel=1e-4, abs=1e-4))  # fmt: skip
        if before.unit == "degC":
            assert row.uncertainty == pytest.approx(0.5 / 1.8, rel=1e-3)
    units = {c.id.partition("@")[0]: c.unit for c in asked}
    assert units["pump_capacity"] == units["system_leak"] == units["compressor_output"] == "cfm"
    assert units["milk_pump_flow"] == "gpm" and units["air_leak_down"] == "psi"
    flows = {c.what: c.unit for c in asked if c.id.startswith("back_flow@")}
    assert flows["Non-return at milk pump"] == "gpm"
    assert flows["Non-return at vacuum pump"] == "cfm"


def test_what_was_measured_is_told_in_us_units(tmp_path: Path) -> None:
    """A verdict would be told in inHg and its "predicted" and "difference" in kPa."""
    one = bench(ROWS)
    log = Log(tmp_path / "log.sqlite", Owner("p", "x"))
    when = {"who": "anna", "when": "2026-03-05 10:00", "instrument": "gauge"}
    value = {"working_vacuum": 46.2, "pump_capacity@VP1": 3600.0, "wash_return@TR1": 49.0,
             "cooler_milk_out@PC1": 14.0}  # fmt: skip
    rows = tuple(Row(k, v, uncertainty=0.5, **when) for k, v in value.items())
    take(log, Filled("s", "s1", "p", "x", revision_of(one.checks), rows), one.checks, log.owner)
    entries = log.entries()
    log.close()
    paper = certificate_data(one, entries, name="1", day="2026-03-06", who="anna", units="US")
    assert "13.6" in str(paper["groups"])
    assert [w for w in words_of(paper) if METRIC.search(w) or METRIC.search(f"1 {w}")] == []
    plain = as_measured("x", one.checks, entries)
    result = measured_in("x", one.checks, entries, "US")
    words = [w for f in result.findings for w in (f.sentence, f.title)]
    words += [str(c) for t in result.tables for row in t.rows for c in row]
    words += [f"1 {c}" for row in result.tables[0].rows for c in row]
    assert [w for w in words if METRIC.search(w)] == []
    assert [f.sentence for f in result.findings if LEANING.search(f.sentence)] == []
    for a, b in zip(plain.findings, result.findings, strict=True):
        assert a.value is not None and b.value == pytest.approx(convert(a.value, a.unit, b.unit))
    assert {f.unit for f in result.findings} == {"inHg", "cfm", "degF"}
    columns = plain.tables[0].columns
    for before, after in zip(plain.tables[0].rows, result.tables[0].rows, strict=True):
        for column in ("plus or minus", "difference"):
            i, unit = columns.index(column), {"degF": "degF difference"}
            own, its = (str(r[columns.index("unit")]) for r in (before, after))
            wanted = convert(float(before[i]), {"degC": "K"}.get(own, own), unit.get(its, its))
            assert after[i] == pytest.approx(wanted, rel=0.01), column
    told_of = text_in(plain.findings[-1].sentence, "US")
    assert "plus or minus 0.9 degF" in told_of


LEANING = re.compile(
    r"(?:plus or minus|predicted|difference) [-+]?[\d.]+(?![\d.]| (?:inHg|cfm|degF|gpm))"
)
"""A number that takes its unit from one before it."""


def test_interlocks_are_told_in_us_units() -> None:
    """An alarm's text or a loss would stay in metric units in the pack of a US plant."""
    plain = Routes(example(SMALL), default_rulebook()).table
    made = pages_of(plain, study("routes"))
    words = [str(c) for page in made for row in (page.titles, *page.rows) for c in row]
    assert any(w == "gpm" for w in words)
    assert [w for w in words if METRIC.search(w) or METRIC.search(f"1 {w}")] == []


def test_a_row_names_the_unit_of_its_measures_alone() -> None:
    """A count of readings would be turned as if it were degrees, a difference of 0.5 degC be told
    as 32.9 degF."""
    columns = ("test", "readings", "last", "unit", "difference", "a year", "limit")
    row = ("Wash", 5.0, 60.0, "degC", 0.5, -1.0, "at least 55")
    turned = table_in(Table("t", "T", columns, ("",) * 7, (row, ("Seal", 3.0, 2e7, "litres",
                                                                 "", "", ""))), "US")  # fmt: skip
    assert turned.rows[0] == ("Wash", 5.0, 140.0, "degF", 0.9, -1.8, "at least 131")
    assert turned.rows[1][:4] == ("Seal", 3.0, 5283000.0, "gal")


@given(
    st.floats(0.1, 9000),
    st.sampled_from(
        sorted(
            set(US_UNITS)
            - {
                "L/min free",
                "kW motor",
                "kW cold",
                "kWh cold",
                "1/L",
                "L/kWh",
                "kg/m2",
                "L/kg",
                "kWh/d cold",
                "kPa liquid",
                "L air",
                "m3 air",
                "mPa.s",
            }
        )
    ),
)
def test_any_quantity_in_a_sentence_is_turned(value: float, unit: str) -> None:
    """A quantity would be left as it is, or turned by another factor."""
    text = text_in(f"It is {value:.2f} {unit} here.", "US")
    number = float(re.findall(r"-?[0-9]+(?:[.][0-9]+)?", text)[0])
    wanted = convert(round(value, 2), unit, US_UNITS[unit])
    assert number == pytest.approx(wanted, rel=0.02, abs=0.51 if abs(wanted) >= 100 else 0.06)
    assert not METRIC.search(text)


def test_motors_to_buy_are_in_horsepower_and_heaters_in_kilowatts() -> None:
    """Would fail if a quotation's list of motors stood in kW beside a data plate in hp."""
    plant = example(SMALL)
    metric = quantities(plant).table("motors")
    sheet = page_in(next(p for p in pages(plant, size(plant)) if p.name == "Qty motors"), "US")
    turned = table_in(metric, "US")
    at = [c.casefold() for c in sheet.titles].index
    for was, cells, now in zip(metric.rows, turned.rows, sheet.rows, strict=True):
        unit = "hp" if was[0] == "motor" else "kW"
        times = 1.341 if was[0] == "motor" else 1.0
        assert now[at("unit")] == unit and cells[4] == unit
        for column in ("rating", "together"):
            is_kw = float(was[metric.columns.index(column)])
            assert float(now[at(column)] or 0) == pytest.approx(times * is_kw, rel=1e-3)
        assert now[at("count")] == was[2]
    assert {row[0] for row in metric.rows} >= {"motor", "heating"}


def test_the_us_rule_for_milk_is_noted_in_round_degrees() -> None:
    """An inspector would read 39.9 degrees for the 40 that states and makers name."""
    from byrewright.standards.cooling import TEMPERATURE_RULES

    (rule,) = (r for r in TEMPERATURE_RULES if r.region == "US")
    assert text_in(rule.note, "US").startswith("40 degF is an equipment rating")


def test_a_limit_reads_as_the_us_rule_states_it() -> None:
    """An inspector would read 44.6 degrees where the ordinance says 45 beside 7 degC."""
    said = "Warmest 4.0 degC; the limit is 7 degC within 2 h, never above 10 degC."
    limit = Input("T_limit", "within 2 h", 7.0, "degC", "pmo")
    one = Finding("day.milk_temperature_1", "", "t", 4.0, "degC", said, "holds", "at_most", 7.0,
                  inputs=(limit,), source="pmo")  # fmt: skip
    turned = finding_in(one, "US")
    assert "limit is 45 degF within 2 h, never above 50 degF" in turned.sentence
    assert turned.limit == turned.inputs[0].value == pytest.approx(convert(45, "degF", "degC"))
    assert turned.value == 4.0 and finding_in(one, "metric") == one
    rule = finding_in(replace(one, key=RULE_KEY, value=7.0, limit=None), "US")
    assert rule.value == pytest.approx(convert(45, "degF", "degC"))
    assert finding_in(replace(one, value=7.0), "US").value == 7.0  # milk, and no limit
    assert finding_in(replace(one, source="heat balance"), "US").sentence == turned.sentence
    assert finding_in(replace(one, source="eu853", inputs=()), "US").limit == 7.0
