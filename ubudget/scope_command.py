"""The command for the scope of a method."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ubudget.terminal import LOOK, STANDARD_OUTPUT, Force, refuse_existing, write_out


def scope(
    run: Annotated[
        Path, typer.Argument(metavar="RUN", help="A run of the method, real or nominal; or a method alone.")
    ],
    levels: Annotated[
        str | None, typer.Option("--levels", metavar='"1, 10, 100 mg/kg"', help="Levels, with their unit.")
    ] = None,
    number: Annotated[int, typer.Option("--number", help="Without --levels: how many over the calibrated range.")] = 10,
    analyte: Annotated[
        list[str] | None, typer.Option("--analyte", help="Only this analyte; may be given again.")
    ] = None,
    sample: Annotated[
        str | None, typer.Option("--sample", help="The sample whose masses and volumes stand for all.")
    ] = None,
    vary: Annotated[
        str | None, typer.Option("--vary", metavar="SYMBOL", help="Of a method alone: what carries the level.")
    ] = None,
    book: Annotated[
        Path | None, typer.Option("--workbook", metavar="OUT.xlsx", help="The levels as a live workbook.")
    ] = None,
    pictures: Annotated[
        Path | None, typer.Option("--pictures", metavar="DIR", help="Draw each line into a folder.")
    ] = None,
    csv: Annotated[Path | None, typer.Option("--csv", metavar="FILE", help="Write one row a level.")] = None,
    json: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Write as JSON; - is standard output.")
    ] = None,
    force: Force = False,
) -> None:
    """U over a grid of levels: what dominates, the smallest U that may be claimed, and the function of the level."""
    from ubudget.errors import UbudgetError
    from ubudget.files.atomic import replace_files
    from ubudget.files.exchange import json_text, write_text
    from ubudget.files.scoping import picture_files, scope_csv, scope_object
    from ubudget.files.scoping import scope as made
    from ubudget.files.verbs import write_workbook
    from ubudget.pages.scope_lines import scope_lines

    if book is not None and book.suffix.lower() != ".xlsx":
        raise typer.BadParameter(f"{book}: a name that ends with .xlsx is needed")
    refuse_existing([path for path in (book, csv, json) if path is not None and path != STANDARD_OUTPUT], force)
    scoped = made(run, levels, number=number, sample=sample, vary=vary, analytes=analyte or ())
    if book is not None:
        if scoped.levels is None:
            raise UbudgetError("--workbook: found a method that stands alone; accepted: a run; give --json or --csv")
        write_workbook(scoped.levels, book, force=force)
    if pictures is not None:
        pictures.mkdir(parents=True, exist_ok=True)
        replace_files(picture_files(scoped.scopes, pictures), force=force)
    if csv is not None:
        write_text(scope_csv(scoped.scopes), csv, force=force)
    objects = json_text([scope_object(one) for one in scoped.scopes])
    if json == STANDARD_OUTPUT:
        write_out(objects)
    else:
        if json is not None:
            write_text(objects, json, force=force)
        typer.echo("\n\n".join("\n".join(scope_lines(one)) for one in scoped.scopes))
    missed = any(point.misses_target for one in scoped.scopes for point in one.held)
    raise typer.Exit(LOOK if missed or any(not one.held for one in scoped.scopes) else 0)
