"""The command that takes readings from an instrument's export."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ubudget.terminal import LOOK, Force, called, quoted, say, write_out

if TYPE_CHECKING:
    from ubudget.files.importing import Import


def import_export(
    export: Annotated[Path, typer.Argument(metavar="EXPORT", help="Plain text exported by the instrument.")],
    into: Annotated[Path, typer.Option("--into", metavar="RUN", help="The run folder that takes the readings.")],
    mapping: Annotated[
        Path | None, typer.Option("--mapping", metavar="FILE", help="What stands where; default RUN/mapping.toml.")
    ] = None,
    suggest: Annotated[
        bool, typer.Option("--suggest", help="Write a mapping for this export, to be completed; import nothing.")
    ] = False,
    json: Annotated[bool, typer.Option("--json", help="Print the report as JSON.")] = False,
    force: Force = False,
) -> None:
    """Readings from an instrument's plain-text export."""
    from ubudget.files.importing import import_export as read_import
    from ubudget.files.importing import write_import
    from ubudget.pages.results_table import finding_line

    if suggest:
        if json:
            raise typer.BadParameter("--json tells of an import; --suggest imports nothing; give one of them")
        _suggest(export, into, mapping, force)
        return
    made = read_import(export, into, mapping)
    written = write_import(made, force=force)
    if json:
        from ubudget.files.exchange import json_text

        write_out(json_text(_report_object(made)))
    else:
        _print_report(made, written)
    say(finding_line(finding) for finding in made.findings)
    raise typer.Exit(LOOK if any(finding.severity == "attend" for finding in made.findings) else 0)


def _suggest(export: Path, into: Path, mapping: Path | None, force: bool) -> None:
    from ubudget.files.suggesting import suggested, write_suggestion

    made = suggested(export, into)
    path = write_suggestion(made, into, mapping, force=force)
    typer.echo(f"mapping   {path}")
    for line in made.open:
        typer.echo(f"open      {line}")
    typer.echo("Read it against the export and the instrument's settings, complete it, then")
    typer.echo(f"  {called()} import {quoted(str(export))} --into {quoted(str(into))}")
    raise typer.Exit(LOOK)


def _print_report(made: Import, written: list[Path]) -> None:
    from ubudget.pages.import_report import report_lines

    mark = "with" if made.byte_order_mark else "without"
    about = [
        ("byte order mark", mark),
        ("layout", made.layout),
        ("lines in file", f"{made.lines}, {made.head} above the headings, headings {made.headings} times"),
    ]
    lists = [
        ("columns not taken", made.columns_aside),
        ("readings left out, as marked in the export", made.excluded),
        ("standards taken from the export", made.standards),
    ]
    typer.echo("\n".join(report_lines(made.record, about, lists)))
    typer.echo("")
    for path in written:
        typer.echo(f"written: {path}")


def _report_object(made: Import) -> dict[str, Any]:
    import dataclasses

    return {
        **dataclasses.asdict(made.record),
        "set_aside": [dataclasses.asdict(one) for one in made.aside],
        "byte_order_mark": made.byte_order_mark,
        "thousands": made.thousands,
        "layout": made.layout,
        "lines": made.lines,
        "lines_above_headings": made.head,
        "headings": made.headings,
        "columns_not_taken": list(made.columns_aside),
        "readings_left_out": list(made.excluded),
        "standards_taken": list(made.standards),
        "findings": [finding.as_json() for finding in made.findings],
    }
