"""A system that refuses: errors put into each call that writes, one at a time."""

from __future__ import annotations

import io
import os
from collections.abc import Callable
from types import TracebackType
from typing import Any

PLACES: tuple[tuple[Any, str], ...] = ((os, "fsync"), (os, "replace"), (os, "mkdir"), (os, "unlink"))


class Refusing:
    """Lets `at` calls that write pass and refuses the next one, once, by an error number; with `at` None it counts."""

    def __init__(self, number: int, at: int | None) -> None:
        self._number, self._at = number, at
        self.made: list[str] = []
        self._kept = [(*place, getattr(*place)) for place in (*PLACES, (io, "open"))]

    def __enter__(self) -> Refusing:
        for module, name, call in self._kept:
            setattr(module, name, self._opening(call) if name == "open" else self._refusing(name, call))
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        for module, name, call in self._kept:
            setattr(module, name, call)

    def heard(self, name: str) -> None:
        self.made.append(name)
        if self._at is not None and len(self.made) == self._at + 1:
            raise OSError(self._number, os.strerror(self._number))

    def _refusing(self, name: str, call: Callable[..., Any]) -> Callable[..., Any]:
        def refusing(*words: Any, **named: Any) -> Any:
            self.heard(name)
            return call(*words, **named)

        return refusing

    def _opening(self, call: Callable[..., Any]) -> Callable[..., Any]:
        def opening(file: Any, mode: str = "r", *words: Any, **named: Any) -> Any:
            if "r" in mode:
                return call(file, mode, *words, **named)
            self.heard("open")
            return _Stream(call(file, mode, *words, **named), self)

        return opening


class _Stream:
    """A file being written, whose writing and flushing may be refused."""

    def __init__(self, stream: Any, refusing: Refusing) -> None:
        self._stream, self._refusing = stream, refusing

    def write(self, data: bytes) -> int:
        self._refusing.heard("write")
        return int(self._stream.write(data))

    def flush(self) -> None:
        self._refusing.heard("flush")
        self._stream.flush()

    def __enter__(self) -> _Stream:
        return self

    def __exit__(self, *fault: object) -> None:
        self._stream.close()

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)
