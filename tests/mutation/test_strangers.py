"""Files from strangers: refused in one line each, or told, and never worked on for long."""

from __future__ import annotations

import re
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest

from tests.mutation.mutations import SUBJECTS
from tests.mutation.real_files import part_of, rewritten
from tests.workbooks.books import EXAMPLES, written
from ubudget.errors import UnusableInput
from ubudget.files import check_reading
from ubudget.files.checking import check_workbook

SMALL = EXAMPLES / "published" / "quam_a2.toml"
TEMPLATES = EXAMPLES.parent / "workbook_templates"
Xml = Callable[[str], str]


@pytest.fixture(scope="module")
def issued(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return written(SMALL).save(tmp_path_factory.mktemp("issued") / "book.xlsx")


def refusal(path: Path) -> str:
    """The one line that is told of a file."""
    with pytest.raises(UnusableInput) as stopped:
        check_workbook(path)
    (finding,) = stopped.value.findings
    assert finding.severity == "stop" and finding.file == path.name
    assert "\n" not in finding.line()
    return finding.found


def after(opening: str, text: str) -> Xml:
    """Puts a text behind the first place that a pattern matches."""
    return lambda xml: re.sub(opening, lambda found: found[0] + text, xml, count=1)


ENTITIES = '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>'


@pytest.mark.parametrize(
    ("part", "change", "found"),
    [
        ("sheet", lambda xml: ENTITIES + xml, "document type"),
        ("xl/workbook.xml", lambda xml: ENTITIES + xml, "document type"),
        ("xl/styles.xml", lambda xml: '<!DOCTYPE styleSheet SYSTEM "http://x.invalid/">' + xml, "document type"),
        ("sheet", after("<sheetData>", '<row r="9999999"><c r="A9999999"/></row>'), "a row number 9999999"),
        ("sheet", after("<sheetData>", '<row r="1"><c r="ZZZ1"><v>1</v></c></row>'), "a cell ZZZ1"),
        ("sheet", after("<sheetData>", '<row r="1"><c r="A1" t="s"><v>7</v></c></row>'), "a text that is missing"),
        ("sheet", after("<cols>", '<col min="1" max="999999999" hidden="1"/>'), "column numbers 1 to 999999999"),
        (
            "sheet",
            after("<sheetData>", f'<row r="1"><c r="A1"><f>{"A1+" * 20_000}A1</f></c></row>'),
            "a formula of more",
        ),
        ("sheet", lambda xml: xml[: len(xml) // 2], "no readable workbook"),
        ("xl/workbook.xml", lambda xml: xml.replace("<sheets>", "<sheets>" + 300 * "<sheet/>"), "sheets"),
        ("xl/workbook.xml", lambda xml: "<document/>", "another kind of file"),
    ],
)
def test_parts_that_mean_harm(part: str, change: Xml, found: str, issued: Path, tmp_path: Path) -> None:
    name = part_of(issued, "computation") if part == "sheet" else part
    assert found in refusal(rewritten(issued, tmp_path / "harm.xlsx", {name: change}))


def test_more_than_a_workbook_of_ours_holds(issued: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Bounds made small here: cells, bytes unpacked in sheets, in other parts, number of parts, bytes packed."""
    for bound, least, found in (
        ("READ_CELLS", 500, "more than 500 cells"),
        ("LARGEST_UNPACKED", 50_000, "unpacks to more than"),
        ("LARGEST_PART", 100, "a part that unpacks to more than"),
        ("MOST_PARTS", 5, "an archive of"),
        ("LARGEST_FILE", 1_000, "a file of more than"),
    ):
        with monkeypatch.context() as patch:
            patch.setattr(check_reading, bound, least)
            assert found in refusal(issued)


def test_an_archive_that_unpacks_to_much_is_not_unpacked(issued: Path, tmp_path: Path) -> None:
    """Three gigabytes of zeros in three megabytes: what the archive states of itself is enough to refuse it."""
    bomb = tmp_path / "bomb.xlsx"
    shutil.copy(issued, bomb)
    with zipfile.ZipFile(bomb, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet99.xml", bytes(10_000_000))
        for entry in archive.filelist[-1:]:
            entry.file_size = 3_000_000_000
    assert "unpacks to more than 1,500 MB" in refusal(bomb)


def test_files_of_other_kinds(tmp_path: Path) -> None:
    (tmp_path / "text.xlsx").write_text("no archive", encoding="utf-8")
    (tmp_path / "encrypted.xlsx").write_bytes(bytes.fromhex("d0cf11e0a1b11ae1") + bytes(600))
    with zipfile.ZipFile(tmp_path / "archive.xlsx", "w") as archive:
        archive.writestr("hello.txt", "hello")
    foreign = openpyxl.Workbook()
    foreign.worksheets[0]["A1"] = "somebody's own"
    foreign.save(tmp_path / "foreign.xlsx")
    for name, found in (
        ("text.xlsx", "no readable workbook"),
        ("encrypted.xlsx", "no readable workbook"),
        ("archive.xlsx", "no readable workbook"),
        ("missing.xlsx", "no such file"),
        ("foreign.xlsx", "no sheet with the original records"),
    ):
        assert found in refusal(tmp_path / name)
    assert "a workbook to fill in" in refusal(TEMPLATES / "fill-in" / "water-direct.xlsx")


def test_truncated_files_are_refused_wherever_they_end(issued: Path, tmp_path: Path) -> None:
    content = issued.read_bytes()
    for part in range(1, 20):
        (tmp_path / "cut.xlsx").write_bytes(content[: len(content) * part // 20])
        assert "no readable workbook" in refusal(tmp_path / "cut.xlsx")


def test_damaged_bytes_never_end_in_anything_but_a_line_or_a_report(issued: Path, tmp_path: Path) -> None:
    content = bytearray(issued.read_bytes())
    for at in range(100, len(content), len(content) // 25):
        damaged = bytearray(content)
        damaged[at : at + 4] = b"\xff\x00\xff\x00"
        (tmp_path / "damaged.xlsx").write_bytes(damaged)
        try:
            check_workbook(tmp_path / "damaged.xlsx")
        except UnusableInput as refused:
            assert refused.findings


def test_macros_and_links_are_told(issued: Path, tmp_path: Path) -> None:
    file = rewritten(
        issued,
        tmp_path / "more.xlsx",
        {"xl/vbaProject.bin": str, "xl/externalLinks/externalLink1.xml": lambda xml: "<externalLink/>"},
    )
    report = check_workbook(file)
    assert [each.found for each in report.structure] == ["macros", "links to other files"]
    assert not report.intact and not report.edited_inputs and not report.broken_formulas


def test_another_layout_is_said_and_an_altered_record_is_found(issued: Path, tmp_path: Path) -> None:
    for address, value in (("B4", "99"), ("D20", "altered"), ("C20", "twelve"), ("B6", "0" * 64)):
        book = openpyxl.load_workbook(issued)
        book["record"][address] = value
        book.save(tmp_path / "altered.xlsx")
        if address == "B4":
            assert refusal(tmp_path / "altered.xlsx") == "layout version 99"
            continue
        report = check_workbook(tmp_path / "altered.xlsx")
        (entry,) = report.altered_cells
        assert (entry.sheet, entry.cell, entry.found == value) == ("record", "B6", address == "B6")
        assert not report.intact and report.not_compared
        told = check_workbook(tmp_path / "altered.xlsx", original=SMALL)
        if address == "D20":  # the run tells which line of the records was altered
            assert [(each.sheet, each.cell, each.found) for each in told.altered_cells] == [("record", "D20", value)]
            assert told.descent and not told.not_compared


def test_another_plan_is_told_beside_what_differs(issued: Path, tmp_path: Path) -> None:
    """Whoever alters the fingerprint of the plan hides nothing by it."""
    book = openpyxl.load_workbook(issued)
    book["record"]["B3"] = "1" * 64
    book.save(tmp_path / "altered.xlsx")
    assert [(each.sheet, each.cell) for each in check_workbook(tmp_path / "altered.xlsx").altered_cells] == [
        ("record", "B3")
    ]


def test_ranges_that_only_claim_to_be_large_cost_nothing(tmp_path: Path) -> None:
    """A drop-down list over a whole sheet is one range, and is told as one."""
    source = written(SUBJECTS[2]).save(tmp_path / "book.xlsx")
    rule = (
        '<dataValidations><dataValidation type="list" sqref="A1:XFD1048576"><formula1>"1"</formula1></dataValidation>'
    )
    change = after("</mergeCells>", f"{rule}</dataValidations>")
    file = rewritten(source, tmp_path / "large.xlsx", {part_of(source, "status"): change})
    (told,) = check_workbook(file).structure
    assert (told.sheet, told.found) == ("status", "A1:XFD1048576")


def test_cells_that_nothing_can_be_made_of_are_told(tmp_path: Path) -> None:
    """Numbers that are none, halves of letters, a day that no calendar has, a cell in the last row: all are told."""
    source = written(SUBJECTS[2]).save(tmp_path / "book.xlsx")
    change = {
        "E9": '<c r="E9" s="9"><v>nan</v></c>',
        "E10": '<c r="E10" s="9" t="inlineStr"><is><t>_xD800_</t></is></c>',
        "E11": '<c r="E11" s="9"><v>1e308</v></c>',
    }

    def changed(xml: str) -> str:
        for address, cell in change.items():
            xml = re.sub(rf'<c r="{address}" (s="[0-9]+")>.*?</c>', lambda m, c=cell: c.replace('s="9"', m[1]), xml)
        return xml.replace("</sheetData>", '<row r="1048576"><c r="A1048576"><v>1</v></c></row></sheetData>')

    file = rewritten(source, tmp_path / "odd.xlsx", {part_of(source, "readings"): changed})
    report = check_workbook(file)
    assert [(each.cell, each.found) for each in report.edited_inputs] == [
        ("E9", "nan"),
        ("E10", "\N{REPLACEMENT CHARACTER}"),
        ("E11", 1e308),
    ]
    assert [each.cell for each in report.altered_cells] == ["A1048576"]
    assert not report.intact
