"""Processor time and peak memory: what a busy machine does not change much."""

from __future__ import annotations

import gc
import json
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

_COMMAND = """
import json, sys, time
from ubudget.cli import main
sys.argv[0] = "ubudget"
begin = time.perf_counter()
try:
    main()
except SystemExit as end:
    status = end.code or 0
peak = next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith("VmHWM")) / 1024
spent = {"status": status, "processor": time.process_time(), "wall": time.perf_counter() - begin, "peak": peak}
print(json.dumps(spent), file=sys.stderr)
"""


@dataclass(frozen=True)
class Spent:
    """What a command took: exit status, seconds of processor time (with start-up) and of the clock, MiB at peak."""

    status: int
    processor: float
    wall: float
    peak: float


def command(*arguments: str | Path) -> Spent:
    """Runs `ubudget` in a process of its own. The peak is read by the process itself: what the system reports to a
    parent may hold the parent's own."""
    call = [sys.executable, "-c", _COMMAND, *map(str, arguments)]
    done = subprocess.run(call, capture_output=True, text=True, encoding="utf-8", check=True)
    return Spent(**json.loads(done.stderr.splitlines()[-1]))


def quickest(work: Callable[[], object], *, turns: int = 5) -> float:
    """Seconds of processor time of the quickest of some turns, without the collection of garbage of other work, and
    without the first touch of memory: freeing a large block lets the allocator keep what is freed afterwards."""

    def once() -> float:
        begin = time.process_time()
        work()
        return time.process_time() - begin

    block = np.ones(4_000_000)
    del block
    gc.collect()
    gc.disable()
    try:
        return min(once() for _ in range(turns))
    finally:
        gc.enable()
