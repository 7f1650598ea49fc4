"""Files as somebody hands them over: which names a record may give, and bytes up to a bound from plain files alone."""

from __future__ import annotations

import os
import stat
from collections.abc import Collection
from contextlib import suppress
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Final

from ubudget.records.records import Role

_WITHOUT_WAITING: Final = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
"""A named pipe that nobody writes to would never open."""
_RECORDS: Final = (".toml",)
_TABLES: Final = (".csv", ".txt")
ENDINGS: Final[dict[Role, Collection[str]]] = {
    "run": _RECORDS,
    "method": _RECORDS,
    "register": _RECORDS,
    "samples": _TABLES,
    "solutions": _TABLES,
    "readings": _TABLES,
}


class NotRead(Exception):
    """What is found in place of a file that may be read; the text says it."""


def bounded_bytes(path: Path, most: int) -> bytes:
    """The content of a plain file of at most `most` bytes.

    The opened file itself is asked what it is: its name may mean another one a moment later. Raises `NotRead`, and
    `OSError` or `ValueError` where the system refuses."""
    descriptor = os.open(path, os.O_RDONLY | _WITHOUT_WAITING)
    with open(descriptor, "rb") as stream:
        about = os.fstat(descriptor)
        if not stat.S_ISREG(about.st_mode):
            raise NotRead("a device, a pipe or a socket")
        content = b"" if about.st_size > most else stream.read(most + 1)
    if about.st_size > most or len(content) > most:
        raise NotRead(f"{max(about.st_size, len(content)) / 1e6:.1f} MB")
    return content


def faulty_name(name: str, place: Path, role: Role) -> tuple[str, str, str] | None:
    """What is wrong with the name that a record gives for the file at `place`, what is accepted and what to do; `None`
    where it serves.

    A record may come from somebody else and must not have other files of this computer read, whose lines would then
    stand in findings and workbooks: the name is relative, ends as such files do, and so does what a link leads to."""
    endings = " or ".join(ENDINGS[role])
    accepted = f"a file name that ends with {endings}, from the folder of the run on"
    if not name.isprintable():
        return "a name with signs that do not print", accepted, "type the name again"
    if PureWindowsPath(name).anchor or PurePosixPath(name).is_absolute():
        return "a name that begins at the root of a disk or on another computer", accepted, "copy the file there"
    if PurePosixPath(name).suffix.lower() not in ENDINGS[role]:
        return "a name of another kind of file", accepted, "name the right file"
    # A name that the system refuses is told where the file is opened.
    with suppress(OSError, ValueError):
        if place.is_symlink() and Path(os.path.realpath(place)).suffix.lower() not in ENDINGS[role]:
            return "a link to another kind of file", accepted, "put the file itself there"
    return None
