"""Commands that write workbooks: the live one, and the one to fill in."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ubudget.terminal import (
    LOOK,
    Force,
    LetterheadPath,
    Progress,
    RunPath,
    evaluated,
    letterhead_of,
    refuse_existing,
    say,
    say_findings,
    status,
)


def workbook(
    run: RunPath,
    book: Annotated[Path, typer.Argument(metavar="OUT.xlsx", help="The workbook to write.")],
    by: Annotated[
        str | None,
        typer.Option("--by", metavar="analyte", help="One workbook for each analyte: OUT-Cu.xlsx, OUT-Zn.xlsx …"),
    ] = None,
    letterhead: LetterheadPath = None,
    empty: Annotated[
        bool, typer.Option("--empty", help="Without figures, with spare rows for daily use; RUN shows how it is run.")
    ] = False,
    samples: Annotated[int | None, typer.Option("--samples", help="With --empty: rows for samples.")] = None,
    levels: Annotated[int | None, typer.Option("--levels", help="With --empty: calibration levels.")] = None,
    replicates: Annotated[int | None, typer.Option("--replicates", help="With --empty: readings of each line.")] = None,
    blanks: Annotated[int | None, typer.Option("--blanks", help="With --empty: rows for blanks.")] = None,
    force: Force = False,
) -> None:
    """Write the editable workbook, with live formulas."""
    from ubudget.files.verbs import write_workbook_telling

    if book.suffix.lower() != ".xlsx":
        raise typer.BadParameter(f"{book}: a name that ends with .xlsx is needed")
    if by not in (None, "analyte"):
        raise typer.BadParameter(f"--by {by}: a run can be divided by analyte alone")
    refuse_existing([book] if by is None else [], force)
    looks = letterhead_of(letterhead)
    given = {"samples": samples, "levels": levels, "replicates": replicates, "blanks": blanks}
    if empty:
        from ubudget.files.spare_writing import write_spare_workbook
        from ubudget.pages.results_table import finding_line

        if by is not None:
            raise typer.BadParameter("--by and --empty: one of the two")
        rows, findings = write_spare_workbook(run, book, given, force=force, letterhead=looks)
        typer.echo(f"workbook  {book}")
        typer.echo(f"rows      {rows}")
        say(finding_line(finding) for finding in findings)
        raise typer.Exit(LOOK if any(finding.severity == "attend" for finding in findings) else 0)
    if any(number is not None for number in given.values()):
        raise typer.BadParameter("--samples, --levels, --replicates and --blanks belong to --empty")
    with Progress() as tell:
        tell("reading and evaluating")
        evaluation = evaluated(run)
        if by is None:
            write_workbook_telling(evaluation, book, force, tell, looks)
            books = [book]
        else:
            from ubudget.files.splitting import parts_named, write_parts

            refuse_existing(parts_named(evaluation, book).values(), force)
            books = write_parts(evaluation, book, force=force, told=tell, letterhead=looks)
    for written in books:
        typer.echo(f"workbook  {written}")
    say_findings(evaluation)
    raise typer.Exit(status(evaluation))


def convert(
    run: RunPath,
    out: Annotated[
        Path, typer.Argument(metavar="OUT", help="A workbook to fill in (OUT.xlsx), or a folder for text files.")
    ],
    letterhead: LetterheadPath = None,
    force: Force = False,
) -> None:
    """The same records as a workbook to fill in, or as text files."""
    from ubudget.files.converting import write_fill_in, write_folder
    from ubudget.files.verbs import read_run
    from ubudget.files.ware_form import convert_ware, is_ware_record
    from ubudget.pages.results_table import finding_line

    as_workbook = out.suffix.lower() == ".xlsx"
    if letterhead is not None and not as_workbook:
        raise typer.BadParameter("--letterhead belongs to OUT.xlsx; text files have no looks")
    if as_workbook:
        refuse_existing([out], force)
    looks = letterhead_of(letterhead)
    if is_ware_record(run):
        for file in convert_ware(run, out, force=force, letterhead=looks):
            typer.echo(str(file))
        return
    records = read_run(run)
    if as_workbook:
        write_fill_in(records, out, force=force, letterhead=looks)
        typer.echo(f"workbook  {out}")
    else:
        for file in write_folder(records, out, force=force):
            typer.echo(str(file))
    say(finding_line(finding) for finding in records.findings)
    raise typer.Exit(LOOK if any(finding.severity == "attend" for finding in records.findings) else 0)
