"""The command that compares two versions."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ubudget.terminal import LOOK, STANDARD_OUTPUT, Force, refuse_existing, write_out


def compare(
    old: Annotated[Path, typer.Argument(metavar="OLD", help="A workbook, a run, or a method, as it was.")],
    new: Annotated[Path, typer.Argument(metavar="NEW", help="The same as it is.")],
    json: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Write the differences as JSON; - is standard output.")
    ] = None,
    force: Force = False,
) -> None:
    """What changed between two workbooks, runs or methods: inputs, results, flags, findings, program, layout."""
    from ubudget.files.exchange import json_text, write_text
    from ubudget.files.version_comparison import compare_versions, comparison_object
    from ubudget.pages.version_comparison import comparison_lines

    refuse_existing([path for path in (json,) if path is not None and path != STANDARD_OUTPUT], force)
    comparison = compare_versions(old, new)
    if json == STANDARD_OUTPUT:
        write_out(json_text(comparison_object(comparison)))
    else:
        if json is not None:
            write_text(json_text(comparison_object(comparison)), json, force=force)
        typer.echo("\n".join(comparison_lines(comparison)))
    raise typer.Exit(LOOK if comparison.changed else 0)
