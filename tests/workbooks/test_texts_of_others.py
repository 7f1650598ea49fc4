"""Texts of the records are text wherever they stand: in cells, in formulas, as labels."""

from __future__ import annotations

from pathlib import Path

from tests.engines import compare, ironcalc_values, libreoffice_values, require_engine, stored_values
from tests.workbooks.books import HARBOUR, Written, evaluated, written
from ubudget.files.reading import records_from_texts
from ubudget.files.workbook_reading import read_workbook
from ubudget.pages.plan import plan_book
from ubudget.records.records import SourceText

HOSTILE = '=1+1 "quoted" #N/A & <b> ' + "long " * 40


def with_hostile_texts() -> Written:
    texts = []
    for text in written(HARBOUR).records.texts:
        content = text.text
        if text.role == "method":
            escaped = HOSTILE.replace('"', '\\"')
            content = content.replace('quantity = "recovery of the digestion"', f'quantity = "{escaped}"')
            content = content.replace('source = "control material', 'source = "=2+2 \\"said\\" control material')
        if text.role in ("samples", "readings", "solutions"):
            content = content.replace("SED-01,", "=SED-01,").replace("SED-02,", "@SED 02,")
        texts.append(SourceText(text.role, text.name, content))
    records, findings = records_from_texts(texts)
    assert records is not None, [finding.line() for finding in findings]
    evaluation = evaluated(records)
    return Written(records, evaluation, plan_book(evaluation))


def test_texts_stay_text_in_both_engines(tmp_path: Path) -> None:
    require_engine("ironcalc")
    require_engine("libreoffice")
    book = with_hostile_texts()
    assert any(result.sample == "=SED-01" for result in book.evaluation.results)
    file = book.save(tmp_path / "book.xlsx")
    stored = stored_values(file)
    (by_ironcalc,) = ironcalc_values([file], timeout=120)
    assert compare(stored, by_ironcalc) == []
    (by_libreoffice,) = libreoffice_values([file])
    assert compare(stored, by_libreoffice) == []
    records, _ = read_workbook(file)
    assert records == book.records
