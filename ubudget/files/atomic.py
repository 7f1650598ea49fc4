"""Files are replaced whole or not at all; an interruption leaves nothing behind."""

from __future__ import annotations

import os
import secrets
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import BinaryIO

from ubudget.errors import NotWritable, OutputExists

Content = bytes | Callable[[BinaryIO], None]
"""What a file holds, or what writes it piece by piece."""


def replace_file(path: Path, data: Content, *, force: bool = False) -> None:
    """Write `data` to `path` by way of a temporary file beside it.

    The temporary file is opened by name instead of by `tempfile`, so that the result has the permissions of
    an ordinary new file and not those of a private one.

    Raises `OutputExists` when `path` exists and `force` is false, `NotWritable` when the system refuses.
    """
    replace_files({path: data}, force=force)


def replace_files(contents: Mapping[Path, Content], *, force: bool = False) -> None:
    """The same for several files: none is replaced before all are written; what was there comes back if one fails."""
    for path in contents:
        if path.is_dir():
            raise NotWritable(f"{path}: this is a folder; a file name is needed; name a file inside it")
        if path.exists() and not force:
            raise OutputExists(
                f"{path}: the file exists already; a new name is needed; choose another or allow replacing"
            )
    beside = {path: path.with_name(f".{path.name}.{secrets.token_hex(4)}.part") for path in contents}
    # One file is replaced whole or not at all by itself.
    before = {path: path.read_bytes() for path in contents if path.is_file()} if len(contents) > 1 else {}
    done: list[Path] = []
    path = Path()
    try:
        for path, data in contents.items():
            _write_through(beside[path], data)
        for path in contents:
            os.replace(beside[path], path)
            done.append(path)
    except OSError as refusal:
        for replaced in done if len(contents) > 1 else ():
            if replaced in before:
                replaced.write_bytes(before[replaced])
            else:
                replaced.unlink(missing_ok=True)
        raise NotWritable(
            f"{path}: cannot be written ({refusal.strerror or refusal}); a place in an existing folder that "
            "you may write to is needed; close the file where it is open, or choose another place"
        ) from refusal
    finally:
        for part in beside.values():
            part.unlink(missing_ok=True)


def _write_through(path: Path, data: Content) -> None:
    """Write a new file and wait until the system says it is on the disk."""
    with path.open("xb") as stream:
        if callable(data):
            data(stream)
        else:
            stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())
