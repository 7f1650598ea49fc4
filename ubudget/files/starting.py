"""Folders to begin with: the shipped example, and patterns to fill in.

Nothing that a person may have written is replaced unasked: every file is compared before the first one is written.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path

from ubudget.errors import NotWritable, OutputExists, UbudgetError, UnusableInput
from ubudget.files.atomic import is_part, replace_file, replace_files
from ubudget.files.fill_in_writing import fill_in_bytes
from ubudget.files.letterhead import PLAIN, Letterhead
from ubudget.files.reading import read_records
from ubudget.files.shipped import shipped_folder

EXAMPLE = "harbour_sediment"
BOOK = "budget.xlsx"
"""The workbook that the demonstration writes beside the example's files."""


def lay_down_example(folder: Path, *, force: bool = False) -> None:
    """Copies the shipped example into a folder, without the picture that is made of it.

    A folder that holds nothing but unchanged files of the example (and its workbook) is renewed; any other raises
    `OutputExists`, unless `force`. Raises `NotWritable`."""
    files = {
        name: content
        for name, content in _contents(shipped_folder("worked_examples") / EXAMPLE).items()
        if not name.endswith(".png")
    }
    if not force:
        _refuse_foreign(folder, files)
    write_files(folder, files)


def write_book_bytes(folder: Path, content: bytes, *, force: bool = False) -> Path:
    """Writes the workbook of the example; one that differs from `content` is replaced by force only."""
    path = folder / BOOK
    same = path.is_file() and path.read_bytes() == content
    if not same:
        replace_file(path, content, force=force)
    return path


def patterns() -> dict[str, str]:
    """Name and title of each pattern, in the order of their names."""
    home = shipped_folder("worked_examples") / "patterns"
    return {folder.name: _title(folder) for folder in sorted(home.iterdir()) if (folder / "method.toml").is_file()}


def lay_down_pattern(name: str, folder: Path, *, force: bool = False) -> list[Path]:
    """Copies the files of a pattern into a folder and gives their paths.

    Raises `UbudgetError` for an unknown name, `OutputExists` where a file is there already and `force` is false."""
    files = _contents(_pattern_folder(name))
    if not force:
        refuse_existing(folder, files)
    write_files(folder, files)
    return [folder / file for file in files]


def lay_down_pattern_workbook(name: str, folder: Path, *, force: bool = False, letterhead: Letterhead = PLAIN) -> Path:
    """Writes a pattern as one fill-in workbook into a folder and gives its path.

    Raises as `lay_down_pattern` does."""
    path = folder / f"{name}.xlsx"
    content = pattern_workbook(name, letterhead)
    if not force:
        refuse_existing(folder, {path.name: content})
    write_files(folder, {path.name: content})
    return path


def pattern_workbook(name: str, letterhead: Letterhead = PLAIN) -> bytes:
    """A pattern as a fill-in workbook. Raises `UbudgetError` for an unknown name."""
    folder = _pattern_folder(name)
    records, findings = read_records(folder if (folder / "run.toml").is_file() else folder / "method.toml")
    if records is None:
        raise UnusableInput(findings)
    return fill_in_bytes(records, letterhead)


def _pattern_folder(name: str) -> Path:
    known = patterns()
    if name not in known:
        raise UbudgetError(
            f"pattern {name}: there is no such pattern; accepted: {', '.join(known)}; choose one of them"
        )
    return shipped_folder("worked_examples") / "patterns" / name


def _contents(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in sorted(folder.iterdir()) if file.is_file()}


def _title(folder: Path) -> str:
    document = tomllib.loads((folder / "method.toml").read_text(encoding="utf-8"))
    return str(document["method"]["title"])


def _refuse_foreign(folder: Path, files: Mapping[str, bytes]) -> None:
    for path in sorted(folder.iterdir()) if folder.is_dir() else ():
        if (path.name == BOOK and path.is_file()) or is_part(path):
            continue
        if path.name not in files or path.is_symlink() or not path.is_file():
            raise OutputExists(
                f"{path}: found in the folder; a new folder is needed, or one that an earlier demo made and nobody "
                "changed; name another folder, or give --force to write beside it"
            )
        if path.read_bytes() != files[path.name]:
            raise OutputExists(
                f"{path}: changed since the demo made it; a new folder is needed, or one that nobody changed; "
                "name another folder, or give --force to replace the file"
            )


def refuse_existing(folder: Path, files: Mapping[str, bytes]) -> None:
    """Raises `OutputExists` where one of the files is there already."""
    for name in files:
        if (folder / name).exists() or (folder / name).is_symlink():
            raise OutputExists(
                f"{folder / name}: the file exists already; a folder without it is needed; name another folder, or "
                "give --force to replace the file"
            )


def write_files(folder: Path, files: Mapping[str, bytes]) -> None:
    """Writes files into a folder, which is made where it is missing. Raises `NotWritable`."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as refusal:
        raise NotWritable(
            f"{folder}: no such folder can be made ({refusal.strerror or refusal}); a place that you may write to "
            "is needed; choose another"
        ) from refusal
    replace_files({folder / name: content for name, content in files.items()}, force=True)
