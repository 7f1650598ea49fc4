"""Ware named in the samples table is looked up for samples and for blanks, also where one column serves both."""

from __future__ import annotations

import pytest

from tests.workbooks.books import HARBOUR, written
from ubudget.files.reading import records_from_texts
from ubudget.records.records import SourceText


@pytest.mark.parametrize("sample", ["SED-03", "BL-2"])
def test_an_unknown_flask_is_one_clear_stop(sample: str) -> None:
    texts = []
    for text in written(HARBOUR).records.texts:
        lines = text.text.split("\n")
        if text.role == "samples":
            lines = [line.replace(",F50,", ",F55,") if line.startswith(f"{sample},") else line for line in lines]
        texts.append(SourceText(text.role, text.name, "\n".join(lines)))
    records, findings = records_from_texts(texts)
    assert records is None
    (finding,) = findings
    assert (finding.severity, finding.file) == ("stop", "samples.csv")
    assert sample in finding.place and "F55" in finding.found
