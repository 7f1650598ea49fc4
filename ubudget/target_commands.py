"""The command on target uncertainties: which results meet them, and what other choices would give."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import typer

from ubudget.terminal import (
    LOOK,
    STANDARD_OUTPUT,
    Force,
    Progress,
    RunPath,
    evaluated,
    refuse_existing,
    say_findings,
    status,
    write_out,
)


def target(
    run: RunPath,
    result: Annotated[
        str | None, typer.Option("--result", metavar="SAMPLE/ANALYTE[/LINE]", help="This result alone, in detail.")
    ] = None,
    replicates: Annotated[
        str | None, typer.Option("--replicates", metavar="N,N", help="Readings of each solution, one option each.")
    ] = None,
    portions: Annotated[
        str | None, typer.Option("--portions", metavar="N,N", help="Independent portions of each sample.")
    ] = None,
    blanks: Annotated[str | None, typer.Option("--blanks", metavar="N,N", help="Blanks.")] = None,
    standards: Annotated[
        str | None, typer.Option("--standards", metavar="N,N", help="Sets of standards, each prepared for itself.")
    ] = None,
    standard_readings: Annotated[
        str | None, typer.Option("--standard-readings", metavar="N,N", help="Readings of each standard.")
    ] = None,
    mass: Annotated[
        str | None, typer.Option("--mass", metavar='"0.5 g"', help='Mass of the test portion; several: "0.5 g, 1 g".')
    ] = None,
    ware: Annotated[
        list[str] | None, typer.Option("--ware", metavar="SYMBOL=ITEM", help="Another piece of ware of the register.")
    ] = None,
    certificate: Annotated[
        list[str] | None, typer.Option("--certificate", metavar='"ITEM=U"', help="Another U on an item's certificate.")
    ] = None,
    tries: Annotated[
        list[str] | None,
        typer.Option("--try", metavar='"A; B"', help='Changes together: "replicates 5; class F50=A; input R=0.005".'),
    ] = None,
    json: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Write as JSON; - is standard output.")
    ] = None,
    force: Force = False,
) -> None:
    """Results against target uncertainties, and what other choices would give."""
    refuse_existing([path for path in (json,) if path is not None and path != STANDARD_OUTPUT], force)
    from ubudget.evaluation.plan_clauses import option
    from ubudget.evaluation.planning import as_it_is, try_options
    from ubudget.files.exchange import json_text, write_text
    from ubudget.pages.results_table import find_result
    from ubudget.pages.target_lines import overview_lines, result_lines, targets_object, tried_lines, verdict
    from ubudget.pages.target_words import MISSED

    listed = {
        "replicates": replicates,
        "portions": portions,
        "blanks": blanks,
        "standards": standards,
        "standard readings": standard_readings,
    }
    written = [f"{word} {part}" for word, text in listed.items() for part in _parts(text, ",")]
    # Masses have units and decimals: a comma alone would tear a decimal comma apart before it is told.
    written += [f"mass {part}" for part in _parts(mass, ", ")]
    written += [f"ware {text}" for text in ware or ()] + [f"certificate {text}" for text in certificate or ()]
    options = [option(text) for text in (*written, *(tries or ()))]
    with Progress() as tell:
        tell("reading and evaluating")
        evaluation = evaluated(run)
        rows = list(range(len(evaluation.results))) if result is None else [find_result(evaluation, result)]
        now = as_it_is(evaluation, rows)
        tried = []
        for done, one in enumerate(try_options(evaluation, options, rows)):
            tried.append(one)
            tell("trying options", (done + 1) / len(options))
    text = json_text(targets_object(evaluation, now, tried)) if json is not None else ""
    if json == STANDARD_OUTPUT:
        write_out(text)
    else:
        if json is not None:
            write_text(text, json, force=force)
        lines = list(result_lines(evaluation, now[0]) if len(now) == 1 else overview_lines(evaluation, now))
        if tried:
            lines += ["", *tried_lines(now, tried)]
        typer.echo("\n".join(lines))
    say_findings(evaluation)
    missed = LOOK if any(verdict(one) == MISSED for one in now) else 0
    raise typer.Exit(max(missed, status(evaluation, flags=False)))


def _parts(text: str | None, between: str) -> Iterator[str]:
    if text is not None:
        yield from (part.strip() for part in text.split(between))
