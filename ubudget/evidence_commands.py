"""Commands on the evidence behind results: the traceability of a run, the calibration of ware."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from ubudget.terminal import (
    LOOK,
    STANDARD_OUTPUT,
    Force,
    LetterheadPath,
    evaluated,
    letterhead_of,
    refuse_existing,
    say_findings,
    status,
    write_out,
)


def trace(
    runs: Annotated[list[Path], typer.Argument(metavar="RUN", help="A run as above; several with --used.")],
    result: Annotated[
        str | None, typer.Option("--result", metavar="SAMPLE/ANALYTE[/LINE]", help="Only this result.")
    ] = None,
    json: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Write the chains as JSON; - is standard output.")
    ] = None,
    picture: Annotated[Path | None, typer.Option("--picture", metavar="FILE.svg", help="Draw the chains.")] = None,
    used: Annotated[
        str | None, typer.Option("--used", metavar="ITEM", help="The results that rest on a register item.")
    ] = None,
    value: Annotated[str | None, typer.Option("--value", help='With --used: its new value, "1003 mg/L".')] = None,
    expanded: Annotated[str | None, typer.Option("--U", help="With --used: its new expanded uncertainty.")] = None,
    analyte: Annotated[str | None, typer.Option("--analyte", help="With --used: which of its values.")] = None,
    force: Force = False,
) -> None:
    """What each result rests on, up to the SI or a named reference, and what is wrong with it."""
    if used is None and (len(runs) > 1 or (value, expanded, analyte) != (None, None, None)):
        raise typer.BadParameter("several runs, --value, --U and --analyte belong to --used ITEM")
    if used is not None and (result is not None or picture is not None):
        raise typer.BadParameter("--used ITEM lists results; --result and --picture show chains; give one of them")
    refuse_existing([path for path in (json, picture) if path is not None and path != STANDARD_OUTPUT], force)
    from ubudget.files.exchange import write_text
    from ubudget.files.trace_exchange import chains_told, uses_told

    evaluations = [evaluated(run) for run in runs]
    if used is None:
        told = chains_told(evaluations[0], result, picture, force=force)
    else:
        told = uses_told(evaluations, used, value, expanded, analyte)
    if json == STANDARD_OUTPUT:
        write_out(told.json)
    else:
        if json is not None:
            write_text(told.json, json, force=force)
        typer.echo(told.lines)
    for evaluation in evaluations:
        say_findings(evaluation)
    raise typer.Exit(max(status(evaluation, flags=False) for evaluation in evaluations))


def ware(
    record: Annotated[
        Path, typer.Argument(metavar="FILE", help='A record of kind "calibration of ware", or its workbook to fill in.')
    ],
    number: Annotated[str, typer.Option("--number", help="Number of the certificate.")] = "",
    issuer: Annotated[str, typer.Option("--issuer", help="Who issues it.")] = "",
    due: Annotated[datetime | None, typer.Option("--due", formats=["%Y-%m-%d"], help="When it is due again.")] = None,
    book: Annotated[
        Path | None, typer.Option("--workbook", metavar="OUT.xlsx", help="Write the budget as a workbook.")
    ] = None,
    letterhead: LetterheadPath = None,
    force: Force = False,
) -> None:
    """Volume, errors and certificate of ware from weighings of water."""
    from ubudget.files.ware_calibration import calibrate_ware
    from ubudget.files.workbook_writer import write_book
    from ubudget.pages.plan import plan_book
    from ubudget.pages.ware_certificate import calibration_lines, certificate_text

    if book is not None and book.suffix.lower() != ".xlsx":
        raise typer.BadParameter(f"{book}: a name that ends with .xlsx is needed")
    if letterhead is not None and book is None:
        raise typer.BadParameter("--letterhead belongs to --workbook")
    refuse_existing([] if book is None else [book], force)
    looks = letterhead_of(letterhead)
    calibrated = calibrate_ware(record)
    if book is not None:
        write_book(plan_book(calibrated.evaluation), book, force=force, letterhead=looks)
    typer.echo("\n".join(calibration_lines(calibrated)))
    typer.echo("\nFor the register, under the item:\n")
    typer.echo(certificate_text(calibrated, number=number, issuer=issuer, due=None if due is None else due.date()))
    if book is not None:
        typer.echo(f"\nworkbook  {book}")
    say_findings(calibrated)
    raise typer.Exit(LOOK if calibrated.findings else status(calibrated.evaluation))
