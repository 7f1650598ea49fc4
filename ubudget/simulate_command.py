"""The command that simulates results beside the law of propagation."""

from __future__ import annotations

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


def simulate(
    run: RunPath,
    trials: Annotated[
        int | None, typer.Option("--trials", metavar="N", help="A fixed number of trials, in place of --digits.")
    ] = None,
    digits: Annotated[
        int | None, typer.Option("--digits", metavar="1|2", help="Until figures are stable to so many digits of u.")
    ] = None,
    seed: Annotated[int | None, typer.Option("--seed", metavar="N", help="Seed of the draws.")] = None,
    probability: Annotated[
        float | None, typer.Option("--probability", metavar="P", help="Coverage probability; the method's else.")
    ] = None,
    interval: Annotated[
        str | None, typer.Option("--interval", metavar="symmetric|shortest", help="Kind of coverage interval.")
    ] = None,
    memory: Annotated[int | None, typer.Option("--memory", metavar="MB", help="Bound for the trials.")] = None,
    result: Annotated[
        str | None, typer.Option("--result", metavar="SAMPLE/ANALYTE[/LINE]", help="Only this result.")
    ] = None,
    json: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Write everything as JSON; - is standard output.")
    ] = None,
    force: Force = False,
) -> None:
    """Monte Carlo propagation of distributions beside the law of propagation, and whether they agree."""
    from ubudget.evaluation.simulated_results import simulate as simulate_results
    from ubudget.files.exchange import json_text, write_text
    from ubudget.files.simulation_exchange import simulation_exchange
    from ubudget.pages.results_table import find_result
    from ubudget.pages.simulation_table import simulation_lines

    if trials is not None and digits is not None:
        raise typer.BadParameter("--trials fixes the number, --digits lets it follow; give one of them")
    if json is not None and json != STANDARD_OUTPUT:
        refuse_existing([json], force)
    with Progress() as tell:
        tell("reading and evaluating")
        evaluation = evaluated(run)
        rows = None if result is None else [find_result(evaluation, result)]
        tell("simulating")
        simulated = simulate_results(
            evaluation,
            trials=trials,
            digits=digits,
            seed=seed,
            interval=interval,
            probability=probability,
            memory=memory,
            rows=rows,
            told=lambda part: tell("simulating", part),
        )
    if json is not None:
        text = json_text(simulation_exchange(simulated))
        write_out(text) if json == STANDARD_OUTPUT else write_text(text, json, force=force)
    if json != STANDARD_OUTPUT:
        typer.echo("\n".join(simulation_lines(simulated)))
        if json is not None:
            typer.echo(f"\nwritten: {json}")
    say_findings(evaluation)
    flags = any(evaluation.flags[row] for row in simulated.rows)
    raise typer.Exit(LOOK if flags or simulated.to_look_at else status(evaluation, flags=False))
