"""Writers killed at any moment: `python -m tests.robustness.kills --kills 200 --seed 1`.

A child of a warm process writes, and SIGKILL ends it: after a random time, or just before or after a random call of
the system that writes. Then each file must be the old or the new one, whole; anything else is called a part.
"""

from __future__ import annotations

import argparse
import io
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.robustness.writers import WRITERS, Writer, files_of
from ubudget.files.atomic import is_part

CALLS: tuple[tuple[Any, str], ...] = ((io, "open"), (os, "fsync"), (os, "replace"), (os, "unlink"), (os, "mkdir"))


@dataclass
class Killed:
    """What was found after the kills."""

    counts: Counter[str] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Known:
    """A writer with the files before and after it, its time and its number of calls that write."""

    writer: Writer
    before: dict[str, bytes]
    after: dict[str, bytes]
    seconds: float
    calls: int

    def verdict(self, now: dict[str, bytes]) -> str:
        """`old`, `new` or `between`, every file whole; the name of one that is not."""
        files = {name: content for name, content in now.items() if not is_part(Path(name))}
        if wrong := [name for name in files if files[name] not in (self.before.get(name), self.after.get(name))]:
            return f"{wrong[0]} is neither the old nor the new file"
        if missing := [name for name in self.before if name not in files]:
            return f"{missing[0]} is gone"
        return "new" if files == self.after else "old" if files == self.before else "between"


def known(writer: Writer, home: Path) -> Known:
    """The writer without disturbance, twice: the first time loads what it needs."""
    for attempt in ("first", "second"):
        folder = home / attempt
        folder.mkdir()
        writer.prepare(folder)
        before = files_of(folder)
        seen = Calls(lambda number: None)
        began = time.perf_counter()
        with seen:
            status, words = writer.write(folder)
        taken = time.perf_counter() - began
        assert status in (0, 1), words
        after = files_of(folder)
        shutil.rmtree(folder)
    return Known(writer, before, after, taken, seen.number)


class Calls:
    """Calls of the system that write, counted; `hear` is told the number of each before and after it is made."""

    def __init__(self, hear: Callable[[int], None]) -> None:
        self._hear, self._kept = hear, [(*place, getattr(*place)) for place in CALLS]
        self.number = 0

    def __enter__(self) -> Calls:
        for module, name, call in self._kept:
            setattr(module, name, self._heard(call))
        return self

    def __exit__(self, *fault: object) -> None:
        for module, name, call in self._kept:
            setattr(module, name, call)

    def _heard(self, call: Callable[..., Any]) -> Callable[..., Any]:
        def heard(*words: Any, **named: Any) -> Any:
            self.number += 1
            self._hear(self.number)
            done = call(*words, **named)
            self.number += 1
            self._hear(self.number)
            return done

        return heard


def kill_one(one: Known, folder: Path, draw: random.Random) -> str:
    """Kills the writer once; the verdict."""
    folder.mkdir()
    one.writer.prepare(folder)
    by_time = draw.random() < 0.5
    at = draw.randrange(1, one.calls + 1) if one.calls else 0
    seconds = draw.random() * one.seconds
    child = os.fork()
    if child == 0:
        try:
            with Calls(lambda number: None if by_time or number != at else os.kill(os.getpid(), signal.SIGKILL)):
                one.writer.write(folder)
        finally:
            os._exit(0)
    if by_time:
        time.sleep(seconds)
        os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    verdict = one.verdict(files_of(folder))
    shutil.rmtree(folder)
    return verdict


def kill(kills: int, seed: int, home: Path, writers: Sequence[Writer] = WRITERS) -> Killed:
    found = Killed()
    draw = random.Random(seed)
    every = [known(writer, home) for writer in writers]
    for number in range(kills):
        one = every[number % len(every)]
        verdict = kill_one(one, home / "killed", draw)
        found.counts[verdict] += 1
        if verdict not in ("old", "new", "between"):
            found.faults.append(f"{one.writer.name}, kill {number} of seed {seed}: {verdict}")
    return found


def main() -> int:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--kills", type=int, default=200)
    words.add_argument("--seed", type=int, default=1)
    given = words.parse_args()
    with tempfile.TemporaryDirectory() as home:
        found = kill(given.kills, given.seed, Path(home))
    for verdict, count in sorted(found.counts.items()):
        print(f"{count:>6}  {verdict}")
    print("\n".join(found.faults) or "no fault")
    return 1 if found.faults else 0


if __name__ == "__main__":
    sys.exit(main())
