"""The command that writes the record of a run for filing."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ubudget.terminal import Force, RunPath, evaluated, refuse_existing, say_findings, status


def dossier(
    run: RunPath,
    out: Annotated[Path, typer.Argument(metavar="OUT.html", help="The page to write; a browser prints it.")],
    result: Annotated[
        list[str] | None,
        typer.Option("--result", metavar="SAMPLE/ANALYTE[/LINE]", help="Only this result; may be given again."),
    ] = None,
    derivations: Annotated[bool, typer.Option("--derivations", help="With every step of every result.")] = False,
    force: Force = False,
) -> None:
    """Results, budgets, calibrations, traceability, method, amendments and findings on one printable page."""
    from ubudget.files.exchange import write_text
    from ubudget.pages.dossier import dossier as made
    from ubudget.pages.record_sheet import fingerprint
    from ubudget.pages.results_table import find_result
    from ubudget.version import __version__

    if out.suffix.lower() not in (".html", ".htm"):
        raise typer.BadParameter(f"{out}: a name that ends with .html is needed")
    refuse_existing([out], force)
    evaluation = evaluated(run)
    rows = [find_result(evaluation, label) for label in result or ()] or list(range(len(evaluation.results)))
    program = f"ubudget {__version__}"
    text = made(evaluation, rows, fingerprint(evaluation.records.texts), program, derivations=derivations)
    write_text(text, out, force=force)
    typer.echo(str(out))
    say_findings(evaluation)
    raise typer.Exit(status(evaluation))
