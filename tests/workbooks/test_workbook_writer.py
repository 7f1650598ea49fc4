"""The workbook file as other programs read it: two spreadsheet engines and the library most data frames use.

Every check reads the file with a program that did not write its cells (openpyxl's reader, LibreOffice,
ironcalc) or rests on the file format (ECMA-376 part 1, SpreadsheetML; section numbers from memory).
"""

from __future__ import annotations

import dataclasses
import io
import os
import shutil
import subprocess
import sys
import zipfile
from datetime import UTC, date, datetime
from pathlib import Path
from xml.etree import ElementTree

import pytest
from openpyxl import Workbook, load_workbook

from tests.engines import require_engine
from ubudget.errors import NotWritable, OutputExists, UbudgetError
from ubudget.files import atomic
from ubudget.files.sheet_xml import text_as_stored
from ubudget.files.workbook_styles import OPEN_FILL
from ubudget.files.workbook_writer import book_bytes, write_book
from ubudget.pages.book import (
    Band,
    BandColumn,
    Book,
    Chart,
    Choice,
    Highlight,
    LooseCell,
    Series,
    Sheet,
    Value,
)

MASSES = [0.2501, 1 / 3, 0.1 + 0.2]
HOSTILE = [
    "=1+1",
    "+SUM(A1)",
    "-2",
    "@name",
    "#N/A",
    "'quoted",
    " spaces ",
    "a<b>&amp;]]>",
    'say "µ"',
    "two\nlines",
    "TRUE",
    "007",
    "2024-03-01",
]
MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"


def sample() -> Book:
    """Invented weighings of harbour sediment; the doubled mass in column C is the formula under test."""
    weighings = Band(
        "weighings",
        top=4,
        left=1,
        columns=(
            BandColumn("Sample", ["HS-01", "HS-02", "HS-03"], "label", width=14),
            BandColumn("Mass", MASSES, "input", "g", open=[True, True, False], number_format="0.0000"),
            BandColumn(
                "Doubled",
                [2 * mass for mass in MASSES],
                "number",
                "g",
                formulas=[f"B{row}*2" for row in (7, 8, 9)],
                remark="twice the mass, to have something to follow",
            ),
            BandColumn(
                "Remark",
                ["", "heavy", ""],
                "flag",
                formulas=[f'IF(B{row}>0.3,IF(B{row}<0.32,"","heavy"),"")' for row in (7, 8, 9)],
            ),
            BandColumn("Day", [date(2024, 3, 1), None, date(2024, 12, 31)], "date"),
            BandColumn("Include", [1, 1, 0], "input", open=[True] * 3),
        ),
        title="Weighings",
    )
    first = Sheet(
        "samples",
        bands=(weighings,),
        cells=(
            LooseCell(1, 1, "Samples", "title", across=4),
            LooseCell(11, 1, sum(MASSES) * 2, "result", formula="SUM(C7:C9)", number_format="0.00"),
            LooseCell(12, 1, 0.95, "input"),
        ),
        charts=(
            Chart(
                "scatter",
                "A14",
                "Mass",
                "Doubled (g)",
                "Mass (g)",
                (
                    Series("masses", "'samples'!$B$7:$B$9", "'samples'!$C$7:$C$9"),
                    Series("line", "'samples'!$B$7:$B$9", "'samples'!$C$7:$C$9", look="line"),
                ),
            ),
            Chart("bars", "F14", "Ranks", "Sample", "Mass (g)", (Series("m", "'samples'!$B$7:$B$9"),)),
        ),
        choices=(Choice("$F$7:$F$9", '"1,0"', "1 keeps, 0 strikes"),),
        highlights=(Highlight("$A$7:$D$9", "$F7=0", "struck"),),
        freeze="B7",
        repeat_rows=(4, 6),
    )
    second = Sheet("record", cells=tuple(LooseCell(r, 1, t, "record") for r, t in enumerate(HOSTILE, 1)))
    return Book(
        (first, second),
        title="Sediment run",
        header="R&D document 7, revision 2",
        program="ubudget 0.0 (test)",
        modified=datetime(2024, 3, 20, 9, 30, 15, tzinfo=UTC),
        names={"total_mass": "'samples'!$A$11"},
    )


def loaded(book: Book, *, values: bool) -> Workbook:
    return load_workbook(io.BytesIO(book_bytes(book)), data_only=values)


def one_cell(value: Value, formula: str | None = None) -> Book:
    cell = LooseCell(2, 3, value, formula=formula)
    return Book((Sheet("only", cells=(cell,)),), "t", "h", "p", datetime(2024, 1, 1, tzinfo=UTC))


def test_each_formula_carries_its_value() -> None:
    formulas, values = loaded(sample(), values=False)["samples"], loaded(sample(), values=True)["samples"]
    assert [formulas.cell(row, 3).value for row in (7, 8, 9)] == ["=B7*2", "=B8*2", "=B9*2"]
    assert [values.cell(row, 2).value for row in (7, 8, 9)] == MASSES  # every one of 17 digits
    assert [values.cell(row, 3).value for row in (7, 8, 9)] == [2 * mass for mass in MASSES]
    assert values["D8"].value == "heavy"
    assert formulas["D8"].value.startswith("=IF(")
    assert values["E7"].value == datetime(2024, 3, 1)
    assert values["E9"].value == datetime(2024, 12, 31)
    assert values["E7"].number_format == "yyyy-mm-dd"
    assert values["E8"].value is None


def test_heading_block_stands_where_the_plan_says() -> None:
    page = loaded(sample(), values=True)["samples"]
    assert page["A3"].value == "Weighings"
    assert [page["B4"].value, page["B5"].value, page["C6"].value] == [
        "Mass",
        "g",
        "twice the mass, to have something to follow",
    ]


@pytest.mark.parametrize("row", range(1, len(HOSTILE) + 1))
def test_text_stays_text(row: int) -> None:
    for values in (True, False):
        cell = loaded(sample(), values=values)["record"].cell(row, 1)
        assert cell.value == HOSTILE[row - 1]
        assert cell.data_type == "s"
        assert cell.quotePrefix is (HOSTILE[row - 1][0] in "=+-@")


def test_text_that_looks_escaped_is_kept() -> None:
    """ST_Xstring (22.9.2.19): `_x0041_` is read as `A` unless its underscore is escaped."""
    text = "_x0041_ and _xyz_ and _x005F_"
    stored = loaded(one_cell(text), values=True)["only"]["C2"].value
    assert stored == "_x005F_x0041_ and _xyz_ and _x005F_x005F_"
    assert text_as_stored(stored) == text


def test_a_chart_is_not_cut_by_the_end_of_a_page() -> None:
    """A4 landscape leaves 210 mm less 1.4 inch of margins, 494 points: too few for 29 rows and a chart."""
    band = Band("long", 1, 1, (BandColumn("x", [1.0] * 25),))
    chart = Chart("scatter", "A30", "t", "x", "y", (Series("s", "'only'!$A$4:$A$28"),))
    book = Book((Sheet("only", bands=(band,), charts=(chart,)),), "t", "h", "p", datetime(2024, 1, 1))
    assert [pause.id for pause in loaded(book, values=False)["only"].row_breaks.brk] == [29]


def test_only_open_cells_are_unlocked_and_only_they_are_warm() -> None:
    pages = loaded(sample(), values=False)
    for page in pages.worksheets:
        assert page.protection.sheet and page.protection.password is None
        assert page.sheet_state == "visible"
        for row in page.iter_rows():
            for cell in row:
                is_open = page.title == "samples" and cell.coordinate in {"B7", "B8", "F7", "F8", "F9"}
                assert cell.protection.locked is not is_open, cell.coordinate
                assert (cell.fill.start_color.rgb == f"00{OPEN_FILL}") is is_open, cell.coordinate


def test_page_is_set_up() -> None:
    book = loaded(sample(), values=False)
    page = book["samples"]
    assert page.freeze_panes == "B7"
    assert page.print_title_rows == "$4:$6"
    assert page.print_area.startswith("'samples'!$A$1:$")
    assert page.page_setup.orientation == "landscape"
    assert (page.page_setup.fitToWidth, page.page_setup.fitToHeight) == (1, 0)
    assert page.sheet_properties.pageSetUpPr.fitToPage
    assert page.oddHeader.left.text == "R&&D document 7, revision 2"  # && prints one ampersand (18.3.1.46)
    assert "&P" in page.oddFooter.right.text
    assert page.oddFooter.left.text == "ubudget 0.0 (test)"
    assert [str(merged) for merged in page.merged_cells.ranges] == ["A1:D1"]
    assert page.data_validations.dataValidation[0].formula1 == '"1,0"'
    assert str(page.data_validations.dataValidation[0].sqref) == "F7:F9"
    (rule,) = [rule for rules in page.conditional_formatting for rule in rules.rules]
    assert rule.formula == ["$F7=0"] and rule.dxf.font.strike
    assert book.defined_names["total_mass"].attr_text == "'samples'!$A$11"
    assert book.calculation.fullCalcOnLoad
    assert book.properties.title == "Sediment run"
    assert book.properties.creator == "ubudget 0.0 (test)"
    assert book.properties.created == book.properties.modified == datetime(2024, 3, 20, 9, 30, 15)


def test_charts_have_axes_and_titles() -> None:
    charts = loaded(sample(), values=False)["samples"]._charts
    assert [type(chart).__name__ for chart in charts] == ["ScatterChart", "BarChart"]
    for chart in charts:
        assert not chart.x_axis.delete and not chart.y_axis.delete
        assert chart.x_axis.title is not None and chart.y_axis.title is not None
        assert chart.y_axis.majorGridlines is None


def test_bars_do_not_belong_in_a_scatter_chart() -> None:
    chart = Chart("scatter", "A1", "t", "x", "y", (Series("s", "'only'!$A$1:$A$2", look="bars"),))
    book = Book((Sheet("only", charts=(chart,)),), "t", "h", "p", datetime(2024, 1, 1))
    with pytest.raises(ValueError, match="points or lines"):
        book_bytes(book)


def test_elements_of_a_sheet_stand_in_the_order_of_the_schema() -> None:
    """Sequence of CT_Worksheet, ECMA-376 part 1, 18.3.1.99: other orders are "damaged" to spreadsheets."""
    order = [
        *("sheetPr", "dimension", "sheetViews", "sheetFormatPr", "cols", "sheetData", "sheetProtection"),
        *("mergeCells", "conditionalFormatting", "dataValidations", "printOptions", "pageMargins"),
        *("pageSetup", "headerFooter", "rowBreaks", "drawing"),
    ]
    with zipfile.ZipFile(io.BytesIO(book_bytes(sample()))) as archive:
        root = ElementTree.fromstring(archive.read("xl/worksheets/sheet1.xml"))
    places = [order.index(child.tag.removeprefix(MAIN)) for child in root]
    assert places == sorted(places)
    assert {"sheetData", "mergeCells", "dataValidations", "drawing"} <= {c.tag.removeprefix(MAIN) for c in root}
    dimension = root.find(f"{MAIN}dimension")
    assert dimension is not None and dimension.get("ref") == "A1:F12"


def test_wrapped_text_gets_its_height() -> None:
    note = LooseCell(2, 1, "An explanation of some length. " * 20, "note", across=4)
    book = Book((Sheet("only", cells=(note,)),), "t", "h", "p", datetime(2024, 1, 1))
    height = loaded(book, values=True)["only"].row_dimensions[2].height
    # 620 letters on four columns of 10 digits: about 50 to a line, at least ten lines of 9 points.
    assert 10 * 9 < height < 20 * 14


@pytest.mark.parametrize(
    ("value", "formula", "words"),
    [
        (float("nan"), None, "not finite"),
        (float("inf"), "1/0", "not finite"),
        ("bell \x07", None, "U\\+0007"),
        ("lone \ud800", None, "U\\+D800"),
        ("x" * 32_768, None, "32768"),
        (1.0, "=A1", "starts with '='"),
        (1.0, "", "empty"),
        (date(1899, 12, 31), None, "1899-12-31"),
    ],
)
def test_what_no_cell_can_hold_is_refused_with_its_place(value: Value, formula: str | None, words: str) -> None:
    with pytest.raises(ValueError, match=f"sheet 'only', cell C2: .*{words}"):
        book_bytes(one_cell(value, formula))


def test_another_type_is_refused() -> None:
    with pytest.raises(TypeError, match=r"cell C2.*list"):
        book_bytes(one_cell([1]))  # type: ignore[arg-type]  # the wrong type is the point


def test_a_cell_planned_twice_is_refused() -> None:
    cells = (LooseCell(1, 1, "a", across=3), LooseCell(1, 2, "b"))
    with pytest.raises(ValueError, match="cell B1: the cell is planned twice"):
        book_bytes(Book((Sheet("only", cells=cells),), "t", "h", "p", datetime(2024, 1, 1)))


def test_columns_of_unequal_length_are_refused() -> None:
    band = Band("b", 1, 1, (BandColumn("one", [1, 2]), BandColumn("two", [1])))
    with pytest.raises(ValueError, match="column 'two'"):
        book_bytes(Book((Sheet("only", bands=(band,)),), "t", "h", "p", datetime(2024, 1, 1)))


def test_same_plan_same_bytes_also_in_another_process(tmp_path: Path) -> None:
    here = book_bytes(sample())
    assert book_bytes(sample()) == here
    code = (
        "import sys, importlib.util as u\n"
        "spec = u.spec_from_file_location('writer_test', sys.argv[1])\n"
        "module = u.module_from_spec(spec); spec.loader.exec_module(module)\n"
        "module.write_book(module.sample(), module.Path(sys.argv[2]))\n"
    )
    target = tmp_path / "there.xlsx"
    environment = os.environ | {"PYTHONHASHSEED": "7", "PYTHONPATH": os.pathsep.join(sys.path)}
    subprocess.run([sys.executable, "-c", code, __file__, str(target)], check=True, env=environment, timeout=60)
    assert target.read_bytes() == here


def test_an_existing_file_is_kept_unless_told(tmp_path: Path) -> None:
    target = tmp_path / "run.xlsx"
    target.write_text("mine", encoding="utf-8", newline="\n")
    with pytest.raises(OutputExists, match=r"run.xlsx") as refusal:
        write_book(sample(), target)
    assert isinstance(refusal.value, UbudgetError) and "\n" not in str(refusal.value)
    assert target.read_text(encoding="utf-8") == "mine"
    write_book(sample(), target, force=True)
    assert load_workbook(target).sheetnames == ["samples", "record"]
    assert [entry.name for entry in tmp_path.iterdir()] == ["run.xlsx"]


@pytest.mark.parametrize("failing", ["replace", "fsync"])
@pytest.mark.parametrize("kind", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_an_interruption_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: str, kind: BaseException
) -> None:
    target = tmp_path / "run.xlsx"
    target.write_bytes(b"old")

    def fail(*_: object) -> None:
        raise kind

    monkeypatch.setattr(atomic.os, failing, fail)
    with pytest.raises((NotWritable, KeyboardInterrupt)):
        write_book(sample(), target, force=True)
    assert [entry.name for entry in tmp_path.iterdir()] == ["run.xlsx"]
    assert target.read_bytes() == b"old"


def test_places_that_cannot_be_written_are_named(tmp_path: Path) -> None:
    with pytest.raises(NotWritable, match=r"no such folder|No such file"):
        write_book(sample(), tmp_path / "absent" / "run.xlsx")
    with pytest.raises(NotWritable, match="this is a folder"):
        write_book(sample(), tmp_path, force=True)


IRONCALC = """
import sys, ironcalc
model = ironcalc.load_from_xlsx(sys.argv[1])
model.evaluate()
print([model.get_cell_value(0, row, 3) for row in (7, 8, 9)])
print([model.get_cell_value(1, row, 1) for row in range(1, int(sys.argv[2]) + 1)])
print([model.get_cell_value(0, 8, 4), model.get_cell_value(0, 11, 1)])
"""


def test_ironcalc_reads_and_recalculates(tmp_path: Path) -> None:
    require_engine("ironcalc")
    target = tmp_path / "false.xlsx"
    write_book(with_false_value(sample()), target)
    answer = subprocess.run(
        [sys.executable, "-c", IRONCALC, str(target), str(len(HOSTILE))],
        check=True,
        capture_output=True,
        encoding="utf-8",
        timeout=60,
        env=os.environ | {"PYTHONIOENCODING": "utf-8"},
    ).stdout.splitlines()
    assert answer[0] == repr([2 * mass for mass in MASSES])
    assert answer[1] == repr(HOSTILE)
    assert answer[2].startswith("['heavy', 1.76")  # 2 × (0.2501 + 0.3333… + 0.3), by hand


def with_false_value(book: Book) -> Book:
    """The same book with wrong stored values in the doubled masses, to see whether a reader recalculates."""
    first = book.sheets[0]
    band = first.bands[0]
    columns = list(band.columns)
    columns[2] = dataclasses.replace(columns[2], values=[99.0] * 3)
    band = dataclasses.replace(band, columns=tuple(columns))
    return dataclasses.replace(book, sheets=(dataclasses.replace(first, bands=(band,)), *book.sheets[1:]))


ALWAYS_RECALCULATE = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load">
<prop oor:name="OOXMLRecalcMode" oor:op="fuse"><value>0</value></prop></item>
</oor:items>
"""


@pytest.fixture(scope="module")
def converted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the sample (stored values falsified) as LibreOffice re-saves it and prints it."""
    require_engine("libreoffice")
    office = shutil.which("soffice")
    assert office is not None
    folder = tmp_path_factory.mktemp("office")
    profile = folder / "profile" / "user"
    profile.mkdir(parents=True)
    (profile / "registrymodifications.xcu").write_text(ALWAYS_RECALCULATE, encoding="utf-8", newline="\n")
    write_book(with_false_value(sample()), folder / "false.xlsx")
    for kind in ("xlsx", "pdf"):
        subprocess.run(
            [
                office,
                f"-env:UserInstallation={(folder / 'profile').as_uri()}",
                "--headless",
                "--convert-to",
                kind,
                "--outdir",
                str(folder / "out"),
                str(folder / "false.xlsx"),
            ],
            check=True,
            capture_output=True,
            timeout=180,
        )
    return folder / "out"


def test_libreoffice_recalculates(converted: Path) -> None:
    values = load_workbook(converted / "false.xlsx", data_only=True)
    page = values["samples"]
    assert [page.cell(row, 3).value for row in (7, 8, 9)] == pytest.approx([2 * m for m in MASSES], rel=1e-14)
    assert page["D8"].value == "heavy"
    assert [row[0].value for row in values["record"].iter_rows(max_row=len(HOSTILE))] == HOSTILE
    formulas = load_workbook(converted / "false.xlsx")
    assert formulas["samples"]["C7"].value == "=B7*2"
    assert formulas["samples"].protection.sheet
    assert not formulas["samples"]["B7"].protection.locked


def test_libreoffice_prints(converted: Path) -> None:
    assert (converted / "false.pdf").read_bytes().startswith(b"%PDF-")
