"""The command for studies of precision and bias."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ubudget.terminal import LOOK, STANDARD_OUTPUT, Force, refuse_existing, write_out


def study(
    record: Annotated[Path, typer.Argument(metavar="FILE", help='A record of kind "study", with its table beside it.')],
    json: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Write the figures as JSON; - is standard output.")
    ] = None,
    force: Force = False,
) -> None:
    """Components of variance, pooled scatter or bias from data of the laboratory, as parameters for a method."""
    from ubudget.files.exchange import json_text, write_text
    from ubudget.files.studies import evaluate_study, study_object
    from ubudget.pages.study_report import study_lines

    refuse_existing([path for path in (json,) if path is not None and path != STANDARD_OUTPUT], force)
    evaluated = evaluate_study(record)
    if json == STANDARD_OUTPUT:
        write_out(json_text(study_object(evaluated)))
    else:
        if json is not None:
            write_text(json_text(study_object(evaluated)), json, force=force)
        typer.echo("\n".join(study_lines(evaluated)))
    raise typer.Exit(LOOK if any(outcome.told for outcome in evaluated.outcomes) else 0)
