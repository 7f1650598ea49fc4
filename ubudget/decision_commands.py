"""The command on decisions of conformity."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ubudget.terminal import (
    LOOK,
    STANDARD_OUTPUT,
    Force,
    RunPath,
    evaluated,
    refuse_existing,
    say_findings,
    status,
    write_out,
)


def decide(
    run: RunPath,
    json: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Write the decisions as JSON; - is standard output.")
    ] = None,
    force: Force = False,
) -> None:
    """Results beside the limits of the method, by the decision rule of each; 1 where one fails or nothing is stated."""
    from ubudget.files.decision_exchange import decided_object
    from ubudget.files.exchange import json_text, write_text
    from ubudget.pages.decisions_table import decision_lines, somebody_decides

    refuse_existing([json] if json is not None and json != STANDARD_OUTPUT else [], force)
    evaluation = evaluated(run)
    text = json_text(decided_object(evaluation))
    if json == STANDARD_OUTPUT:
        write_out(text)
    else:
        if json is not None:
            write_text(text, json, force=force)
        typer.echo("\n".join(decision_lines(evaluation)))
        if json is not None:
            typer.echo(f"written: {json}")
    say_findings(evaluation)
    raise typer.Exit(LOOK if somebody_decides(evaluation) else status(evaluation))
