"""Damaged files for every reader: `python -m tests.fuzzing.all_readers --inputs 20000 --seed 1`.

Each input is read in a child process under a bound of memory; a fault of the program, a reading of more than 5 s and
one of more than 1 GB end in a line of the report and exit status 1.
"""

from __future__ import annotations

import argparse
import random
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from pathlib import Path

from tests.fuzzing.damage import damaged
from tests.fuzzing.subjects import Subject, subjects
from ubudget.errors import UbudgetError

LONGEST = 5.0
"""Seconds for one input."""
MOST_MEMORY = 1_000_000_000
"""Bytes that reading one input may add."""


class TooLong(BaseException):
    """Not caught by anything that catches exceptions."""


@dataclass
class Outcomes:
    """What came of the inputs."""

    counts: Counter[tuple[str, str]] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)
    seconds: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    slowest: tuple[float, str] = (0.0, "")

    def lines(self) -> list[str]:
        kinds = sorted({kind for _, kind in self.counts})
        names = list(dict.fromkeys(name for name, _ in self.counts))
        table = [f"{'':<20}" + "".join(f"{kind:>12}" for kind in kinds) + f"{'seconds':>12}"]
        table += [
            f"{name:<20}" + "".join(f"{self.counts[name, kind]:>12}" for kind in kinds) + f"{self.seconds[name]:>12.1f}"
            for name in names
        ]
        total = "".join(f"{sum(self.counts[name, kind] for name in names):>12}" for kind in kinds)
        return [*table, f"{'all':<20}{total}", f"slowest   {self.slowest[0]:.2f} s, {self.slowest[1]}"]


def read_one(subject: Subject, folder: Path, changed: str, content: bytes) -> tuple[str, str]:
    """Kind of outcome, and the fault of the program if there is one. Files in the folder are as shipped before."""
    (folder / changed).write_bytes(content)
    try:
        subject.read(folder)
    except UbudgetError as refused:
        return ("refused", "") if "\n" not in str(refused) and str(refused) else ("fault", "more or less than a line")
    except TooLong:
        return "fault", f"more than {LONGEST:g} s\n{traceback.format_exc()}"
    except BaseException:
        return "fault", traceback.format_exc()
    finally:
        (folder / changed).write_bytes(subject.files[changed])
    return "read", ""


def fuzz(inputs: int, seed: int, home: Path, *, texts: int = 1, start: int = 0, keep: Path | None = None) -> Outcomes:
    """Reads `inputs` damaged files, the same for the same seed; those that show a fault are kept in `keep`.

    `texts`: how many inputs a reader of texts gets for one of a reader of workbooks, which takes ten times as long."""
    every = subjects(home)
    turns = [at for at, subject in enumerate(every) for _ in range(1 if subject.is_workbook else texts)]
    others = [content for subject in every for content in subject.files.values()]
    for number, subject in enumerate(every):
        (home / str(number)).mkdir(exist_ok=True)
        for name, content in subject.files.items():
            (home / str(number) / name).write_bytes(content)
    outcomes = Outcomes()
    signal.signal(signal.SIGVTALRM, _too_long)
    for index in range(start, start + inputs):
        draw = random.Random(f"{seed} {index}")
        number = turns[index % len(turns)]
        subject = every[number]
        changed = draw.choice(subject.damaged)
        content = damaged(subject.files[changed], draw, others)
        began = time.process_time()
        signal.setitimer(signal.ITIMER_VIRTUAL, LONGEST)
        try:
            kind, fault = read_one(subject, home / str(number), changed, content)
        finally:
            signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        outcomes.counts[subject.name, kind] += 1
        taken = time.process_time() - began
        outcomes.seconds[subject.name] += taken
        outcomes.slowest = max(outcomes.slowest, (taken, f"{subject.name}, input {index}"))
        if fault:
            outcomes.faults.append(f"{subject.name}, {changed}, seed {seed}, input {index}\n{fault}")
            if keep is not None:
                (keep / f"{seed}-{index}-{changed}").write_bytes(content)
    return outcomes


def _too_long(number: int, frame: object) -> None:
    raise TooLong


def limit_memory() -> None:
    """What is there already, its libraries' reservations among it, and `MOST_MEMORY` more."""
    now = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (now + MOST_MEMORY, now + MOST_MEMORY))


def main() -> int:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--inputs", type=int, default=20_000)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--keep", type=Path, default=None, help="folder for inputs that show a fault")
    given = words.parse_args()
    if given.keep is not None:
        given.keep.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as home:
        subjects(Path(home))
        limit_memory()
        outcomes = fuzz(given.inputs, given.seed, Path(home), keep=given.keep)
    print("\n".join(outcomes.lines()))
    print(
        f"memory    {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB at most, with the program itself"
    )
    print(f"faults    {len(outcomes.faults)}")
    print("\n".join(outcomes.faults))
    return 1 if outcomes.faults else 0


if __name__ == "__main__":
    sys.exit(main())
