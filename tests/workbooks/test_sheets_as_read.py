"""What the sheets say to a reader: units, words and figures, in the plan and printed by LibreOffice."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import openpyxl
import pytest

from tests.engines import ironcalc_variants, libreoffice_pdf, libreoffice_resaved, pdf_page_texts, require_engine
from tests.typed_cells import type_into
from tests.workbooks.books import EXAMPLES, HARBOUR, PUBLISHED, written
from ubudget.files.sheet_layout import column_widths, shown_heading
from ubudget.files.workbook_reading import read_workbook
from ubudget.pages.book import Band, Book
from ubudget.pages.record_sheet import open_cells
from ubudget.quantity.spelling import column_letters
from ubudget.quantity.units import dimension


def band_of(book: Book, sheet: str, name: str) -> Band:
    page = next(page for page in book.sheets if page.name == sheet)
    return next(band for band in page.bands if band.name == name)


def column(band: Band, heading: str) -> list[object]:
    return list(next(column for column in band.columns if column.heading == heading).values)


@pytest.mark.parametrize("path", [HARBOUR, EXAMPLES / "river_manganese", *PUBLISHED], ids=lambda path: Path(path).stem)
def test_every_budget_row_has_its_unit_and_that_of_its_sensitivity_coefficient(path: Path) -> None:
    example = written(path)
    band = band_of(example.book, "budget", "budget")
    rows = zip(*(column(band, heading) for heading in ("symbol", "unit", "c", "unit of c")), strict=True)
    result = dimension(example.evaluation.results[0].unit)
    for symbol, unit, c, unit_of_c in rows:
        if symbol is None or c is None:
            continue
        # c times the quantity is in the unit of the result (JCGM 100, 5.1.3), by the package pint.
        quantity, coefficient = dimension(str(unit)), dimension(str(unit_of_c))
        assert quantity.factor * coefficient.factor == result.factor, symbol


def test_units_of_the_thermometer_calibration() -> None:
    # JCGM 100:2008, H.3: intercept in °C (as a difference: K), slope a pure number per degree of the reading.
    budget = written(EXAMPLES / "published" / "gum_h3.toml").evaluation.results[0].budget
    assert {row.symbol: row.unit for row in budget if row.contribution} == {
        "line.centroid": "K",
        "line.slope": "K/degC",
    }


def test_the_budget_lists_the_input_quantities_of_the_choice_by_their_share(tmp_path: Path) -> None:
    """One portion; a mean of two portions; a further dilution: all rows of the library's budget, without gaps."""
    require_engine("ironcalc")
    example = written(HARBOUR)
    band = band_of(example.book, "budget", "budget")
    letter = column_letters(1 + [one.heading for one in band.columns].index("symbol"))
    cells = [f"{letter}{row}" for row in range(band.first_row, band.last_row + 1)]
    wanted = [r for r in example.evaluation.results if r.sample in ("SED-01", "SED-04", "SED-07") and r.analyte == "Zn"]
    variants = [[("budget", "B4", r.sample), ("budget", "B5", f"{r.analyte} {r.line}")] for r in wanted]
    file = example.save(tmp_path / "book.xlsx")
    sizes = set()
    for result, found in zip(wanted, ironcalc_variants(file, variants, {"budget": cells}), strict=True):
        shown = [str(found["budget"][cell] or "") for cell in cells]
        symbols = [row.symbol for row in result.budget]
        shares = {row.symbol: row.share for row in result.budget}
        assert sorted(shown[: len(symbols)]) == sorted(symbols)
        assert all(shares[a] >= shares[b] - 1e-9 for a, b in pairwise(shown[: len(symbols)]))
        assert shown[len(symbols) :] == [""] * (len(cells) - len(symbols))
        sizes.add(len(symbols))
    assert len(sizes) == 3 and max(sizes) <= band.rows
    (vacant,) = (sheet for sheet in example.book.sheets if sheet.name == "budget")
    assert [highlight.look for highlight in vacant.highlights] == ["vacant"]


def test_the_sheet_of_changes_lists_the_changed_cells(tmp_path: Path) -> None:
    """A mark with its reason and a weighing are changed: what each is, as issued and as it stands; no other row."""
    require_engine("ironcalc")
    example = written(HARBOUR)
    cells = {cell.origin.path: cell for cell in open_cells(example.book.sheets)}
    key = ("SED-02", "Zn", "213.857", 2)
    mark, reason = cells["include", *key], cells["reason", *key]
    gross = next(cell for cell in cells.values() if cell.heading == "m.gross")
    edits = [(mark.sheet, mark.address, 0), (reason.sheet, reason.address, "dripped"), (gross.sheet, gross.address, 42)]
    band = band_of(example.book, "changes", "changed cells")
    rows = range(band.first_row, band.last_row + 1)
    (found,) = ironcalc_variants(
        example.save(tmp_path / "book.xlsx"), [edits], {"changes": ["C3", *(f"{c}{r}" for r in rows for c in "ABCDE")]}
    )
    values = [[found["changes"][f"{letter}{row}"] for letter in "ABCDE"] for row in rows]
    shown = [["" if value is None else value for value in row] for row in values]
    assert found["changes"]["C3"] == 3
    assert shown[0] == [f"samples, {gross.address}", gross.row_name, "m.gross", gross.value, 42]
    assert [row[0] for row in shown[1:3]] == [f"readings, {mark.address}", f"readings, {reason.address}"]
    assert [row[3:] for row in shown[1:3]] == [[1, 0], ["", "dripped"]]
    assert all(row == [""] * 5 for row in shown[3:])


def test_value_and_uncertainty_show_the_digits_of_the_reported_result(tmp_path: Path) -> None:
    """As issued and after an edit that moves the last place (U to two digits: GUM 7.2.6), printed by LibreOffice."""
    require_engine("libreoffice")
    require_engine("poppler")
    example = written(HARBOUR)
    cells = {cell.origin.path: cell for cell in open_cells(example.book.sheets)}
    precision = next(cell for path, cell in cells.items() if path[:2] == ("symbols", "d_L") and path[-1] == "relative")
    base = example.save(tmp_path / "book.xlsx")
    type_into(base, [(precision.sheet, precision.address, 15)], tmp_path / "wider.xlsx")
    moved = 0
    for file in (base, tmp_path / "wider.xlsx"):
        for line in "\n".join(pdf_page_texts(libreoffice_pdf(file, tmp_path / file.stem))).splitlines():
            # Key, sample and measured stand before; the reported interval, value and U follow.
            if found := re.search(r"(\S+) ± (\S+) +(\S+) +(\S+) +mg/kg", line):
                assert (found[1], found[2]) == (found[3], found[4]), line
                moved += 1
    assert moved == 2 * len(example.evaluation.results)


@pytest.mark.parametrize("path", [HARBOUR, EXAMPLES / "river_manganese"], ids=lambda path: Path(path).name)
def test_on_paper_titles_are_whole_and_headings_break_between_words(path: Path, tmp_path: Path) -> None:
    """LibreOffice wraps and prints; a heading broken inside a word would leave its pieces on the page, not the word."""
    require_engine("libreoffice")
    require_engine("poppler")
    example = written(path)
    pages = pdf_page_texts(libreoffice_pdf(example.save(tmp_path / "book.xlsx"), tmp_path / "printed"))
    for sheet in example.book.sheets:
        mine = [page for page in pages if page.split("\n")[0].rstrip().endswith(f"   {sheet.name}")]
        assert mine, sheet.name
        text = "\n".join(mine)
        titles = [cell.value for cell in sheet.cells if cell.style == "title"]
        last_row, last = sheet.print_to or (10**6, 10**6)
        titles += [band.title for band in sheet.bands if band.left == 1 and band.top < last_row and band.title]
        assert [title for title in titles if str(title) not in text] == [], sheet.name
        words = set(text.split())
        widths = column_widths(sheet)
        for band in sheet.bands:
            printed = enumerate(band.columns, band.left)
            headings = [shown_heading(c.heading, widths[n]) for n, c in printed if n <= last and band.top < last_row]
            missing = {word for heading in headings for word in heading.split() if word not in words}
            # Neighbours may stand so close that the text of the page joins them.
            assert [word for word in missing if word not in text] == [], (sheet.name, band.name)


def test_what_is_for_the_screen_alone_stays_off_paper() -> None:
    book = written(HARBOUR).book
    assert {sheet.name for sheet in book.sheets if sheet.pages_across != 1} <= {"traceability", "calibration"}
    computation = next(sheet for sheet in book.sheets if sheet.name == "computation")
    assert computation.print_to is not None
    assert any("left out" in str(cell.value) for cell in computation.cells)


def test_status_says_nothing_that_another_program_makes_untrue(tmp_path: Path) -> None:
    """The words on status hold before and after LibreOffice has recalculated and saved the file."""
    require_engine("libreoffice")
    file = written(HARBOUR).save(tmp_path / "book.xlsx")
    for path in (file, libreoffice_resaved(file, tmp_path / "saved")):
        rows = openpyxl.load_workbook(path)["status"].iter_rows(max_col=2, values_only=True)
        told = {str(name): str(text) for name, text in rows}
        assert "calculated by" not in told
        assert "a program that recalculates the workbook replaces them" in told["stored values"]


@pytest.mark.parametrize("words", ["to look at", "status (0", "sheet row", "one line an", "law"])
def test_the_sheets_use_the_words_of_the_trade(words: str) -> None:
    for path in (HARBOUR, EXAMPLES / "river_manganese"):
        for sheet in written(path).book.sheets:
            texts = [str(cell.value) for cell in sheet.cells if cell.style in ("label", "note", "title")]
            texts += [column.heading for band in sheet.bands for column in band.columns]
            texts += [band.title for band in sheet.bands]
            assert [text for text in texts if words in text.split(" of propagation")[0].lower()] == [], sheet.name


def test_a_result_without_value_has_a_workbook_all_the_same(tmp_path: Path) -> None:
    """The root of -1 has no value: the book is written, read back, and shows no number for it."""
    method = (
        '[method]\nid = "N"\ntitle = "t"\nversion = "1"\nstatus = "approved"\nmeasurand = "root"\nunit = "1"\n'
        'equation = "y = sqrt(x)"\n[symbols.x]\noperation = "input"\nquantity = "x"\nestimate = -1\nu = 0.1\n'
    )
    (tmp_path / "n.toml").write_text(method, encoding="utf-8")
    example = written(tmp_path / "n.toml")
    (found,) = example.evaluation.results
    assert found.value is None
    records, findings = read_workbook(example.save(tmp_path / "n.xlsx"))
    assert records is not None and findings == []
    sheet = openpyxl.load_workbook(tmp_path / "n.xlsx", data_only=True)["budget"]
    assert [sheet[f"B{row}"].value for row in (8, 9, 12)] == [None, None, None]
