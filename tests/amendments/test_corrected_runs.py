"""Amendments of readings that correct others: of the drift check, by position, and of the internal standard."""

from __future__ import annotations

from typing import Any

import pytest

from tests.amendments.amended_runs import Table, amendment, bits, evaluated, read
from tests.modules.corrected_run import corrected_run
from ubudget.files.reading import read_records
from ubudget.pages.amendment_words import amended_parts
from ubudget.records.read_order import positions
from ubudget.records.records import Records

SAMPLES = ("SED-01", "SED-02", "SED-03")


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Records:
    records, findings = read_records(corrected_run(tmp_path_factory.mktemp("run")))
    assert records is not None, findings
    return records


def position_of_a_check(records: Records, turn: int) -> int:
    assert records.run is not None
    rows = zip(records.run.readings, positions(records.run), strict=True)
    return [at for reading, at in rows if (reading.solution, reading.analyte) == ("CHK", "Zn")][turn]


def out(**keys: Any) -> Table:
    return amendment("exclude", rule="assigned cause", replicate=1, **keys)


def test_a_reading_of_the_check_is_named_by_its_position(plain: Records) -> None:
    records, findings = read([out(solution="CHK", analyte="Zn")], plain.texts)
    assert records is None
    assert "position" in findings[0].accepted
    at = position_of_a_check(plain, 1)
    records, findings = read([out(solution="CHK", analyte="Zn", position=at)], plain.texts)
    assert records is not None and records.run is not None, findings
    assert [(m.solution, m.position) for m in records.run.file.exclusions] == [("CHK", at)]
    assert bits(records) != bits(plain)
    undone, _ = read([out(solution="CHK", analyte="Zn", position=at), amendment("undo", undoes=1)], plain.texts)
    assert undone is not None and bits(undone) == bits(plain)


@pytest.mark.parametrize(
    ("keys", "touched"),
    [
        ({"solution": "SED-01", "analyte": "Zn"}, {("SED-01", "Zn")}),
        ({"solution": "SED-01", "analyte": "Y"}, {("SED-01", "Zn"), ("SED-01", "Cu")}),
        ({"solution": "S1", "analyte": "Cu"}, {(sample, "Cu") for sample in SAMPLES}),
        ({"solution": "S1", "analyte": "Y"}, {(sample, analyte) for sample in SAMPLES for analyte in ("Zn", "Cu")}),
        ({"solution": "BL-1", "analyte": "Zn"}, {(sample, "Zn") for sample in SAMPLES}),
    ],
)
def test_statements_name_the_results_that_a_reading_moves(
    keys: dict[str, str], touched: set[tuple[str, str]], plain: Records
) -> None:
    """Whoever is named is also moved, by the evaluation, and nobody else is."""
    records, findings = read([out(**keys)], plain.texts)
    assert records is not None, findings
    before, after = evaluated(plain).results, evaluated(records).results
    names = [(result.sample, result.analyte, result.line or "") for result in after]
    told = {name[:2] for name, parts in zip(names, amended_parts(records, names), strict=True) if parts}
    moved = {(new.sample, new.analyte) for old, new in zip(before, after, strict=True) if old.value != new.value}
    assert told == moved == touched
