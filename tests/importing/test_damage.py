"""Drawn damage to exports and mappings: a finding or readings, never an exception of another kind."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.importing.corpus import EXPORTS, GOOD, INTENSITY, Good, mapping_text
from tests.importing.import_runs import write_by_device, write_calibrated
from ubudget.errors import UnusableInput
from ubudget.files.importing import import_export
from ubudget.files.suggesting import suggested

PIECES = (
    b"",
    b";",
    b",",
    b"\t",
    b'"',
    b"\n",
    b"\x00",
    b"\xff",
    b"-",
    b"1e999",
    b"*",
    b"<",
    b"\xc2\xb5",
    b"Sample:",
    b"#2",
)


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("damage")
    return {"intensity": write_calibrated(folder / "one"), "concentration": write_by_device(folder / "other")}


def attempt(case: Good, mapping: dict[str, Any], content: bytes, folder: Path) -> None:
    export = folder / "export.txt"
    export.write_bytes(content)
    (folder / "mapping.toml").write_text(mapping_text(mapping, case.quantity), encoding="utf-8")
    try:
        made = import_export(export, folder)
    except UnusableInput as refused:
        assert any(finding.severity == "stop" for finding in refused.findings)
        for finding in refused.findings:
            assert "\n" not in finding.line() and len(finding.line()) < 1500
    else:
        assert made.record.rows == made.record.rows_taken + made.record.rows_set_aside
        json.dumps(made.readings)


damage = st.lists(st.tuples(st.floats(0, 1), st.integers(0, 12), st.sampled_from(PIECES)), min_size=1, max_size=4)


@settings(max_examples=100, deadline=None)
@given(case=st.sampled_from(GOOD), hurt=damage)
def test_damaged_exports(folders: dict[str, Path], case: Good, hurt: list[tuple[float, int, bytes]]) -> None:
    content = (EXPORTS / case.file).read_bytes()
    for where, length, piece in hurt:
        at = int(where * len(content))
        content = content[:at] + piece + content[at + length :]
    attempt(case, case.mapping, content, folders[case.quantity])


@settings(max_examples=60, deadline=None)
@given(case=st.sampled_from(GOOD), other=st.sampled_from(GOOD), key=st.data())
def test_mappings_of_other_files(folders: dict[str, Path], case: Good, other: Good, key: st.DataObject) -> None:
    """A file read by the mapping of another one, or by one that lacks an entry."""
    mapping = {**other.mapping, "columns": dict(other.mapping["columns"])}
    if key.draw(st.booleans()):
        del mapping["columns"][key.draw(st.sampled_from(sorted(mapping["columns"])))]
    attempt(case, mapping, (EXPORTS / case.file).read_bytes(), folders[INTENSITY])


@pytest.mark.parametrize("file", sorted(path.name for path in EXPORTS.iterdir()))
def test_a_suggestion_for_every_file(folders: dict[str, Path], file: str) -> None:
    try:
        made = suggested(EXPORTS / file, folders[INTENSITY])
    except UnusableInput as refused:
        assert refused.findings
    else:
        assert made.open[0].startswith("already_applied")
        assert "already_applied" not in made.document
