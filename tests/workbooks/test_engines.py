"""The engines that judge workbooks are judged first: they recalculate, and none is skipped unseen."""

from __future__ import annotations

import re
import zipfile
from datetime import date
from pathlib import Path

import openpyxl
import pytest
from openpyxl.formatting.rule import Rule
from openpyxl.utils.cell import rows_from_range
from openpyxl.utils.datetime import to_excel
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.formula import ArrayFormula

from tests import engines
from tests.safe_formulas import SAFE_FUNCTIONS, unsafe_formulas
from tests.stored_cells import stored_sheets
from tests.workbooks.books import PUBLISHED, written

# x = 1 2 3 4 5 in A1:A5, y = 2 4 5 4 5 in B1:B5, k l m k l in C1:C5.
# Fitted by hand: mean x = 3, mean y = 4, Sxx = 10, Syy = 6, Sxy = 6, hence slope 6/10, intercept
# 4 - 3 * 6/10, r2 = 36/60 and residual variance (6 - 36/10)/3.
# ((1, 2), (3, 5)) in F1:G2 has the inverse ((-5, 2), (3, -1)), whose elements add up to -1.
# Quantiles and areas: published tables of the normal, t, chi-squared and F distributions (common practice,
# from memory, to the digits shown; two-sided t as TINV and TDIST(..., 2) mean it).
KNOWN: dict[str, tuple[str, float | str | bool, float]] = {
    "ABS": ("ABS(-2.5)", 2.5, 0),
    "SQRT": ("SQRT(2.25)", 1.5, 0),
    "EXP": ("EXP(1)", 2.718281828459045, 1e-14),
    "LN": ("LN(10)", 2.302585092994046, 1e-14),
    "LOG10": ("LOG10(1000)", 3, 1e-14),
    "PI": ("PI()", 3.141592653589793, 1e-14),
    "INT": ("INT(-1.5)", -2, 0),
    "MOD": ("MOD(7,3)", 1, 0),
    "SIGN": ("SIGN(-3)", -1, 0),
    "ROUND": ("ROUND(2.5,0)", 3, 0),
    "ROUNDUP": ("ROUNDUP(2.1,0)", 3, 0),
    "ROUNDDOWN": ("ROUNDDOWN(-2.9,0)", -2, 0),
    "TRUNC": ("TRUNC(-2.9)", -2, 0),
    "SUM": ("SUM(A1:A5)", 15, 0),
    "SUMSQ": ("SUMSQ(A1:A5)", 55, 0),
    "SUMPRODUCT": ("SUMPRODUCT(A1:A5,B1:B5)", 66, 0),
    "AVERAGE": ("AVERAGE(B1:B5)", 4, 0),
    "COUNT": ("COUNT(A1:C5)", 10, 0),
    "COUNTA": ("COUNTA(A1:C5)", 15, 0),
    "COUNTIF": ('COUNTIF(C1:C5,"k")', 2, 0),
    "COUNTIFS": ('COUNTIFS(C1:C5,"k",B1:B5,4)', 1, 0),
    "SUMIF": ('SUMIF(C1:C5,"k",A1:A5)', 5, 0),
    "SUMIFS": ('SUMIFS(A1:A5,C1:C5,"k",B1:B5,4)', 4, 0),
    "AVERAGEIF": ('AVERAGEIF(C1:C5,"k",A1:A5)', 2.5, 0),
    "AVERAGEIFS": ('AVERAGEIFS(A1:A5,C1:C5,"k",B1:B5,4)', 4, 0),
    "MIN": ("MIN(A1:A5)", 1, 0),
    "MAX": ("MAX(A1:A5)", 5, 0),
    "STDEV": ("STDEV(A1:A5)", 2.5**0.5, 1e-14),
    "VAR": ("VAR(A1:A5)", 2.5, 1e-14),
    "LARGE": ("LARGE(A1:A5,2)", 4, 0),
    "SMALL": ("SMALL(A1:A5,2)", 2, 0),
    "RANK": ("RANK(2,A1:A5)", 4, 0),
    "MEDIAN": ("MEDIAN(A1:A4)", 2.5, 0),
    "COVAR": ("COVAR(A1:A5,B1:B5)", 6 / 5, 1e-14),
    "SLOPE": ("SLOPE(B1:B5,A1:A5)", 0.6, 1e-14),
    "INTERCEPT": ("INTERCEPT(B1:B5,A1:A5)", 2.2, 1e-14),
    "STEYX": ("STEYX(B1:B5,A1:A5)", 0.8**0.5, 1e-14),
    "DEVSQ": ("DEVSQ(A1:A5)", 10, 0),
    "RSQ": ("RSQ(B1:B5,A1:A5)", 0.6, 1e-14),
    "LINEST": ("INDEX(LINEST(B1:B5,A1:A5,1=1,1=1),3,2)", 0.8**0.5, 1e-12),
    "MMULT": ("SUM(MMULT(TRANSPOSE(A1:A5),B1:B5))", 66, 0),
    "MINVERSE": ("SUM(MINVERSE(F1:G2))", -1, 1e-12),
    "TRANSPOSE": ("SUM(TRANSPOSE(A1:A5)*TRANSPOSE(B1:B5))", 66, 0),
    "TINV": ("TINV(0.05,10)", 2.228139, 1e-6),
    "TDIST": ("TDIST(2.228139,10,2)", 0.05, 1e-6),
    "NORMSINV": ("NORMSINV(0.975)", 1.959964, 1e-6),
    "NORMDIST": ("NORMDIST(12,10,2,1=1)", 0.841345, 1e-6),
    "NORMSDIST": ("NORMSDIST(1)", 0.841345, 1e-6),
    "FDIST": ("FDIST(4.102821,2,10)", 0.05, 1e-6),
    "FINV": ("FINV(0.05,2,10)", 4.102821, 1e-6),
    "CHIDIST": ("CHIDIST(18.307038,10)", 0.05, 1e-6),
    "CHIINV": ("CHIINV(0.05,10)", 18.307038, 1e-6),
    "INDEX": ("INDEX(B1:B5,3)", 5, 0),
    "MATCH": ("MATCH(4,A1:A5,0)", 4, 0),
    "VLOOKUP": ("VLOOKUP(3,A1:B5,2,1=0)", 5, 0),
    "CHOOSE": ("CHOOSE(2,10,20)", 20, 0),
    "ROW": ("ROW(A7)", 7, 0),
    "ROWS": ("ROWS(A1:A5)", 5, 0),
    "COLUMN": ("COLUMN(C1)", 3, 0),
    "IF": ('IF(A1>1,"more","less")', "less", 0),
    "AND": ("AND(A1=1,A2=2)", True, 0),
    "OR": ("OR(A1=2,A2=1)", False, 0),
    "IFERROR": ("IFERROR(1/0,7)", 7, 0),
    "ISERROR": ("ISERROR(1/0)", True, 0),
    "ISNUMBER": ("ISNUMBER(C1)", False, 0),
    "FIXED": ("FIXED(2,0,1=1)", "2", 0),
    "YEAR": ("YEAR(E1)", 2025, 0),
    "MONTH": ("MONTH(E1)", 3, 0),
    "DAY": ("DAY(E1)", 4, 0),
}
ARRAY_FORMULAS = {"MMULT", "MINVERSE", "TRANSPOSE"}


def data_book() -> openpyxl.Workbook:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "data"
    for row in zip((1, 2, 3, 4, 5), (2, 4, 5, 4, 5), "klmkl", strict=True):
        sheet.append(row)
    sheet["E1"] = date(2025, 3, 4)
    sheet["F1"], sheet["G1"], sheet["F2"], sheet["G2"] = 1, 2, 3, 5
    return book


@pytest.fixture
def functions_book(tmp_path: Path) -> Path:
    """Each known formula in a cell of column H, in the order of the table."""
    book = data_book()
    sheet = book["data"]
    for row, (name, (formula, _, _)) in enumerate(KNOWN.items(), 1):
        cell = f"H{row}"
        sheet[cell] = ArrayFormula(cell, f"={formula}") if name in ARRAY_FORMULAS else f"={formula}"
    path = tmp_path / "functions.xlsx"
    book.save(path)
    return path


def plant(path: Path, cell: str, false_value: str) -> None:
    """Store a false value beside the formula of a cell, as if a program had calculated it wrongly."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    part = "xl/worksheets/sheet1.xml"
    text = parts[part].decode("utf-8")
    text, count = re.subn(rf'(<c r="{cell}"[^>]*><f>[^<]*</f>)<v ?/>', rf"\g<1><v>{false_value}</v>", text)
    assert count == 1
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in (parts | {part: text.encode("utf-8")}).items():
            archive.writestr(name, content)


@pytest.fixture
def false_book(tmp_path: Path) -> Path:
    """Three times 0.5 is stored as 99."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "sheet one"
    sheet["A1"], sheet["A2"], sheet["B1"] = 3, 0.5, "=A1*A2"
    path = tmp_path / "false.xlsx"
    book.save(path)
    plant(path, "B1", "99")
    assert engines.stored_values(path) == {"sheet one": {"B1": 99}}
    return path


def by_openpyxl(path: Path) -> tuple[dict[str, dict[str, str]], engines.Values]:
    """Formulas with their text, if they have one of their own, and values of all cells, dates as serial numbers."""
    formulas: dict[str, dict[str, str]] = {}
    for sheet in openpyxl.load_workbook(path).worksheets:
        found = formulas[sheet.title] = {}
        for cell in (cell for row in sheet.iter_rows() for cell in row):
            if isinstance(cell.value, ArrayFormula):
                found |= {place: "" for line in rows_from_range(cell.value.ref) for place in line}
                found[cell.coordinate] = str(cell.value.text).removeprefix("=")
            elif cell.data_type == "f":
                found[cell.coordinate] = str(cell.value).removeprefix("=")
    values = {
        sheet.title: {
            cell.coordinate: to_excel(cell.value) if isinstance(cell.value, date) else cell.value  # type: ignore[no-untyped-call]
            for row in sheet.iter_rows()
            for cell in row
            if cell.value is not None
        }
        for sheet in openpyxl.load_workbook(path, data_only=True).worksheets
    }
    return formulas, values


def test_formulas_and_values_are_those_that_openpyxl_reads(functions_book: Path, tmp_path: Path) -> None:
    """In a file of openpyxl, in that file saved by LibreOffice, and in one of ours."""
    engines.require_engine("libreoffice")
    book = openpyxl.load_workbook(functions_book)
    book["data"]["K1"] = ArrayFormula("K1:L2", "=MINVERSE(F1:G2)")
    book["data"]["K4"], book["data"]["K5"] = " two  words\n", True
    book.save(functions_book)
    ours = written(PUBLISHED[0]).save(tmp_path / "ours.xlsx")
    for path in (functions_book, engines.libreoffice_resaved(functions_book, tmp_path / "saved"), ours):
        formulas, values = by_openpyxl(path)
        found = stored_sheets(path)
        assert {name: sheet.formulas for name, sheet in found.items()} == formulas
        assert engines.compare(values, {name: sheet.values for name, sheet in found.items()}, rel=0) == []
        assert {name: len(sheet.values) for name, sheet in found.items()} == {n: len(v) for n, v in values.items()}


def test_ironcalc_replaces_a_false_stored_value(false_book: Path) -> None:
    engines.require_engine("ironcalc")
    assert engines.ironcalc_values([false_book]) == [{"sheet one": {"B1": 1.5}}]


def test_libreoffice_replaces_a_false_stored_value(false_book: Path) -> None:
    engines.require_engine("libreoffice")
    assert engines.libreoffice_values([false_book]) == [{"sheet one": {"B1": 1.5}}]


def known_faults(values: engines.Values) -> list[str]:
    """Disagreements with the table, each function held to its own tolerance."""
    return [
        fault
        for row, (_, expected, rel) in enumerate(KNOWN.values(), 1)
        for fault in engines.compare({"data": {f"H{row}": expected}}, values, rel=rel, floor=0)
    ]


def test_the_table_of_known_values_holds_every_safe_function() -> None:
    assert KNOWN.keys() == SAFE_FUNCTIONS


def test_ironcalc_computes_every_safe_function(functions_book: Path) -> None:
    engines.require_engine("ironcalc")
    (values,) = engines.ironcalc_values([functions_book])
    assert known_faults(values) == []


def test_libreoffice_computes_every_safe_function(functions_book: Path) -> None:
    engines.require_engine("libreoffice")
    (values,) = engines.libreoffice_values([functions_book])
    assert known_faults(values) == []


def test_the_engines_agree(functions_book: Path) -> None:
    """To 1e-9: ironcalc has the area below the normal curve to 2e-11 only."""
    engines.require_engine("ironcalc")
    engines.require_engine("libreoffice")
    (one,) = engines.ironcalc_values([functions_book])
    (other,) = engines.libreoffice_values([functions_book])
    assert engines.compare(one, other, rel=1e-9) == []


def test_a_decimal_comma_changes_texts_and_no_number(tmp_path: Path) -> None:
    """FIXED shows that the locale is in force; a number that is not turned into text stays the same."""
    engines.require_engine("libreoffice")
    book = data_book()
    book["data"]["H1"], book["data"]["H2"], book["data"]["H3"] = "=A1/B3", "=FIXED(H1,2,1=1)", "=E1+1"
    path = tmp_path / "comma.xlsx"
    book.save(path)
    (point,) = engines.libreoffice_values([path])
    (comma,) = engines.libreoffice_values([path], locale="de-DE")
    # 45721 days from the spreadsheet epoch 1899-12-30 to 2025-03-05 (counted with Python's datetime).
    serial = (date(2025, 3, 5) - date(1899, 12, 30)).days
    assert point == {"data": {"H1": 0.2, "H2": "0.20", "H3": serial}}
    assert comma == {"data": {"H1": 0.2, "H2": "0,20", "H3": serial}}


def test_files_of_one_name_are_kept_apart(tmp_path: Path) -> None:
    engines.require_engine("libreoffice")
    paths = []
    for number in (1, 2):
        book = openpyxl.Workbook()
        book.worksheets[0]["A1"] = f"={number}+1"
        paths.append(tmp_path / str(number) / "same.xlsx")
        paths[-1].parent.mkdir()
        book.save(paths[-1])
    assert engines.libreoffice_values(paths) == [{"Sheet": {"A1": 2}}, {"Sheet": {"A1": 3}}]


def test_a_file_that_libreoffice_cannot_read_is_noticed(tmp_path: Path) -> None:
    engines.require_engine("libreoffice")
    path = tmp_path / "broken.xlsx"
    path.write_bytes(b"PK no workbook")
    with pytest.raises(engines.EngineFailure, match=r"could not convert .*broken\.xlsx"):
        engines.libreoffice_resaved(path, tmp_path)


def test_a_variant_starts_from_the_file_as_it_is(tmp_path: Path) -> None:
    engines.require_engine("ironcalc")
    book = data_book()
    sheet = book["data"]
    sheet["H1"], sheet["H2"], sheet["H3"] = "=SUM(A1:A5)", '=COUNTIF(C1:C5,"k")', "=H1*10"
    path = tmp_path / "base.xlsx"
    book.save(path)
    variants: list[list[engines.Edit]] = [
        [("data", "A1", 100)],
        [("data", "C2", "k")],
        [("data", "A1", None), ("data", "A1", 2)],
        [("data", "H1", 7)],
        [],
    ]
    found = engines.ironcalc_variants(path, variants, {"data": ["H1", "H2", "H3"]})
    assert [list(values["data"].values()) for values in found] == [
        [114, 2, 1140],
        [15, 3, 150],
        [16, 2, 160],
        [7, 2, 70],
        [15, 2, 150],
    ]


def test_cells_filled_by_an_array_formula_count_as_formula_cells(tmp_path: Path) -> None:
    engines.require_engine("ironcalc")
    book = data_book()
    book["data"]["H1"] = ArrayFormula("H1:I2", "=MINVERSE(F1:G2)")
    path = tmp_path / "array.xlsx"
    book.save(path)
    (values,) = engines.ironcalc_values([path])
    # ((1, 2), (3, 5)) times ((-5, 2), (3, -1)) is the unit matrix.
    assert engines.compare({"data": {"H1": -5, "I1": 2, "H2": 3, "I2": -1}}, values, rel=1e-12) == []


def test_an_engine_that_runs_out_of_time_is_stopped(false_book: Path) -> None:
    engines.require_engine("ironcalc")
    with pytest.raises(engines.EngineFailure, match=r"no answer in 0\.001 s"):
        engines.ironcalc_values([false_book], timeout=0.001)


def test_a_missing_engine_is_skipped_on_a_desk_and_fails_in_ci(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    monkeypatch.delenv("CI", raising=False)
    with pytest.raises(pytest.skip.Exception, match="libreoffice is not installed"):
        engines.require_engine("libreoffice")
    monkeypatch.setenv("CI", "true")
    for engine in ("libreoffice", "poppler"):
        with pytest.raises(pytest.fail.Exception, match=f"{engine} is not installed"):
            engines.require_engine(engine)


def test_a_printed_workbook_has_pages_with_text_and_pictures(functions_book: Path, tmp_path: Path) -> None:
    engines.require_engine("libreoffice")
    engines.require_engine("poppler")
    pdf = engines.libreoffice_pdf(functions_book, tmp_path / "printed")
    texts = engines.pdf_page_texts(pdf)
    pictures = engines.pdf_pages_png(pdf, tmp_path / "pages")
    assert pdf.name == "functions.pdf"
    assert len(pictures) == len(texts) >= 1
    assert "less" in "".join(texts)
    assert all(picture.read_bytes().startswith(b"\x89PNG") for picture in pictures)


@pytest.mark.parametrize(
    ("expected", "found"),
    [
        (1.0, 1.0 + 5e-10),
        (0.0, 1e-16),
        (None, ""),
        ("", None),
        ("k", "k"),
        (date(1900, 3, 1), 61),
        (True, True),
    ],
)
def test_values_that_agree(expected: object, found: object) -> None:
    assert engines.compare({"s": {"A1": expected}}, {"s": {"A1": found}}) == []


@pytest.mark.parametrize(
    ("expected", "found"),
    [(1.0, 1.0 + 5e-9), (0.0, 1e-12), (0, None), ("k", "K"), ("1", 1), (1, True), (float("nan"), 1.0)],
)
def test_values_that_disagree(expected: object, found: object) -> None:
    (fault,) = engines.compare({"s": {"A1": expected}}, {"s": {"A1": found}})
    assert fault.startswith(f"s!A1: expected {expected!r}, found {found!r}")


@pytest.mark.parametrize(
    ("formula", "fault"),
    [
        ("=_xlfn.STDEV.S(A1:A5)", "function _XLFN.STDEV.S"),
        ('=TEXT(A1,"0.0E+00")', "function TEXT"),
        ("=SUM(A1:INDEX(A1:A5,3))", "function A1:INDEX"),
        ("=constant*2", "operand constant"),
        ("=[1]data!A1", "operand [1]data!A1"),
        ("=A1+#REF!", "error #REF!"),
    ],
)
def test_an_unsafe_formula_is_named_with_its_cell(tmp_path: Path, formula: str, fault: str) -> None:
    book = data_book()
    book["data"]["H1"] = formula
    path = tmp_path / "unsafe.xlsx"
    book.save(path)
    assert unsafe_formulas(path) == [f"data!H1: {fault} in {formula}"]


def test_names_and_conditional_formats_are_looked_at(tmp_path: Path) -> None:
    book = data_book()
    book.defined_names["cells"] = DefinedName("cells", attr_text="data!$A$1:$A$5")
    book.defined_names["constant"] = DefinedName("constant", attr_text="2.5")
    book["data"]["H1"] = "=SUM(cells)"
    book["data"].conditional_formatting.add("A1:A5", Rule(type="expression", formula=["ISBLANK(A1)"]))
    path = tmp_path / "names.xlsx"
    book.save(path)
    assert unsafe_formulas(path) == [
        "name constant: stands for 2.5, not for cells",
        "data!A1:A5 (conditional format): function ISBLANK in =ISBLANK(A1)",
    ]


def test_the_safe_functions_pass(functions_book: Path) -> None:
    engines.assert_safe_formulas(functions_book)
