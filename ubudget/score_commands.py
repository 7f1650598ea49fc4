"""The command that compares results: with each other, with a stated value, with the certificate of a material."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ubudget.errors import UbudgetError
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

if TYPE_CHECKING:
    from ubudget.evaluation.comparison import Compared, Comparison
    from ubudget.evaluation.evaluate import Evaluation
    from ubudget.records.amount import Amount


def scores(
    run: RunPath,
    result: Annotated[
        str | None, typer.Option("--result", metavar="SAMPLE/ANALYTE[/LINE]", help="The result to compare.")
    ] = None,
    other: Annotated[
        Path | None, typer.Option("--with", metavar="RUN", help="Run of the other result; else the same run.")
    ] = None,
    result2: Annotated[
        str | None, typer.Option("--result2", metavar="SAMPLE/ANALYTE[/LINE]", help="The other result.")
    ] = None,
    value: Annotated[str | None, typer.Option("--value", help='In place of a result, a value: "85.1 mg/kg".')] = None,
    expanded: Annotated[str | None, typer.Option("--U", help="Its expanded uncertainty, with --k.")] = None,
    k: Annotated[float | None, typer.Option("--k", help="Coverage factor of that U.")] = None,
    standard: Annotated[str | None, typer.Option("--u", help="Its standard uncertainty, in place of U and k.")] = None,
    basis: Annotated[str, typer.Option("--basis", help="Its basis, such as dry mass.")] = "",
    sigma: Annotated[
        str | None, typer.Option("--sigma", help="Standard deviation for proficiency assessment: z and z′.")
    ] = None,
    s_r: Annotated[
        str | None, typer.Option("--s-r", help="Repeatability standard deviation: limit of duplicates.")
    ] = None,
    correlation: Annotated[
        float | None, typer.Option("--r", help="Declared correlation of both, in place of what they share.")
    ] = None,
    json: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Write as JSON; - is standard output.")
    ] = None,
    force: Force = False,
) -> None:
    """Compare results: zeta, E_n, z; reference materials against their certificates."""
    alone = (other, result2, value, expanded, k, standard, sigma, s_r, correlation)
    if result is None and (any(given is not None for given in alone) or basis):
        raise typer.BadParameter("without --result all reference materials are compared; give --result, or RUN alone")
    if result is not None and (value is None) == (result2 is None):
        raise typer.BadParameter("--result needs --result2 (of the same run, or --with RUN), or --value; one of them")
    if value is not None and other is not None:
        raise typer.BadParameter("--value stands for another result; give it or --with RUN, not both")
    if value is None and ((expanded, k, standard) != (None, None, None) or basis):
        raise typer.BadParameter("--U, --k, --u and --basis belong to --value")
    refuse_existing([path for path in (json,) if path is not None and path != STANDARD_OUTPUT], force)
    from ubudget.evaluation.comparison import material_comparisons
    from ubudget.files.exchange import json_text, write_text
    from ubudget.pages.score_words import comparison_lines, comparison_object, material_lines

    evaluation = evaluated(run)
    others = [evaluated(other)] if other is not None else []
    if result is None:
        found = material_comparisons(evaluation)
        told = [comparison for _, comparison in found if comparison is not None]
        lines = list(material_lines(found))
    else:
        figures = {"--sigma": sigma, "--s-r": s_r, "--value": value, "--U": expanded, "--u": standard}
        amounts = {name: _amount(name, text) for name, text in figures.items()}
        second = amounts["--value"]
        if second is not None:
            from ubudget.evaluation.comparison import stated

            partner: Compared | str = stated(second, amounts["--U"], k, amounts["--u"], basis)
        else:
            partner = result2 or ""
        told = [
            _compared(
                evaluation,
                result,
                others[0] if others else None,
                partner,
                correlation,
                amounts["--sigma"],
                amounts["--s-r"],
            )
        ]
        lines = list(comparison_lines(told[0]))
    text = json_text({"comparisons": [comparison_object(one) for one in told]})
    if json == STANDARD_OUTPUT:
        write_out(text)
    else:
        if json is not None:
            write_text(text, json, force=force)
        typer.echo("\n".join(lines))
    for one in (evaluation, *others):
        say_findings(one)
    failed = LOOK if any(not one.passed for one in told) else 0
    raise typer.Exit(max(failed, *(status(one, flags=False) for one in (evaluation, *others))))


def _compared(
    evaluation: Evaluation,
    result: str,
    other: Evaluation | None,
    partner: Compared | str,
    correlation: float | None,
    sigma: Amount | None,
    s_r: Amount | None,
) -> Comparison:
    from ubudget.evaluation.comparison import between_runs, comparison, of_result, within_run
    from ubudget.pages.results_table import find_result, result_label
    from ubudget.records.unit_comparison import in_unit

    def named(of: Evaluation, label: str, run: str = "") -> tuple[int, Compared]:
        row = find_result(of, label)
        return row, of_result(of, row, result_label(of.results[row]) + run)

    row, first = named(evaluation, result)
    covariance, shared = 0.0, ""
    if not isinstance(partner, str):
        second = partner
    elif other is None:
        row2, second = named(evaluation, partner)
        if row2 == row:
            raise UbudgetError(f"--result2 {partner}: found the same result twice; accepted: two; choose another")
        covariance, shared = within_run(evaluation, row, row2), "what both share in the run"
    else:
        row2, second = named(other, partner, f" of {other.records.name}")
        covariance, items = between_runs(evaluation, row, other, row2)
        covariance *= in_unit(1.0, second.unit, first.unit) or 0.0
        shared = f"in the registers of both: {', '.join(items)}" if items else "no item in the registers of both"
    return comparison(
        first, second, covariance=covariance, shared=shared, correlation=correlation, sigma=sigma, s_r=s_r
    )


def _amount(option: str, text: str | None) -> Amount | None:
    from ubudget.records.amount import parse_amount

    if text is None:
        return None
    try:
        return parse_amount(text)
    except ValueError as error:
        raise UbudgetError(f"{option} {text}: {error}; write it like that") from None
