"""Full disks, folders that may not be written, interrupted calls: one line, nothing lost, nothing half-written."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from tests.robustness.refusals import Refusing
from tests.robustness.writers import WRITERS, Writer, files_of
from ubudget.errors import NotWritable, OutputExists
from ubudget.files.atomic import is_part, replace_file, replace_files
from ubudget.files.starting import lay_down_example

NUMBERS = (errno.ENOSPC, errno.EACCES, errno.EINTR, errno.EROFS, errno.EIO)


@pytest.mark.parametrize("number", NUMBERS, ids=errno.errorcode.get)
@pytest.mark.parametrize("files", [1, 3])
def test_every_call_refused(files: int, number: int, tmp_path: Path) -> None:
    """All calls of a writer of one and of several files, one after another."""
    before = {f"{at}.txt": b"an earlier file" for at in range(files) if at != 1}
    contents = {tmp_path / f"{at}.txt": b"a new file" for at in range(files)}
    for name, content in before.items():
        (tmp_path / name).write_bytes(content)
    for at in range(100):
        refusing = Refusing(number, at)
        try:
            with refusing:
                replace_files(contents, force=True)  # type: ignore[arg-type]  # bytes are content
        except NotWritable as told:
            assert os.strerror(number) in str(told) and "\n" not in str(told)
            assert {name: text for name, text in files_of(tmp_path).items() if not is_part(Path(name))} == before
            # Only where deleting itself is refused does a part stay.
            assert refusing.made[at] == "unlink" or files_of(tmp_path) == before
        else:
            now = files_of(tmp_path)
            assert set(now.values()) == {b"a new file"} and len(now) == files
            if len(refusing.made) <= at:
                break
            for path in contents:
                path.unlink()
            for name, content in before.items():
                (tmp_path / name).write_bytes(content)
    assert at > 4 * files


@pytest.mark.parametrize("writer", WRITERS, ids=lambda writer: writer.name)
def test_every_writer_tells_it_in_a_line(writer: Writer, tmp_path: Path) -> None:
    """The first call of each kind, each time by another error."""
    writer.prepare(tmp_path)
    before = files_of(tmp_path)
    for number, kind in zip(NUMBERS, ("open", "write", "flush", "fsync", "replace"), strict=True):
        refusing = _OfKind(number, kind)
        with refusing:
            status, said = writer.write(tmp_path)
        assert status == 2 and said.count("\n") == 1 and os.strerror(number) in said, said
        assert files_of(tmp_path) == before
        if number == NUMBERS[1] and writer.name not in ("amend", "statement"):
            # Calculating again each time would cost more than it shows: all writers write in the same way.
            break


class _OfKind(Refusing):
    """Refuses the first call of one kind."""

    def __init__(self, number: int, kind: str) -> None:
        super().__init__(number, None)
        self._kind, self._error = kind, number

    def heard(self, name: str) -> None:
        if name == self._kind:
            raise OSError(self._error, os.strerror(self._error))


def test_what_was_there_comes_back_whole(tmp_path: Path) -> None:
    """The last of three files cannot be replaced: the first is put back by the same safe way."""
    for name in "abc":
        (tmp_path / name).write_text(f"old {name}", encoding="utf-8")
    with pytest.raises(NotWritable), _Nth("replace", 3):
        replace_files({tmp_path / name: b"new" for name in "abc"}, force=True)
    assert files_of(tmp_path) == {name: f"old {name}".encode() for name in "abc"}


class _Nth(Refusing):
    """Refuses the nth call of one kind."""

    def __init__(self, kind: str, nth: int) -> None:
        super().__init__(errno.ENOSPC, None)
        self._kind, self._nth = kind, nth

    def heard(self, name: str) -> None:
        self.made.append(name)
        if name == self._kind and self.made.count(name) == self._nth:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def test_a_file_that_came_meanwhile_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"

    def slowly(stream: object) -> None:
        path.write_text("somebody else's", encoding="utf-8")

    with pytest.raises(OutputExists):
        replace_file(path, slowly)
    assert files_of(tmp_path) == {"a.txt": b"somebody else's"}


def test_devices_are_no_files_to_replace(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path / "pipe", Path("/dev/null")):
        with pytest.raises(NotWritable, match="a device or a pipe"):
            replace_file(path, b"", force=True)
    assert not Path("/dev/null").is_file()


def test_parts_that_a_kill_left_are_not_taken_for_files(tmp_path: Path) -> None:
    """A demonstration folder with such a part is renewed like any other."""
    lay_down_example(tmp_path)
    (tmp_path / ".run.toml.0123abcd.part").write_bytes(b"[ru")
    lay_down_example(tmp_path)
    assert (tmp_path / ".run.toml.0123abcd.part").exists()
