"""Files that are missing, misplaced, of another encoding or far too large."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.findings.small_run import FILES, RUN, replaced, write_run
from ubudget.files.reading import LARGEST_TABLE, read_records
from ubudget.records.finding import Finding


def _only(path: Path) -> Finding:
    records, findings = read_records(path)
    assert records is None
    assert len(findings) == 1, "\n".join(finding.line() for finding in findings)
    assert findings[0].severity == "stop"
    return findings[0]


def test_path_that_does_not_exist(tmp_path: Path) -> None:
    assert _only(tmp_path / "nowhere.toml").found == "no such file"


def test_path_that_the_system_refuses() -> None:
    for name in ("a\0b", "x" * 5000):
        assert _only(Path(name)).severity == "stop"


def test_folder_without_run_file(tmp_path: Path) -> None:
    finding = _only(tmp_path)
    assert finding.file == "run.toml"
    assert "holds run.toml" in finding.remedy


def test_run_file_given_instead_of_its_folder(tmp_path: Path) -> None:
    records, findings = read_records(write_run(tmp_path) / "run.toml")
    assert records is not None
    assert findings == []


@pytest.mark.parametrize("name", [name for name in FILES if name != "run.toml"])
def test_each_file_missing(name: str, tmp_path: Path) -> None:
    (write_run(tmp_path) / name).unlink()
    finding = _only(tmp_path)
    assert (finding.file, finding.found) == (name, "no such file")


@pytest.mark.parametrize("name", list(FILES))
def test_each_file_a_folder(name: str, tmp_path: Path) -> None:
    (write_run(tmp_path) / name).unlink()
    (tmp_path / name).mkdir()
    finding = _only(tmp_path)
    assert (finding.file, finding.found) == (name, "a folder")


@pytest.mark.parametrize("name", list(FILES))
def test_each_file_empty(name: str, tmp_path: Path) -> None:
    (write_run(tmp_path) / name).write_bytes(b"")
    records, findings = read_records(tmp_path)
    assert records is None
    assert {finding.file for finding in findings} == {name}


@pytest.mark.parametrize("name", list(FILES))
def test_each_file_in_utf_16(name: str, tmp_path: Path) -> None:
    (write_run(tmp_path) / name).write_bytes(FILES[name].encode("utf-16"))
    finding = _only(tmp_path)
    assert (finding.file, finding.found) == (name, "text in UTF-16")
    assert "UTF-8" in finding.remedy


def test_latin_1(tmp_path: Path) -> None:
    (write_run(tmp_path) / "run.toml").write_bytes(RUN.replace("Invented", "Müller").encode("latin-1"))
    finding = _only(tmp_path)
    assert (finding.place, finding.found) == ("line 5", "bytes that are not UTF-8")


def test_workbook_given_as_run_file(tmp_path: Path) -> None:
    path = tmp_path / "book.xlsx"
    path.write_bytes(b"PK\x03\x04\xff\xfe\xfd")
    assert _only(path).found == "a workbook or archive"


def test_byte_order_mark_and_carriage_returns_are_accepted(tmp_path: Path) -> None:
    write_run(tmp_path)
    for name, text in FILES.items():
        (tmp_path / name).write_bytes(text.replace("\n", "\r\n").encode("utf-8-sig"))
    records, findings = read_records(tmp_path)
    assert findings == []
    assert records is not None
    assert {text.name: text.text for text in records.texts} == FILES


def test_huge_file_is_refused_by_its_size(tmp_path: Path) -> None:
    with (write_run(tmp_path) / "readings.csv").open("r+b") as file:
        file.truncate(LARGEST_TABLE + 1)  # a sparse file takes no space
    finding = _only(tmp_path)
    assert (finding.file, finding.accepted) == ("readings.csv", "a plain file of at most 20 MB")


def test_neither_run_nor_method(tmp_path: Path) -> None:
    path = tmp_path / "other.toml"
    path.write_text("title = 1\n", encoding="utf-8")
    assert "[run]" in _only(path).accepted


def test_register_outside_the_run_folder(tmp_path: Path) -> None:
    folder = tmp_path / "run"
    folder.mkdir()
    write_run(folder, run=replaced("run.toml", '"register.toml"', '"../common/lab.toml"'))
    (tmp_path / "common").mkdir()
    (folder / "register.toml").rename(tmp_path / "common" / "lab.toml")
    records, findings = read_records(folder)
    assert findings == []
    assert records is not None
    assert records.file("register") == "lab.toml"


def test_files_of_a_broken_run_file_are_read_by_their_usual_names(tmp_path: Path) -> None:
    run = replaced("run.toml", "2026-03-10", "10.3.2026")
    _, findings = read_records(write_run(tmp_path, run=run, readings=replaced("readings.csv", "0.205", "?")))
    assert {finding.file for finding in findings} == {"run.toml", "readings.csv"}
