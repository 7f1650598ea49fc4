"""What the commands share: how they read a run, speak to the person, and end."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ubudget.errors import OutputExists

if TYPE_CHECKING:
    from ubudget.evaluation.evaluate import Evaluation
    from ubudget.evaluation.ware_calibration import CalibratedWare
    from ubudget.files.letterhead import Letterhead
    from ubudget.records.finding import Finding

LOOK, UNUSABLE, INTERRUPTED, PIPE_CLOSED = 1, 2, 130, 141
MOST_SHOWN = 500
"""Findings on unusable input that are printed."""
STANDARD_OUTPUT = Path("-")
"""Where a file may be given, this one is the standard output."""
RunPath = Annotated[
    Path,
    typer.Argument(metavar="RUN", help="A run folder, its run file, a method file that stands alone, or a workbook."),
]
Force = Annotated[bool, typer.Option("--force", help="Replace files that exist.")]

LetterheadPath = Annotated[
    Path | None,
    typer.Option("--letterhead", metavar="FILE.xlsx", help="The laboratory's own: printed lines, logo, font, paper."),
]


class Progress:
    """What is being done, in one line of standard error that is erased in the end; nothing where that is no terminal.

    Used as a context: an interruption erases the line as well."""

    def __init__(self) -> None:
        self._heard = sys.stderr.isatty()
        self._shown = ""

    def __call__(self, what: str, part: float = 0.0) -> None:
        """`part` of the work from 0 to 1; shown in whole per cent."""
        text = f"{what} … {100 * part:.0f} %" if part else f"{what} …"
        if self._heard and text != self._shown:
            self._show(text)

    def __enter__(self) -> Progress:
        return self

    def __exit__(self, *fault: object) -> None:
        if self._shown:
            self._show("")
            print(end="\r", file=sys.stderr, flush=True)

    def _show(self, text: str) -> None:
        print(f"\r{text:<{len(self._shown)}}", end="", file=sys.stderr, flush=True)
        self._shown = text


def say(lines: Iterable[str]) -> None:
    """Lines for the person, on standard error."""
    for line in lines:
        typer.echo(line, err=True)


def evaluated(run: Path, *, as_measured: bool = False) -> Evaluation:
    from ubudget.files.verbs import evaluate as evaluate_run
    from ubudget.files.verbs import read_run

    return evaluate_run(read_run(run, as_measured=as_measured))


def status(evaluation: Evaluation, *, flags: bool = True) -> int:
    attend = any(finding.severity == "attend" for finding in evaluation.findings)
    return LOOK if attend or (flags and any(evaluation.flags)) else 0


def print_results(evaluation: Evaluation) -> None:
    from ubudget.pages.results_table import results_lines

    for text in results_lines(evaluation):
        typer.echo(text)


def say_findings(evaluation: Evaluation | CalibratedWare) -> None:
    from ubudget.pages.results_table import finding_line

    say(finding_line(finding) for finding in evaluation.findings)


def letterhead_of(path: Path | None) -> Letterhead:
    """The letterhead of a file, what was left out of it told; the plain one without a file."""
    from ubudget.files.letterhead import PLAIN
    from ubudget.files.letterhead_reading import read_letterhead
    from ubudget.pages.results_table import finding_line

    if path is None:
        return PLAIN
    letterhead = read_letterhead(path)
    say(finding_line(finding) for finding in letterhead.findings)
    return letterhead


def say_stopped(findings: Sequence[Finding]) -> None:
    """Why the work was stopped; of findings without end as many as somebody would read."""
    from ubudget.pages.results_table import finding_line

    say(finding_line(finding) for finding in findings[:MOST_SHOWN])
    if len(findings) > MOST_SHOWN:
        say([f"and {len(findings) - MOST_SHOWN:,} more findings: mend these first"])


def say_where_to_go(evaluation: Evaluation, run: Path) -> None:
    from ubudget.pages.results_table import result_label

    label = result_label(evaluation.results[0])
    chosen = f" --result {quoted(label)}" if len(evaluation.results) > 1 else ""
    typer.echo(f"next      {called()} explain {quoted(str(run))}{chosen}")
    typer.echo(f"          {called()} statement {quoted(str(run))}")
    if evaluation.records.method.tolerance_limits:
        typer.echo(f"          {called()} decide {quoted(str(run))}")


def called() -> str:
    """How this program was called, so that a command that it names works in the same terminal."""
    called = Path(sys.argv[0])
    if called.name == "__main__.py":
        return f"{quoted(sys.executable)} -m ubudget"
    if called.stem != "ubudget" or shutil.which("ubudget") is not None:
        return "ubudget"
    return quoted(str(called))


def quoted(text: str) -> str:
    """A text as one word of a command."""
    return f'"{text}"' if " " in text else text


def refuse_existing(paths: Iterable[Path], force: bool) -> None:
    """Before the work, not after it."""
    for path in paths:
        if path.exists() and not force:
            raise OutputExists(f"{path}: the file exists already; a new name is needed; choose another or give --force")


def write_out(text: str) -> None:
    """Text for other programs: UTF-8 on standard output, whatever the terminal's encoding."""
    sys.stdout.flush()
    sys.stdout.buffer.write(text.encode("utf-8"))
    sys.stdout.buffer.flush()
