"""Every file of the corpus is read, or refused with its finding, as the table `corpus` states."""

from __future__ import annotations

import csv
import hashlib
import io
import statistics
from pathlib import Path

import pytest

from tests.importing.corpus import BAD, EXPORTS, GOOD, INTENSITY, Bad, Good, mapping_text
from tests.importing.import_runs import Key, write_by_device, write_calibrated
from ubudget.errors import UnusableInput
from ubudget.files.importing import Import, import_export, write_import
from ubudget.files.reading import read_records


def rows_of(text: str) -> dict[Key, tuple[str, ...]]:
    rows = [row for row in csv.reader(io.StringIO(text)) if row][1:]
    return {(row[0], row[1], row[2]): tuple(cell for cell in row[3:] if cell) for row in rows}


def imported(case: Good | Bad, folder: Path) -> tuple[Path, Import]:
    if case.quantity == INTENSITY:
        standards = case.standards if isinstance(case, Good) else None
        run = write_calibrated(folder) if standards is None else write_calibrated(folder, standards=standards)
    else:
        run = write_by_device(folder)
    (run / "mapping.toml").write_text(mapping_text(case.mapping, case.quantity), encoding="utf-8")
    return run, import_export(EXPORTS / case.file, run)


def numbers(rows: dict[Key, tuple[str, ...]]) -> dict[Key, tuple[float, ...]]:
    return {key: tuple(map(float, values)) for key, values in rows.items()}


def test_the_corpus_is_whole() -> None:
    files = {path.name for path in EXPORTS.iterdir()}
    told = [case.file for case in (*GOOD, *BAD)]
    assert sorted(told) == sorted(files)
    assert len(files) >= 40
    assert {file for file in files if file.startswith("bad_")} == {case.file for case in BAD}


@pytest.mark.parametrize("case", GOOD, ids=lambda case: case.file)
def test_a_good_file_is_read(case: Good, tmp_path: Path) -> None:
    run, made = imported(case, tmp_path / "run")
    rows = rows_of(made.readings)
    if case.means:
        assert rows.keys() == case.expected.keys()
        for key, (mean, s, n) in rows.items():
            single = [float(value) for value in case.expected[key]]
            assert float(mean) == pytest.approx(statistics.mean(single), abs=6e-5)
            assert float(s) == pytest.approx(statistics.stdev(single), abs=6e-5)
            assert n == "3"
    elif case.loose:
        assert numbers(rows) == numbers(case.expected)
    elif case.placed:
        assert {key: values[1:] for key, values in rows.items()} == case.expected
        assert [values[0] for values in rows.values()] == [str(1 + at // 2) for at in range(len(rows))]
    else:
        assert rows == case.expected
    record = made.record
    assert (record.encoding, record.decimal) == (case.encoding, case.decimal)
    assert record.sha256 == hashlib.sha256((EXPORTS / case.file).read_bytes()).hexdigest()
    assert record.rows == record.rows_taken + record.rows_set_aside
    assert [words in one.words for words, one in zip(case.aside, made.aside, strict=True)] == [True] * len(case.aside)
    write_import(made)
    records, findings = read_records(run)
    assert records is not None, findings
    assert records.run is not None
    assert records.run.file.imports == (record,)
    left_out = [(mark.solution, mark.analyte, mark.replicate) for mark in records.run.file.exclusions]
    assert tuple(left_out) == case.excluded


@pytest.mark.parametrize("case", BAD, ids=lambda case: case.file)
def test_a_bad_file_is_refused(case: Bad, tmp_path: Path) -> None:
    with pytest.raises(UnusableInput) as refused:
        imported(case, tmp_path / "run")
    stops = [finding for finding in refused.value.findings if finding.severity == "stop"]
    assert [finding.file for finding in stops] == [case.file], stops
    (finding,) = stops
    assert case.place in finding.place
    for words in case.words.split("|"):
        assert words in finding.line()
    assert not (tmp_path / "run" / "readings.csv").exists()
