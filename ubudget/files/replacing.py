"""Several files replaced together: all of them, or none."""

from __future__ import annotations

import os
import secrets
from collections.abc import Mapping
from pathlib import Path

from ubudget.errors import NotWritable


def replace_files(texts: Mapping[Path, bytes]) -> None:
    """Write every file beside its place first, then put all in place; what was there comes back if one fails.

    Raises `NotWritable`."""
    beside = {path: path.with_name(f".{path.name}.{secrets.token_hex(4)}.part") for path in texts}
    before = {path: path.read_bytes() if path.is_file() else None for path in texts}
    done: list[Path] = []
    try:
        for path, part in beside.items():
            _write_through(part, texts[path])
        for path, part in beside.items():
            os.replace(part, path)
            done.append(path)
    except OSError as refusal:
        for path in done:
            content = before[path]
            if content is None:
                path.unlink(missing_ok=True)
            else:
                path.write_bytes(content)
        raise NotWritable(
            f"{refusal.filename}: cannot be written ({refusal.strerror or refusal}); a place in an existing folder "
            "that you may write to is needed; nothing was changed"
        ) from refusal
    finally:
        for part in beside.values():
            part.unlink(missing_ok=True)


def _write_through(path: Path, data: bytes) -> None:
    with path.open("xb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())
