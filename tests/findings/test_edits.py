"""Edits of a workbook put back into the records; the original texts stay."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from tests.findings.small_run import FILES, replaced, write_run
from ubudget.evaluation.evaluate import evaluate
from ubudget.files.editing import edited_amount
from ubudget.files.exclusion_edits import NO_REASON
from ubudget.files.reading import read_records, records_from_texts
from ubudget.pages.plan import plan_book
from ubudget.pages.record_sheet import open_cells
from ubudget.records.amount import Amount
from ubudget.records.finding import Finding
from ubudget.records.method import Input
from ubudget.records.records import Edit, Records, SourceText
from ubudget.records.run import Exclusion

ROLES = ("run", "method", "register", "samples", "solutions", "readings")
TEXTS = tuple(SourceText(role, name, text) for role, (name, text) in zip(ROLES, FILES.items(), strict=True))
RECOVERY = ("symbols", "R")
MARK = ("SED-01", "Zn", "213.9", 2)


def _edited(*edits: Edit) -> tuple[Records, list[Finding]]:
    records, findings = records_from_texts(TEXTS, edits)
    assert records is not None, "\n".join(finding.line() for finding in findings)
    assert records.edits == edits
    assert records.texts == TEXTS
    return records, findings


def _refused(edit: Edit) -> Finding:
    records, findings = records_from_texts(TEXTS, (edit,))
    assert records is None
    return findings[0]


def _exclusions(records: Records) -> list[Exclusion]:
    assert records.run is not None
    return list(records.run.file.exclusions)


def _recovery(records: Records) -> Input:
    symbol = records.method.symbols["R"]
    assert isinstance(symbol, Input)
    return symbol


def test_texts_without_edits_are_the_folder(tmp_path: Path) -> None:
    from_disk, _ = read_records(write_run(tmp_path))
    records, findings = records_from_texts(TEXTS)
    assert findings == []
    assert records is not None and from_disk is not None
    assert records.method == from_disk.method
    assert records.run == from_disk.run
    assert records.register == from_disk.register


def test_amount_with_unit_stays_text() -> None:
    path = ("equipment", 1, "tolerance")
    records, _ = _edited(Edit("register", path, 0.08, "mL"))
    assert records.register is not None
    assert records.register.equipment[1].tolerance == Amount(0.08, "mL", "0.08 mL")


def test_old_amount_keeps_its_unit() -> None:
    records, _ = _edited(Edit("method", (*RECOVERY, "U"), 3.0))
    assert Amount(3.0, "%", "3 %") == _recovery(records).U


def test_a_plain_number_is_taken_back_in_the_unit_in_which_it_is_written() -> None:
    """1 g = 1000 mg, 1 = 100 %: the cell shows 0.9996 for either."""
    assert edited_amount("999.5 mg/g", 0.9996, "1") == "999.6 mg/g"
    assert edited_amount("99.95 %", 0.9996, "1") == "99.96 %"


def test_an_edited_purity_in_mg_per_g_reads_back(tmp_path: Path) -> None:
    text = replaced("method.toml", "estimate = 1\nU", 'estimate = "1000 mg/g"\nU')
    original, _ = read_records(write_run(tmp_path, method=text))
    assert original is not None
    evaluation, _ = evaluate(original)
    assert evaluation is not None
    (cell,) = [cell for cell in open_cells(plan_book(evaluation).sheets) if cell.origin.path == (*RECOVERY, "estimate")]
    edit = Edit("method", cell.origin.path, 0.98, cell.origin.unit)
    records, _ = records_from_texts(original.texts, (edit,))
    assert records is not None
    estimate = _recovery(records).estimate
    assert estimate is not None and estimate.text == "980 mg/g"


def test_bare_numbers_stay_numbers() -> None:
    records, _ = _edited(Edit("method", (*RECOVERY, "k"), 2.5), Edit("method", (*RECOVERY, "estimate"), 0.1 + 0.2))
    assert _recovery(records).k == 2.5
    assert _recovery(records).estimate == Amount(0.3, "", "0.3")


def test_text_and_date() -> None:
    records, _ = _edited(Edit("run", ("run", "analyst"), "B. Invented"), Edit("run", ("run", "date"), "2026-03-11"))
    assert records.run is not None
    assert records.run.file.run.analyst == "B. Invented"
    assert records.run.file.run.date.day == 11


def test_field_that_was_absent() -> None:
    records, _ = _edited(Edit("method", (*RECOVERY, "dof"), 8.0))
    assert _recovery(records).dof == 8


def test_cells() -> None:
    records, _ = _edited(
        Edit("samples", (0, "gross [g]"), 12.6, "g"),
        Edit("samples", (1, "gross"), 12_700.0, "mg"),
        Edit("readings", (4, "r2"), 0.5),
    )
    assert records.run is not None
    assert records.run.portions[0].columns["gross"] == Amount(12.6, "g", "12.6 g")
    assert records.run.portions[1].columns["gross"] == Amount(12.7, "g", "12.7 g")
    assert records.run.readings[4].values == (0.395, 0.5, 0.394)


def test_reading_left_out_with_reason() -> None:
    records, findings = _edited(
        Edit("run", ("reason", *MARK), "spike"),
        Edit("run", ("when", *MARK), "2026-03-12"),
        Edit("run", ("include", *MARK), 0.0),
        Edit("run", ("who", *MARK), "analyst 1"),
    )
    assert findings == []
    assert _exclusions(records)[1] == Exclusion(
        solution="SED-01",
        analyte="Zn",
        line="213.9",
        replicate=2,
        reason="spike",
        who="analyst 1",
        when=dt.date(2026, 3, 12),
    )


def test_reading_left_out_without_name_and_date_asks_for_attention() -> None:
    # ISO/IEC 17025:2017, 7.5.2: amendments show date and personnel responsible.
    _, findings = _edited(Edit("run", ("reason", *MARK), "spike"), Edit("run", ("include", *MARK), 0.0))
    assert [finding.found for finding in findings] == ["a reading left out without the name of who did it and the date"]


def test_a_date_that_is_none_is_refused() -> None:
    edits = (Edit("run", ("include", *MARK), 0.0), Edit("run", ("when", *MARK), "last week"))
    records, findings = records_from_texts(TEXTS, edits)
    assert records is None
    assert "when" in findings[0].place and "last week" in findings[0].found


def test_reading_left_out_without_reason_asks_for_attention() -> None:
    records, findings = _edited(Edit("run", ("include", *MARK), 0.0))
    assert _exclusions(records)[1].reason == NO_REASON == "no reason given in the workbook"
    assert [finding.severity for finding in findings] == ["attend"]
    assert findings[0].place == "exclude_reading SED-01 Zn 213.9 replicate 2"


def test_reading_taken_back() -> None:
    records, findings = _edited(Edit("run", ("include", "SED-02", "Zn", "213.9", 3), 1.0))
    assert findings == []
    assert _exclusions(records) == []


def test_reason_changed() -> None:
    records, _ = _edited(Edit("run", ("reason", "SED-02", "Zn", "213.9", 3), "dirt on the window"))
    assert _exclusions(records)[0].reason == "dirt on the window"


def test_reason_alone_asks_for_attention() -> None:
    _, findings = _edited(Edit("run", ("reason", *MARK), "spike"))
    assert [finding.severity for finding in findings] == ["attend"]


def test_edits_that_fit_no_field() -> None:
    for edit in (
        Edit("register", ("equipment", 9, "tolerance"), 1.0),
        Edit("register", ("equipment",), 1.0),
        Edit("register", (), 1.0),
        Edit("samples", (9, "gross"), 1.0),
        Edit("samples", (0, "weight"), 1.0),
        Edit("samples", ("gross", 0), 1.0),
        Edit("samples", (0, "gross [g]"), 1.0, "mL"),
        Edit("run", ("include", "SED-01"), 0.0),
    ):
        assert _refused(edit).remedy == "make the workbook anew from the records"


def test_edits_are_checked_like_any_input() -> None:
    assert "zero or negative" in _refused(Edit("register", ("equipment", 1, "tolerance"), 0.0, "mL")).found
    assert "no mass above zero" in _refused(Edit("samples", (0, "gross"), 1.0, "g")).found
    assert "include mark" in _refused(Edit("run", ("include", *MARK), 2.0)).place
