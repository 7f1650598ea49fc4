"""The report of an import for a terminal: what was read, how, and what was set aside."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ubudget.pages.listing import WIDTH, wrapped
from ubudget.records.import_record import ImportRecord


def report_lines(
    record: ImportRecord, about: Sequence[tuple[str, str]], lists: Sequence[tuple[str, Sequence[str]]]
) -> Iterator[str]:
    """The record first, then `about` (name, words), then each list under its name where it holds something."""
    entries = [
        ("file", record.file),
        ("SHA-256", record.sha256),
        ("mapping", record.mapping),
        ("encoding", record.encoding),
        ("separator", record.separator),
        ("decimal sign", record.decimal),
        ("quantity", record.quantity),
        ("applied before", ", ".join(record.already_applied) or "nothing, as the mapping declares"),
        *about,
        ("rows of data", f"{record.rows}: {record.rows_taken} taken, {record.rows_set_aside} set aside"),
        ("values", f"{record.values_taken} taken, {record.values_set_aside} set aside"),
    ]
    for name, words in entries:
        yield from wrapped(words, f"{name:<16}", " " * 16, WIDTH)
    for name, texts in (("units", record.units), *lists, ("set aside", record.set_aside)):
        if texts:
            yield ""
            yield f"{name}:"
            for text in texts:
                yield from wrapped(text, "  ", "    ", WIDTH)
