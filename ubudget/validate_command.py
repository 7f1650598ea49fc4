"""The command that validates the installation at hand."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import Annotated

import typer

from ubudget.terminal import LOOK, STANDARD_OUTPUT, Force, Progress, refuse_existing, say, write_out


def validate(
    into: Annotated[
        Path | None, typer.Option("--into", metavar="DIR", help="Write the dated record there: text, page and JSON.")
    ] = None,
    json: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Write the record as JSON; - is standard output.")
    ] = None,
    cases: Annotated[
        Path | None, typer.Option("--cases", metavar="DIR", help="Cases of the laboratory, with expected.toml.")
    ] = None,
    reviewer: Annotated[str, typer.Option("--reviewer", metavar="NAME", help="Who validates; stands in it.")] = "",
    on: Annotated[
        datetime | None, typer.Option("--on", formats=["%Y-%m-%d"], help="Date of the record; today without it.")
    ] = None,
    force: Force = False,
) -> None:
    """Hold this installation against published examples, a spreadsheet program and a second calculation."""
    day = date.today() if on is None else on.date()
    outputs = [] if into is None else [into / f"validation-{day}.{kind}" for kind in ("txt", "html", "json")]
    refuse_existing([*outputs, *(path for path in (json,) if path is not None and path != STANDARD_OUTPUT)], force)
    try:
        from ubudget.files.exchange import json_text, write_text
        from ubudget.files.validation import validate as validated
        from ubudget.files.validation_writing import record_object, write_record
        from ubudget.pages.validation_record import record_lines
    except ImportError as fault:
        _say_incomplete(fault)
        raise typer.Exit(LOOK) from None
    with Progress() as tell:
        record = validated(day, reviewer.strip(), cases, tell)
    written = [] if into is None else write_record(record, into, force=force)
    if json is not None and json != STANDARD_OUTPUT:
        write_text(json_text(record_object(record)), json, force=force)
        written.append(json)
    if json == STANDARD_OUTPUT:
        write_out(json_text(record_object(record)))
    else:
        typer.echo("\n".join(record_lines(record)))
        for path in written:
            typer.echo(f"written: {path}")
    say(f"attend: {text}" for text in record.attend)
    raise typer.Exit(LOOK if not record.passed or record.attend else 0)


def _say_incomplete(fault: ImportError) -> None:
    """What can still be told where a part of the program cannot be loaded."""
    from ubudget.files.installation import installation

    say([f"installation: {fault}; install the program again"])
    found = installation()
    say(f"installation: {name}: missing" for name in found.missing)
    say(f"installation: {name}: altered" for name in found.altered)
    typer.echo("installation  FAIL")
