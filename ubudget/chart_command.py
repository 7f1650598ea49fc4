"""The command for control charts."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ubudget.terminal import LOOK, STANDARD_OUTPUT, Force, evaluated, refuse_existing, say, write_out


def chart(
    record: Annotated[
        Path, typer.Argument(metavar="FILE", help='A record of kind "control charts", with its history beside it.')
    ],
    append: Annotated[
        Path | None, typer.Option("--append", metavar="RUN", help="Append the run's checks to the history.")
    ] = None,
    who: Annotated[str, typer.Option("--by", metavar="NAME", help="With --append: who appends.")] = "",
    attempt: Annotated[bool, typer.Option("--try", help="With --append: show, write nothing.")] = False,
    pictures: Annotated[
        Path | None, typer.Option("--pictures", metavar="DIR", help="Draw each chart into a folder, SVG.")
    ] = None,
    book: Annotated[
        Path | None, typer.Option("--workbook", metavar="OUT.xlsx", help="Write the charts as a live workbook.")
    ] = None,
    json: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Write the charts as JSON; - is standard output.")
    ] = None,
    force: Force = False,
) -> None:
    """Control charts of a laboratory's history: limits, patterns, pictures; a run's checks appended when asked."""
    from ubudget.files.atomic import replace_files
    from ubudget.files.control_history import append_rows, read_history, rows_from
    from ubudget.files.control_writing import chart_object, picture_files, write_control_book
    from ubudget.files.exchange import json_text, write_text
    from ubudget.pages.control_lines import chart_lines

    if book is not None and book.suffix.lower() != ".xlsx":
        raise typer.BadParameter(f"{book}: a name that ends with .xlsx is needed")
    if append is None and (who or attempt):
        raise typer.BadParameter("--by and --try belong to --append RUN")
    if append is not None and not who.strip():
        raise typer.BadParameter("--append needs --by NAME: who adds to the history")
    refuse_existing([path for path in (book, json) if path is not None and path != STANDARD_OUTPUT], force)
    history = read_history(record)
    if append is not None:
        rows = rows_from(history, evaluated(append), who.strip())
        if not attempt:
            append_rows(history, rows)
            history = read_history(record)
        for row in rows:
            values = ", ".join(f"{value:.15g}" for value in row.values)
            say([f"{'would append' if attempt else 'appended'}: {row.chart}, {row.date}, {row.run}: {values}"])
    found = history.charted()
    if pictures is not None:
        replace_files(picture_files(found, pictures), force=force)
    if book is not None:
        write_control_book(found, history.charts.title or record.stem, book, force=force)
    if json == STANDARD_OUTPUT:
        write_out(json_text([chart_object(one) for one in found]))
    else:
        if json is not None:
            write_text(json_text([chart_object(one) for one in found]), json, force=force)
        typer.echo("\n\n".join("\n".join(chart_lines(one)) for one in found))
    say(finding.line() for finding in history.findings)
    looked_at = any(one.signals or one.told for one in found) or history.findings
    raise typer.Exit(LOOK if looked_at else 0)
