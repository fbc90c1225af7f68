"""The schedules, read back by another library."""

from __future__ import annotations

import io
import math

import openpyxl
import pytest

from byrewright.documents.schedule import content_l, pages, schedule_xlsx
from byrewright.studies.quantities import quantities
from tests.documents.made import HOSTILE, made_result
from tests.plants import rotary

NAMES = [
    "Machines", "Pipes", "Valves and modes", "Motors", "Findings", "Assumptions",
    "Qty machines", "Qty pipes", "Qty fittings", "Qty valves", "Qty sensors", "Qty motors",
    "Qty supports", "Qty cables",
]  # fmt: skip
SAME = 1e-6  # the workbook rounds to six decimals


@pytest.fixture(scope="module")
def book() -> openpyxl.Workbook:
    """A workbook with hostile words in it, read back."""
    plant = rotary()
    odd = plant.equipment["TK1"].model_copy(update={"label": HOSTILE})
    plant = plant.model_copy(update={"equipment": {**plant.equipment, "TK1": odd}})
    return openpyxl.load_workbook(io.BytesIO(schedule_xlsx(plant, made_result(HOSTILE))))


def test_every_sheet_is_there_with_frozen_titles_and_filters(book: openpyxl.Workbook) -> None:
    """Would fail if a sheet were missing or a long one could not be read when scrolled."""
    assert book.sheetnames == NAMES
    for sheet in book:
        assert sheet.freeze_panes is not None
        assert sheet.auto_filter.ref
        assert sheet.print_title_rows == "$1:$1"
        assert sheet.page_setup.orientation == "landscape"
        assert all(cell.value for cell in sheet[1])


def test_no_cell_is_a_formula(book: openpyxl.Workbook) -> None:
    """Would fail if words out of a plant file could run as a formula in somebody's workbook."""
    cells = [c for sheet in book for row in sheet.iter_rows() for c in row]
    assert all(c.data_type != "f" for c in cells)
    assert any(c.value == HOSTILE for c in cells)
    assert all(c.hyperlink is None for c in cells)


def test_machines_and_pipes_are_all_listed(book: openpyxl.Workbook) -> None:
    """Would fail if a schedule lost a row."""
    plant = rotary()
    assert [r[0].value for r in book["Machines"].iter_rows(min_row=2)] == list(plant.equipment)
    assert [r[0].value for r in book["Pipes"].iter_rows(min_row=2)] == [p.id for p in plant.pipes]


def test_content_of_a_pipe_is_its_cylinder(book: openpyxl.Workbook) -> None:
    """Would fail if the litres in a pipe were wrong: a cylinder, 100 mm by 10 m is 78.5 L."""
    assert content_l(100.0, 10.0) == pytest.approx(1000 * math.pi * 0.05**2 * 10, rel=1e-12)
    row = next(book["Pipes"].iter_rows(min_row=2))
    assert row[-1].value == pytest.approx(round(content_l(63.5, 4.0), 2), abs=SAME)


def test_the_position_table_follows_the_modes(book: openpyxl.Workbook) -> None:
    """Would fail if the table told an operator a position other than the plant file's."""
    sheet = book["Valves and modes"]
    titles = [c.value for c in sheet[1]]
    rows = {r[0].value: [c.value for c in r] for r in sheet.iter_rows(min_row=2)}
    plant = rotary()
    for mode in plant.modes:
        column = titles.index(mode.replace("_", " "))
        for tag in ("V31", "V40", "MP1", "MU1"):
            assert rows[tag][column] == (plant.position(mode, tag) or "").replace("_", " ")


def test_quantities_add_up(book: openpyxl.Workbook) -> None:
    """Would fail if the take-off lost pipe or machines."""
    plant = rotary()
    told = {t.key: t for t in quantities(plant).tables}
    for key, column in (("pipes", 3), ("machines", 2), ("valves", 5)):
        rows = [[c.value for c in r] for r in book[f"Qty {key}"].iter_rows(min_row=2)]
        assert len(rows) == len(told[key].rows)
        assert sum(r[column] for r in rows) == pytest.approx(
            sum(float(r[column]) for r in told[key].rows), abs=SAME * len(rows)
        )


def test_the_same_plant_gives_the_same_workbook() -> None:
    """Would fail if the time of writing got into the file."""
    assert schedule_xlsx(rotary(), made_result()) == schedule_xlsx(rotary(), made_result())


def test_columns_say_their_unit() -> None:
    """Would fail if a column of numbers did not say what it is counted in."""
    every = {p.name: p.titles for p in pages(rotary(), made_result())}
    assert {"Bore, mm", "Length, m", "Content, L"} <= set(every["Pipes"])
    assert {"Each", "All", "Unit"} <= set(every["Motors"]), "some are in hp to a US reader"
