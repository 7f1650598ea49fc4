"""Files that grow by a row each time: read again, compared and replaced while no other run of the program does so.

The system keeps the lock and drops it when the process ends, however it ends: nothing is left lying about. Where it has
no such lock (other systems, some shares), the comparison alone stands: it leaves a gap of a thousandth of a second.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from ubudget.errors import NotWritable
from ubudget.files.atomic import replace_file

try:
    import fcntl
except ImportError:  # pragma: no cover
    fcntl = None  # type: ignore[assignment]  # not on every system

LONGEST_WAIT = 5.0
"""Seconds; a row is written in some hundredths."""
_PAUSE = 0.01


def replace_unchanged(path: Path, before: bytes, after: bytes) -> None:
    """Replaces the content `before` of a file by `after`.

    Raises `NotWritable` where the file holds something else by now, or where another program keeps writing."""
    with _alone(path):
        try:
            now = path.read_bytes()
        except OSError as refusal:
            raise NotWritable(
                f"{path}: cannot be read again ({refusal.strerror or refusal}); a file that may be read is needed; "
                "nothing was written"
            ) from refusal
        if now != before:
            raise NotWritable(
                f"{path}: found a file that somebody else has just changed; the file as it was read is needed; "
                "nothing was written: look at the file and give the command again"
            )
        replace_file(path, after, force=True)


@contextmanager
def _alone(path: Path) -> Iterator[None]:
    """Holds the folder of a file against other runs of the program."""
    descriptor = None
    if fcntl is not None:
        with suppress(OSError):
            descriptor = os.open(path.parent, os.O_RDONLY)
    try:
        if descriptor is not None:
            _wait_for(descriptor, path)
        yield
    finally:
        if descriptor is not None:
            os.close(descriptor)


def _wait_for(descriptor: int, path: Path) -> None:
    end = time.monotonic() + LONGEST_WAIT
    while True:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            if time.monotonic() > end:
                raise NotWritable(
                    f"{path}: another program writes in this folder and does not end; the folder alone is needed; "
                    "nothing was written: give the command again"
                ) from None
            time.sleep(_PAUSE)
        except OSError:
            return  # a share without locks
        else:
            return
