"""What staff may do wrong in a workbook with spare rows is told in words, in the cells and on reading it back."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.engines import Edit, Values, ironcalc_variants, require_engine
from tests.live_empty.filling import EXAMPLES, Filling, errors_in, example, planned, result_rows, typed, write_filled
from ubudget.bench.portions import PORTIONS
from ubudget.bench.readings import READINGS
from ubudget.errors import UnusableInput
from ubudget.files.verbs import read_run
from ubudget.files.workbook_writer import write_book
from ubudget.pages.spare_plan import FULL, SparePlan

NAME = "harbour_sediment"
RECORDS = example(NAME)
SAMPLE = "SED-05"


@pytest.fixture(scope="module")
def plan() -> SparePlan:
    return planned(read_run(EXAMPLES / NAME), 14, 7, 3, 4)


def row_of(edits: list[Edit], plan: SparePlan, sample: str) -> int:
    cells = {(c.sheet, c.address): c.fill for c in plan.fills}
    return next(
        cells[sheet, address].row
        for sheet, address, value in edits
        if value == sample and cells[sheet, address].part == "portion"
    )


def recalculated(plan: SparePlan, path: Path, edits: list[Edit]) -> Values:
    require_engine("ironcalc")
    write_book(plan.book, path, force=True)
    (values,) = ironcalc_variants(path, [edits])
    assert not errors_in(values)
    return values


Change = Callable[[Filling, int], None]
CASES: dict[str, tuple[Change, str]] = {
    "an item that the register lacks": (
        lambda filling, row: filling.put("portion", row, "flask", "F77"),
        "flask F77 is not on the sheet equipment. ",
    ),
    "no flask": (lambda filling, row: filling.put("portion", row, "flask", None), "flask missing. "),
    "no weighing": (lambda filling, row: filling.put("portion", row, "gross", None), "gross missing. "),
    "text in place of a number": (lambda filling, row: filling.put("portion", row, "tare", "12,1"), "tare missing. "),
    "a label that stands twice": (
        lambda filling, row: filling.put("portion", row, "sample", "SED-06"),
        "label given twice. ",
    ),
    "the label of a standard": (
        lambda filling, row: filling.put("portion", row, "sample", "S2"),
        "label given twice. ",
    ),
    "half a dilution": (lambda filling, row: filling.put("step", row, "pipette", "P5-1"), "see its dilution. "),
    "blank without flask": (
        lambda filling, row: filling.put("blank", 0, "flask", None),
        "first blank not complete. ",
    ),
}


@pytest.mark.parametrize("words", CASES)
def test_told_in_place_of_the_result(words: str, plan: SparePlan, tmp_path: Path) -> None:
    """The row's status says what is wrong, the results give it in place of figures, the sheet status counts it."""
    change, told = CASES[words]
    edits = typed(plan, RECORDS)
    filling, row = Filling(plan), row_of(edits, plan, SAMPLE)
    change(filling, row)
    values = recalculated(plan, tmp_path / "empty.xlsx", [*edits, *filling.edits])
    label = next((v for _, a, v in filling.edits if a == filling.cell["portion", row, "sample"].address), SAMPLE)
    rows = [cells for (sample, _), cells in result_rows(values, plan).items() if sample == label]
    waiting = [cells for cells in rows if cells["reported"] == "not available"]
    assert len(waiting) >= 4
    for cells in waiting:
        assert cells["value"] == cells["U"] == ""
        assert cells["findings that need a decision"] == told
    assert str(values["results"]["A4"]).startswith("Look at the warnings")


def test_individual_flask_used_twice_is_refused(plan: SparePlan, tmp_path: Path) -> None:
    """F50-9 is one numbered flask: its deviation would be the same in V and in the dilution (GUM 5.2)."""
    edits = typed(plan, RECORDS)
    filling, row = Filling(plan), row_of(edits, plan, "SED-07")
    filling.put("portion", row, "flask", "F50-9")
    values = recalculated(plan, tmp_path / "empty.xlsx", [*edits, *filling.edits])
    cells = next(cells for (sample, _), cells in result_rows(values, plan).items() if sample == "SED-07")
    assert cells["value"] == ""
    assert "F50-9 serves twice for this result" in str(cells["findings that need a decision"])


def test_more_rows_than_planned(plan: SparePlan, tmp_path: Path) -> None:
    """A value below the last planned row of any table is told in the cells, and stops on reading back."""
    require_engine("ironcalc")
    filled = typed(plan, RECORDS)
    firsts = {cell.fill.part: cell for cell in reversed(plan.overflow)}
    assert len(firsts) == 6
    write_book(plan.book, tmp_path / "empty.xlsx")
    variants = [[*filled, (cell.sheet, cell.address, 1.0)] for cell in firsts.values()]
    for cell, values in zip(firsts.values(), ironcalc_variants(tmp_path / "empty.xlsx", variants), strict=True):
        assert FULL in values["status"].values()
        assert FULL in values[cell.sheet].values()
        assert values["results"]["A4"] != ""
    for part, edits in zip(firsts, variants, strict=True):
        if part in (PORTIONS, READINGS):
            with pytest.raises(UnusableInput) as stopped:
                read_run(write_filled(plan, edits, tmp_path / "filled.xlsx"))
            assert any(firsts[part].address in finding.place for finding in stopped.value.findings)


@pytest.mark.parametrize(
    ("part", "row", "field", "value", "place"),
    [
        ("run", 0, "id", None, "sheet status"),
        ("run", 0, "date", None, "sheet status"),
        ("run", 0, "date", "yesterday", "sheet status"),
        ("portion", 2, "tare", "heavy", "sheet samples"),
        ("portion", 2, "sample", None, "sheet samples"),
        ("level", 1, "label", None, "sheet standards"),
        ("portion", 2, "flask", "F77", "samples.csv"),
    ],
)
def test_reading_back_tells_the_cell(
    part: str, row: int, field: str, value: object, place: str, plan: SparePlan, tmp_path: Path
) -> None:
    filling = Filling(plan)
    filling.put(part, row, field, value)
    path = write_filled(plan, [*typed(plan, RECORDS), *filling.edits], tmp_path / "filled.xlsx")
    with pytest.raises(UnusableInput) as stopped:
        read_run(path)
    assert any(place in finding.place for finding in stopped.value.findings), stopped.value.findings
    assert {finding.file for finding in stopped.value.findings} == {"filled.xlsx"}


def test_a_later_certificate_needs_a_new_workbook(plan: SparePlan, tmp_path: Path) -> None:
    """The run's day decides which certificate counts; the workbook calculates with those of the specimen's day."""
    register = RECORDS.register
    assert register is not None
    issued = min(c.issued for item in register.equipment for c in item.certificates)
    filling = Filling(plan)
    filling.put("run", 0, "date", f"{issued.year - 1}-01-05")
    path = write_filled(plan, [*typed(plan, RECORDS), *filling.edits], tmp_path / "filled.xlsx")
    with pytest.raises(UnusableInput) as stopped:
        read_run(path)
    assert any("certificate" in finding.found for finding in stopped.value.findings)


def test_altered_numbers_of_rows_are_told(plan: SparePlan, tmp_path: Path) -> None:
    """The numbers of rows belong to the fingerprint: another number would be another plan."""
    edits = [*typed(plan, RECORDS), ("record", "B8", "samples = 15; levels = 7; replicates = 3; blanks = 4")]
    with pytest.raises(UnusableInput) as stopped:
        read_run(write_filled(plan, edits, tmp_path / "filled.xlsx"))
    assert "fingerprint" in stopped.value.findings[0].found
