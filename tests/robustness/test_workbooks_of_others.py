"""Workbooks that mean harm: refused in one line, or read as data, within 5 s and 1 GB."""

from __future__ import annotations

import io
import resource
import time
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import openpyxl
import pytest

from tests.commands.running import run
from tests.robustness.archives import Change, altered, over, put
from tests.workbooks.books import EXAMPLES, written
from ubudget.errors import UnusableInput
from ubudget.files.archive_guard import BUDGET, FILL_IN, Left, Refused, guard_sheet, require_plain
from ubudget.files.letterhead_reading import read_letterhead
from ubudget.files.opening import opened
from ubudget.files.verbs import read_run
from ubudget.files.ware_form import read_ware_record
from ubudget.files.workbook_writer import book_bytes

TEMPLATES = EXAMPLES.parent / "workbook_templates" / "fill-in"
SHEET, STRINGS, STYLES = "xl/worksheets/sheet1.xml", "xl/sharedStrings.xml", "xl/styles.xml"
LONGEST, MOST_MEMORY = 5.0, 1_000_000
"""Seconds of the processor, and kB that may be added."""


@pytest.fixture(autouse=True)
def bounded() -> Iterator[None]:
    began, held = time.process_time(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    yield
    assert time.process_time() - began < LONGEST
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - held < MOST_MEMORY


def fill_in() -> bytes:
    return (TEMPLATES / "water-direct.xlsx").read_bytes()


def budget() -> bytes:
    return book_bytes(written(EXAMPLES / "published" / "quam_a2.toml").book)


def refusal(read: Callable[[], object]) -> str:
    with pytest.raises(UnusableInput) as stopped:
        read()
    lines = [finding.line() for finding in stopped.value.findings]
    assert lines and not any("\n" in line for line in lines)
    return lines[0]


def everywhere(content: Callable[[], bytes], path: Path, changes: dict[str, Change], **added: bytes) -> str:
    path.write_bytes(altered(content(), changes, {name.replace("__", "/"): data for name, data in added.items()}))
    return refusal(lambda: read_run(path))


ROWS = "".join(f"<row r='{row}'><c r='XFD{row}'><v>1</v></c></row>" for row in range(900, 2200))
HARM: dict[str, tuple[str, Change, str]] = {
    "entities": (
        SHEET,
        over("<worksheet", '<!DOCTYPE x [<!ENTITY a "aa"><!ENTITY b "&a;&a;&a;&a;">]><worksheet'),
        "document type",
    ),
    "document type of styles": (STYLES, over("<styleSheet", "<!DOCTYPE x><styleSheet"), "document type"),
    "row beyond the sheet": (SHEET, put("</sheetData>", '<row r="99999999999"/>'), "a row beyond"),
    "cell beyond the sheet": (SHEET, put("</sheetData>", '<row><c r="XFE1"/></row>'), "a place that no sheet has"),
    "cells far apart": (SHEET, put("</sheetData>", ROWS), "scattered over more than"),
    "merged cells": (SHEET, put("</worksheet>", '<mergeCell ref="A1:XFD1048576"/>'), "merged cells or links over more"),
    "links": (SHEET, put("</worksheet>", '<hyperlink ref="A1:XFD1048576"/>'), "merged cells or links over more"),
    "many cells": (SHEET, put("</sheetData>", f"<row>{'<c/>' * 16_000}</row>" * 40), "more than 300,000 cells"),
    "many rules": (SHEET, put("</worksheet>", "<x/>" * 200_001), "rules, styles or other entries"),
    "one giant text": (
        SHEET,
        put("</sheetData>", f"<row><c><is><t>{'x ' * 2_000_000}</t></is></c></row>"),
        "a text of",
    ),
    "many styles": (STYLES, put("</cellXfs>", "<xf/>" * 200_001), "rules, styles or other entries"),
    "comments before it begins": (
        SHEET,
        over("<worksheet", f"{'<!-- x -->' * 400_000}<worksheet"),
        "nothing but comments",
    ),
}


@pytest.mark.parametrize("case", HARM)
def test_harm_in_a_part(case: str, tmp_path: Path) -> None:
    name, change, found = HARM[case]
    assert found in everywhere(fill_in, tmp_path / "book.xlsx", {name: change})


@pytest.mark.parametrize("case", [case for case in HARM if HARM[case][0] == STYLES or case == "entities"])
def test_harm_to_a_budget_workbook(case: str, tmp_path: Path) -> None:
    name, change, found = HARM[case]
    assert found in everywhere(budget, tmp_path / "book.xlsx", {name: change})


def test_harm_to_the_sheet_of_records(tmp_path: Path) -> None:
    """It is looked through before it is read: rows and places that would keep a reader walking."""
    record = openpyxl.load_workbook(io.BytesIO(budget()), read_only=True)["record"]._worksheet_path
    for case in ("row beyond the sheet", "cells far apart"):
        _, change, found = HARM[case]
        assert found in everywhere(budget, tmp_path / "book.xlsx", {record: change})


def test_shared_texts_without_end(tmp_path: Path) -> None:
    texts = b"<sst>" + b"".join(b"<si><t>%d</t></si>" % number for number in range(FILL_IN.cells)) + b"</sst>"
    content = altered(fill_in(), {}, {"xl/more.xml": texts})
    assert "more than 300,000 cells" in opened(io.BytesIO(content))[1]
    with pytest.raises(Refused, match="more than 400 MB"):
        Left(BUDGET).take(0, BUDGET.read + 1)


def test_a_bomb_is_not_unpacked(tmp_path: Path) -> None:
    """Zeros packed a thousandfold, and an archive that says of itself that it is larger than any of ours."""
    path = tmp_path / "book.xlsx"
    path.write_bytes(altered(budget(), {}, {"xl/media/zeros.bin": bytes(60_000_000)}))
    assert "more than 250 times" in refusal(lambda: read_run(path))
    assert "250 times" in refusal(lambda: read_letterhead(path))
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/a.bin", b"")
        archive.filelist[0].file_size = 3_000_000_000
    assert "unpacks to more than" in refusal(lambda: read_run(path))


def test_sizes_that_the_archive_understates_end_there(tmp_path: Path) -> None:
    """A part gives no more bytes than the archive says it has."""
    path = tmp_path / "book.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/a.xml", b"<a>" + b" " * 50_000_000)
        archive.filelist[0].file_size = 10
    assert "no readable workbook" in refusal(lambda: read_run(path))


@pytest.mark.parametrize("name", ["../../etc/x", "/etc/x", "a\\..\\x", "xl/styles.xml", "XL/Styles.xml", "a/\x07"])
@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_names_of_parts(name: str, tmp_path: Path) -> None:
    path = tmp_path / "book.xlsx"
    path.write_bytes(altered(fill_in(), {}, {name: b"<x/>"}))
    assert "an archive " in refusal(lambda: read_run(path))
    assert not (tmp_path.parent.parent / "etc").exists()


def test_macros_and_links_to_other_files_are_left_alone(tmp_path: Path) -> None:
    """An .xlsm under another name: macros are neither run nor kept, and a linked file is not opened."""
    path = tmp_path / "book.xlsx"
    kinds = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    relation = f'<Relationship Id="rId99" Type="{kinds}/%s" Target="%s" %s/>'
    links = relation % ("externalLink", "file:///etc/passwd", 'TargetMode="External"') + relation % (
        "vbaProject",
        "vbaProject.bin",
        "",
    )
    change = {"xl/_rels/workbook.xml.rels": put("</Relationships>", links)}
    path.write_bytes(altered(budget(), change, {"xl/vbaProject.bin": b"\x00macro"}))
    assert read_run(path) == written(EXAMPLES / "published" / "quam_a2.toml").records


def test_wrong_endings_and_cut_files(tmp_path: Path) -> None:
    content, path = fill_in(), tmp_path / "book.xlsx"
    for length in range(0, len(content), len(content) // 12):
        path.write_bytes(content[:length])
        assert "book.xlsx" in refusal(lambda: read_run(path))
    for other in (b"", b"[run]\n", b"%PDF-1.7", bytes.fromhex("d0cf11e0a1b11ae1") + bytes(600), b"<html></html>"):
        path.write_bytes(other)
        assert "no readable workbook" in refusal(lambda: read_run(path))
    (tmp_path / "run.toml").write_bytes(content)
    assert "a workbook or archive" in refusal(lambda: read_run(tmp_path / "run.toml"))


def test_all_readers_of_workbooks_stand_behind_the_guard(tmp_path: Path) -> None:
    path = tmp_path / "book.xlsx"
    path.write_bytes(altered(fill_in(), {SHEET: HARM["entities"][1]}))
    assert "document type" in refusal(lambda: read_letterhead(path))
    text, findings, _ = read_ware_record(path)
    assert text is None and "document type" in findings[0].found
    done = run("evaluate", path, folder=tmp_path)
    assert done.status == 2 and done.err.count("\n") == 1 and "document type" in done.err


def test_a_document_type_in_another_encoding() -> None:
    """Looked for by a parser, not by its letters: in UTF-16 they are others (XML 1.0, appendix F)."""
    text = '<?xml version="1.0" encoding="UTF-16"?><!DOCTYPE x [<!ENTITY a "b">]><x>&a;</x>'
    with pytest.raises(Refused):
        require_plain(text.encode("utf-16"))
    require_plain("<x>&lt;!DOCTYPE</x>".encode("utf-16"))


def test_bounds_leave_room_for_our_own(tmp_path: Path) -> None:
    """The largest of the shipped workbooks uses a fiftieth of what is accepted."""
    path = written(EXAMPLES / "harbour_sediment").save(tmp_path / "book.xlsx")
    with zipfile.ZipFile(path) as archive:
        parts = archive.infolist()
        left = Left(BUDGET)
        for part in parts:
            with archive.open(part) as stream:
                guard_sheet(stream, left)
    assert sum(part.file_size for part in parts) < 60 * sum(part.compress_size for part in parts)
    assert BUDGET.cells - left.cells < BUDGET.cells / 50 and BUDGET.read - left.read < BUDGET.read / 50
    assert FILL_IN.cells > 100_000
