"""The command on limits of detection and quantification."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ubudget.terminal import STANDARD_OUTPUT, Force, evaluated, refuse_existing, say_findings, status, write_out


def detection(
    run: Annotated[Path | None, typer.Argument(metavar="RUN", help="A run as above; none with --mdl.")] = None,
    mdl: Annotated[
        Path | None,
        typer.Option("--mdl", metavar="FILE.csv", help="Method detection limit (40 CFR 136 B) from spikes and blanks."),
    ] = None,
    json: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Write the limits as JSON; - is standard output.")
    ] = None,
    force: Force = False,
) -> None:
    """Decision, detection and quantification limits: validated, shown by the run, scaled to each sample."""
    from ubudget.files.exchange import json_text, write_text
    from ubudget.files.spikes_and_blanks import limits_of_table
    from ubudget.pages.detection_lines import detection_lines, detection_object, mdl_lines, mdl_object

    if (run is None) == (mdl is None):
        raise typer.BadParameter("a run, or --mdl FILE.csv in its place; give one of them")
    refuse_existing([json] if json is not None and json != STANDARD_OUTPUT else [], force)
    evaluation = None if run is None else evaluated(run)
    if evaluation is not None:
        text = json_text(detection_object(evaluation)) if json is not None else ""
        lines = [] if json == STANDARD_OUTPUT else list(detection_lines(evaluation))
    else:
        assert mdl is not None
        found, unit = limits_of_table(mdl)
        text, lines = json_text(mdl_object(found, unit)), list(mdl_lines(found, unit))
    if json == STANDARD_OUTPUT:
        write_out(text)
    else:
        if json is not None:
            write_text(text, json, force=force)
        typer.echo("\n".join(lines))
    if evaluation is not None:
        say_findings(evaluation)
        raise typer.Exit(status(evaluation, flags=False))
