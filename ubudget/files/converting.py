"""Records from one form into another: text files, or one workbook to be filled in."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from pathlib import Path, PurePath

from ubudget.errors import UbudgetError, UnusableInput
from ubudget.files.atomic import replace_file
from ubudget.files.csv_text import CsvTable
from ubudget.files.editing import Document, apply_edits
from ubudget.files.fill_in_writing import documents_of_texts, fill_in_bytes, same_records
from ubudget.files.letterhead import PLAIN, Letterhead
from ubudget.files.reading import USUAL_NAMES, records_from_texts
from ubudget.files.starting import refuse_existing, write_files
from ubudget.files.toml_writing import toml_text
from ubudget.records.records import Records, Role, SourceText


def write_fill_in(records: Records, path: Path, *, force: bool = False, letterhead: Letterhead = PLAIN) -> None:
    """Writes the records as a fill-in workbook, edits of a budget workbook included.

    Raises `OutputExists`, `NotWritable`, and `UbudgetError` where they cannot be laid out."""
    replace_file(path, fill_in_bytes(with_edits_in_texts(records), letterhead), force=force)


def write_folder(records: Records, folder: Path, *, force: bool = False) -> list[Path]:
    """Writes the records as text files into a folder and gives their paths; edits of a workbook included.

    Files keep their names and texts; what comes from a workbook gets the names that the run says. Raises
    `OutputExists`, `NotWritable`."""
    files = _files(with_edits_in_texts(records))
    if not force:
        refuse_existing(folder, files)
    write_files(folder, files)
    return [folder / name for name in files]


def with_edits_in_texts(records: Records) -> Records:
    """The same records with their edits written into the texts."""
    if not records.edits:
        return records
    documents, tables = documents_of_texts(records.texts)
    together: dict[Role, Document] = {**documents, **tables}
    edited, faults = apply_edits(together, records.edits, {text.role: text.name for text in records.texts})
    texts = [SourceText(text.role, text.name, document_text(edited[text.role])) for text in records.texts]
    again, findings = records_from_texts(texts)
    if again is None:
        raise UnusableInput([*faults, *findings])
    if records.amendments and not same_records(again, records):
        raise UbudgetError(
            f"{records.name}: found cells edited that an amendment of the run changed or left out; accepted: edits of "
            "other cells; append these as amendments of their own with ubudget amend"
        )
    return again


def document_text(document: Document) -> str:
    """A document as the text of its file: TOML, or CSV for a table."""
    if not isinstance(document, CsvTable):
        return toml_text(document)
    lines = io.StringIO()
    writer = csv.writer(lines, lineterminator="\n")
    writer.writerow([heading.text for heading in document.headings])
    writer.writerows(document.rows)
    return lines.getvalue()


def _files(records: Records) -> dict[str, bytes]:
    """Texts by the name under which the run will find them."""
    texts = {text.role: text.text for text in records.texts}
    if "run" not in texts:
        return {"method.toml": texts["method"].encode()}
    documents, _ = documents_of_texts(text for text in records.texts if text.role == "run")
    sheet = documents["run"]["run"]
    names: dict[Role, str] = {role: str(sheet[role]) for role in USUAL_NAMES if role in texts}
    if not _side_by_side(names.values()):
        names = {role: USUAL_NAMES[role] for role in names}
        sheet.update(names)
        texts["run"] = toml_text(documents["run"])
    found: dict[Role, str] = {"run": "run.toml", **names}
    return {name: texts[role].encode() for role, name in found.items()}


def _side_by_side(names: Iterable[str]) -> bool:
    """Whether the names are those of different files of one folder."""
    given = ["run.toml", *(name.casefold() for name in names)]
    plain = all(PurePath(name).name == name and not set('\\/:*?"<>|') & set(name) for name in given)
    return plain and len(set(given)) == len(given)
