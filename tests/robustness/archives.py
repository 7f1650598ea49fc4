"""Workbooks altered as somebody who means harm would: parts replaced, added, or said to be other than they are."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable, Mapping

Change = Callable[[bytes], bytes]


def altered(content: bytes, changes: Mapping[str, Change], added: Mapping[str, bytes] | None = None) -> bytes:
    """The archive with some parts changed and some added."""
    made = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as source, zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as target:
        for name in source.namelist():
            target.writestr(name, changes.get(name, bytes)(source.read(name)))
        for name, data in (added or {}).items():
            target.writestr(name, data)
    return made.getvalue()


def put(before: str, text: str) -> Change:
    """Puts a text before the first place that a pattern matches."""

    def change(data: bytes) -> bytes:
        found = re.search(before.encode(), data)
        assert found is not None, before
        return data[: found.start()] + text.encode() + data[found.start() :]

    return change


def over(pattern: str, text: str) -> Change:
    """Puts a text in place of the first that matches."""

    def change(data: bytes) -> bytes:
        changed = re.sub(pattern.encode(), lambda found: text.encode(), data, count=1)
        assert changed != data, pattern
        return changed

    return change
