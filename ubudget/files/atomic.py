"""Files are replaced whole or not at all; an interruption leaves the old file or the new one.

What a process that was killed leaves beside them is called `.NAME.XXXXXXXX.part`: no reader asks for such a name.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO

from ubudget.errors import NotWritable, OutputExists

Content = bytes | Callable[[BinaryIO], object]
"""What a file holds, or what writes it piece by piece."""
PART = ".part"
"""End of the name of what is being written."""


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
        _require_room(path, force)
    beside = {path: _part_of(path) for path in contents}
    path = Path()
    done: list[Path] = []
    before: dict[Path, bytes] = {}
    try:
        # One file is replaced whole or not at all by itself.
        for path in contents if len(contents) > 1 else ():
            if path.is_file():
                before[path] = path.read_bytes()
        for path, data in contents.items():
            _write_through(beside[path], data)
        for path in contents:
            # Somebody else may have written it meanwhile.
            _require_room(path, force)
            os.replace(beside[path], path)
            done.append(path)
    except (OSError, OutputExists) as refusal:
        _put_back(done, before)
        if isinstance(refusal, OutputExists):
            raise
        raise NotWritable(
            f"{path}: cannot be written ({refusal.strerror or refusal}); a place in an existing folder that "
            "you may write to is needed; close the file where it is open, or choose another place"
        ) from refusal
    finally:
        for part in beside.values():
            # Whether it can be deleted changes nothing of the files themselves.
            with suppress(OSError):
                part.unlink(missing_ok=True)
    _settle({path.parent for path in contents})


def is_part(path: Path) -> bool:
    """Whether a file is what a writer that was killed has left."""
    return path.name.startswith(".") and path.name.endswith(PART)


def _require_room(path: Path, force: bool) -> None:
    if path.is_dir():
        raise NotWritable(f"{path}: this is a folder; a file name is needed; name a file inside it")
    if not path.exists():
        return
    if not path.is_file():
        raise NotWritable(f"{path}: this is a device or a pipe; a file name is needed; choose another place")
    if not force:
        raise OutputExists(f"{path}: the file exists already; a new name is needed; choose another or allow replacing")


def _part_of(path: Path) -> Path:
    return path.with_name(f".{path.name}.{secrets.token_hex(4)}{PART}")


def _put_back(done: list[Path], before: Mapping[Path, bytes]) -> None:
    """The files as they were; what cannot be put back stays as the whole new file."""
    for path in done:
        with suppress(OSError):
            if path in before:
                part = _part_of(path)
                try:
                    _write_through(part, before[path])
                    os.replace(part, path)
                finally:
                    part.unlink(missing_ok=True)
            else:
                path.unlink(missing_ok=True)


def _write_through(path: Path, data: Content) -> None:
    """Write a new file and wait until the system says it is on the disk."""
    with path.open("xb") as stream:
        if callable(data):
            data(stream)
        else:
            stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())


def _settle(folders: set[Path]) -> None:
    """Waits until the new names are on the disk as well, where a system lets a folder be opened."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    for folder in folders:
        with suppress(OSError):
            descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
            try:
                os.fsync(descriptor)
            finally:
                os.close(descriptor)
