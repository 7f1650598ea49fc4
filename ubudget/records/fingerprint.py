"""The fingerprint of records: over the role, name and text of each file."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import replace

from ubudget.records.records import SourceText


def fingerprint(texts: Sequence[SourceText], spare_rows: str = "") -> str:
    """SHA-256 over the records, and the numbers of spare rows where there are some, as 64 hexadecimal digits."""
    digest = hashlib.sha256()
    parts = [(text.role, text.name, text.text) for text in texts]
    for each in [*parts, ("spare rows", "", spare_rows)] if spare_rows else parts:
        for part in each:
            data = part.encode("utf-8")
            digest.update(len(data).to_bytes(8, "big") + data)
    return digest.hexdigest()


def method_fingerprint(texts: Iterable[SourceText]) -> str:
    """The same over the method alone, which a run may state as approved; its file may bear another name."""
    return fingerprint([replace(text, name="method") for text in texts if text.role == "method"])
