"""The command `check`: whether a workbook still is what ubudget made."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from ubudget.terminal import LOOK, STANDARD_OUTPUT, Force, Progress, refuse_existing, write_out


def check(
    book: Annotated[Path, typer.Argument(metavar="BOOK.xlsx", help="A workbook that ubudget wrote, as it stands now.")],
    json: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Write the report as JSON; - is standard output.")
    ] = None,
    against: Annotated[
        str | None, typer.Option("--against", metavar="FINGERPRINT", help="The fingerprint that it should have.")
    ] = None,
    original: Annotated[
        Path | None,
        typer.Option("--original", metavar="RUN", help="The run, or the workbook, from which it should descend."),
    ] = None,
    everything: Annotated[bool, typer.Option("--all", help="Show long lists in full.")] = False,
    force: Force = False,
) -> None:
    """Compare a workbook, as edited, with what it was and with the library."""
    refuse_existing([json] if json is not None and json != STANDARD_OUTPUT else [], force)
    from ubudget.files.checking import check_workbook
    from ubudget.files.exchange import json_text, write_text
    from ubudget.pages.check_words import report_lines

    with Progress() as tell, _uncollected():
        tell("reading and comparing")
        report = check_workbook(book, against=against, original=original)
    text = json_text(report.as_json())
    if json == STANDARD_OUTPUT:
        write_out(text)
    else:
        if json is not None:
            write_text(text, json, force=force)
        typer.echo("\n".join(report_lines(report, book.name, everything=everything)))
    raise typer.Exit(0 if report.unchanged else LOOK)


@contextmanager
def _uncollected() -> Iterator[None]:
    """Cells make no circles: looking for some among millions of them takes a quarter of the time."""
    collected = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collected:
            gc.enable()
