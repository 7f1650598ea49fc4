"""Set volumes, certificates at several points and densities by matrix, by way of a workbook to fill in and back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.fill_in.workbooks import records_of
from tests.volumes.set_pipettes import texts
from tests.weighing.test_errors_by_load import NOT_CORRECTED, SINGLE, by_load
from tests.weighing.test_sample_densities import MATRICES, MIXED, run
from tests.weighing.weighing_runs import weighing_run
from ubudget.files.converting import write_fill_in, write_folder
from ubudget.files.fill_in_reading import read_fill_in
from ubudget.records.records import Records


def set_pipettes(folder: Path) -> Path:
    for text in texts():
        (folder / text.name).write_text(text.text, encoding="utf-8")
    return folder


RUNS = {
    "set pipettes": set_pipettes,
    "errors by load": lambda folder: weighing_run(folder, balance=SINGLE + NOT_CORRECTED + by_load()),
    "density of each matrix": lambda folder: run(folder, MATRICES),
    "density of each sample": lambda folder: run(folder, MIXED),
}


@pytest.mark.parametrize("name", RUNS)
def test_records_are_the_same_by_way_of_a_workbook(name: str, tmp_path: Path) -> None:
    folder = tmp_path / "run"
    folder.mkdir()
    records = records_of(RUNS[name](folder))
    write_fill_in(records, tmp_path / "filled.xlsx")
    again, findings = read_fill_in(tmp_path / "filled.xlsx")
    assert again is not None, [finding.line() for finding in findings]
    assert _bare(again) == _bare(records)
    write_folder(again, tmp_path / "back")
    assert _bare(records_of(tmp_path / "back")) == _bare(records)


def _bare(records: Records) -> Records:
    return replace(records, texts=(), findings=())
