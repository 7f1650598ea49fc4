"""Commands as a person gives them: exit status, standard output and standard error."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from contextlib import chdir
from dataclasses import dataclass
from pathlib import Path

from typer.testing import CliRunner

from ubudget.cli import app

ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Done:
    status: int
    out: str
    err: str

    @property
    def faults(self) -> str:
        """Standard error without notes, each of which may run over indented lines."""
        return re.sub(r"^note: .*\n(?: {4}.*\n)*", "", self.err, flags=re.MULTILINE)


def run(*words: str | Path, folder: Path) -> Done:
    """A command in a folder, in this process; a fault of the program is raised."""
    with chdir(folder):
        done = CliRunner().invoke(app, [str(word) for word in words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return Done(done.exit_code, done.stdout, done.stderr)


def run_apart(*words: str | Path, folder: Path, **environment: str) -> Done:
    """`python -m ubudget …` in a folder, with more variables in its environment."""
    return python_apart("-m", "ubudget", *words, folder=folder, **environment)


def python_apart(*words: str | Path, folder: Path, **environment: str) -> Done:
    """The interpreter in a process of its own: a second and more to start for each command that calculates."""
    done = subprocess.run(
        [sys.executable, *(str(word) for word in words)],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
        capture_output=True,
        timeout=120,
        check=False,
    )
    return Done(done.returncode, done.stdout.decode("utf-8"), done.stderr.decode("utf-8"))


def widest(text: str) -> int:
    return max(len(line) for line in text.splitlines())
