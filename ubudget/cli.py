"""The commands: read, call one function, print, exit.

Exit status: 0 done; 1 done, but a person must decide (a finding to attend to, or a flag on a reported result); 2 the
input or the call is unusable and nothing was written; 130 interrupted. Heavy packages load inside the commands.
"""

from __future__ import annotations

import io
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperGroup

from ubudget.amendment_commands import amend, amendments
from ubudget.chart_command import chart
from ubudget.check_command import check
from ubudget.compare_command import compare
from ubudget.decision_commands import decide
from ubudget.detection_command import detection
from ubudget.dossier_command import dossier
from ubudget.errors import UbudgetError, UnusableInput
from ubudget.evidence_commands import trace, ware
from ubudget.import_command import import_export
from ubudget.scope_command import scope
from ubudget.score_commands import scores
from ubudget.simulate_command import simulate
from ubudget.statement_commands import schema, statement
from ubudget.study_command import study
from ubudget.target_commands import target
from ubudget.terminal import (
    INTERRUPTED,
    LOOK,
    PIPE_CLOSED,
    STANDARD_OUTPUT,
    UNUSABLE,
    Force,
    LetterheadPath,
    Progress,
    RunPath,
    called,
    evaluated,
    letterhead_of,
    print_results,
    quoted,
    refuse_existing,
    say,
    say_findings,
    say_stopped,
    say_where_to_go,
    status,
    write_out,
)
from ubudget.validate_command import validate
from ubudget.version import __version__
from ubudget.workbook_commands import convert, workbook

if TYPE_CHECKING:
    pass


class Commands(TyperGroup):
    """Tells what a user can mend in one line, without a traceback; a fault of the program keeps its traceback."""

    def invoke(self, ctx: Any) -> Any:
        try:
            try:
                return super().invoke(ctx)
            finally:
                sys.stdout.flush()
        except UnusableInput as error:
            say_stopped(error.findings)
            raise typer.Exit(UNUSABLE) from None
        except UbudgetError as error:
            say([str(error)])
            raise typer.Exit(UNUSABLE) from None
        except BrokenPipeError:
            # The reader has seen enough; what is still in the buffer goes nowhere, so that closing it stays quiet.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            raise typer.Exit(PIPE_CLOSED) from None
        except KeyboardInterrupt:
            say(["interrupted"])
            raise typer.Exit(INTERRUPTED) from None
        except OSError as refusal:
            named = f"{refusal.filename}: " if refusal.filename else ""
            reason = refusal.strerror or type(refusal).__name__
            say([f"{named}the system refuses ({reason}); a file that may be read and written is needed"])
            raise typer.Exit(UNUSABLE) from None


app = typer.Typer(
    cls=Commands,
    name="ubudget",
    help="Measurement uncertainty budgets and metrological traceability for elemental-analysis laboratories.",
    epilog="Exit status: 0 done, 1 a person must decide, 2 unusable input or call. Begin with: ubudget demo",
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def main() -> None:
    """Entry point of `ubudget` and `python -m ubudget`."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A sign that a terminal does not know is shown as `?`; it is no reason to stop.
            stream.reconfigure(errors="replace")
    app()


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"ubudget {__version__}")
        raise typer.Exit


@app.callback()
def _front(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and exit.")
    ] = False,
) -> None:
    pass


@app.command()
def demo(
    into: Annotated[Path, typer.Option("--into", metavar="DIR", help="Folder to make.")] = Path("ubudget-demo"),
    force: Force = False,
) -> None:
    """Copy a worked example, evaluate it and write its workbook."""
    from ubudget.files.starting import lay_down_example, write_book_bytes
    from ubudget.files.workbook_writer import book_bytes
    from ubudget.pages.plan import plan_book

    lay_down_example(into, force=force)
    evaluation = evaluated(into)
    book = write_book_bytes(into, book_bytes(plan_book(evaluation)), force=force)
    print_results(evaluation)
    typer.echo("")
    typer.echo(f"example   {into.resolve()} (invented data)")
    typer.echo(f"workbook  {book.resolve()}")
    say_where_to_go(evaluation, into)
    raise typer.Exit(status(evaluation))


@app.command()
def start(
    folder: Annotated[Path | None, typer.Argument(metavar="DIR", help="Folder to fill.")] = None,
    pattern: Annotated[str | None, typer.Option("--pattern", metavar="NAME", help="Pattern to lay down.")] = None,
    listed: Annotated[bool, typer.Option("--list", help="Name the patterns.")] = False,
    as_workbook: Annotated[
        bool, typer.Option("--workbook", help="One workbook to fill in, in place of text files.")
    ] = False,
    letterhead: LetterheadPath = None,
    ware: Annotated[bool, typer.Option("--ware", help="In place of a pattern, a calibration of ware.")] = False,
    force: Force = False,
) -> None:
    """Lay down the files of a common pattern, ready to fill in."""
    from ubudget.files.starting import lay_down_pattern, lay_down_pattern_workbook, patterns
    from ubudget.files.ware_form import lay_down_ware

    if listed:
        for name, title in patterns().items():
            typer.echo(f"{name:<16}  {title}")
        return
    if folder is None or (pattern is None) != ware:
        raise typer.BadParameter("a folder and --pattern NAME are needed, or --ware in its place, or --list alone")
    if letterhead is not None and not as_workbook:
        raise typer.BadParameter("--letterhead belongs to --workbook; text files have no looks")
    looks = letterhead_of(letterhead)
    if pattern is None:
        files = [lay_down_ware(folder, as_workbook=as_workbook, force=force, letterhead=looks)]
    elif as_workbook:
        files = [lay_down_pattern_workbook(pattern, folder, force=force, letterhead=looks)]
    else:
        files = lay_down_pattern(pattern, folder, force=force)
    for file in files:
        typer.echo(str(file))
    run = files[0] if as_workbook or ware else folder if folder / "run.toml" in files else folder / "method.toml"
    typer.echo("\nAll figures are placeholders: replace them with yours, then")
    typer.echo(f"  {called()} {'ware' if ware else 'evaluate'} {quoted(str(run))}")


@app.command()
def evaluate(
    run: RunPath,
    json: Annotated[
        Path | None,
        typer.Option("--json", metavar="FILE", help="Write everything as JSON; - is standard output."),
    ] = None,
    csv: Annotated[
        Path | None,
        typer.Option("--csv", metavar="FILE", help="Write one row a result; - is standard output."),
    ] = None,
    as_measured: Annotated[
        bool, typer.Option("--as-measured", help="Without what was excluded or amended since.")
    ] = False,
    covariance: Annotated[
        Path | None,
        typer.Option("--covariance", metavar="FILE", help="Write the covariance matrix of the results as CSV."),
    ] = None,
    correlation: Annotated[
        Path | None,
        typer.Option("--correlation", metavar="FILE", help="Write their correlation coefficients as CSV."),
    ] = None,
    force: Force = False,
) -> None:
    """Results with u, degrees of freedom, k and U."""
    from ubudget.files.covariance_text import matrix_text
    from ubudget.files.exchange import csv_text, evaluation_object, json_text, write_text

    outputs = [path for path in (json, csv, covariance, correlation) if path is not None]
    if outputs.count(STANDARD_OUTPUT) > 1:
        raise typer.BadParameter("only one of --json, --csv, --covariance and --correlation can go to standard output")
    refuse_existing([path for path in outputs if path != STANDARD_OUTPUT], force)
    texts = []
    with Progress() as tell:
        tell("reading and evaluating")
        evaluation = evaluated(run, as_measured=True) if as_measured else evaluated(run)
        tell("writing down the results")
        if json is not None:
            texts.append((json, json_text(evaluation_object(evaluation))))
        if csv is not None:
            texts.append((csv, csv_text(evaluation)))
        if covariance is not None:
            texts.append((covariance, matrix_text(evaluation)))
        if correlation is not None:
            texts.append((correlation, matrix_text(evaluation, correlation=True)))
    for path, text in texts:
        if path != STANDARD_OUTPUT:
            write_text(text, path, force=force)
    for path, text in texts:
        if path == STANDARD_OUTPUT:
            write_out(text)
            say_findings(evaluation)
            raise typer.Exit(status(evaluation))
    if as_measured:
        typer.echo("as measured: without what was excluded or amended since\n")
    print_results(evaluation)
    for path, _ in texts:
        typer.echo(f"written: {path}")
    say_where_to_go(evaluation, run)
    raise typer.Exit(status(evaluation))


app.command()(workbook)
app.command()(convert)


@app.command()
def explain(
    run: RunPath,
    result: Annotated[
        str | None, typer.Option("--result", metavar="SAMPLE/ANALYTE[/LINE]", help="The result to explain.")
    ] = None,
    sample: Annotated[str | None, typer.Option("--sample", help="Its sample, where labels contain a slash.")] = None,
    analyte: Annotated[str | None, typer.Option("--analyte", help="Its analyte.")] = None,
    line: Annotated[str | None, typer.Option("--line", help="Its line.")] = None,
    short: Annotated[bool, typer.Option("--short", help="The summary alone, one screen.")] = False,
    page: Annotated[
        Path | None, typer.Option("--page", metavar="FILE.html", help="Write it as one page for a browser.")
    ] = None,
    text: Annotated[Path | None, typer.Option("--text", metavar="FILE", help="Write it as text.")] = None,
    force: Force = False,
) -> None:
    """A summary and the derivation of one result in words and numbers."""
    from ubudget.files.explaining import write_explanation
    from ubudget.pages.derivation import derivation
    from ubudget.pages.results_table import find_named, find_result
    from ubudget.pages.summary import summary

    named = (sample, analyte, line)
    if result is not None and named != (None, None, None):
        raise typer.BadParameter("--result stands for --sample, --analyte and --line; give one or the other")
    refuse_existing([path for path in (page, text) if path is not None], force)
    evaluation = evaluated(run)
    row = find_named(evaluation, *named) if result is None else find_result(evaluation, result)
    if page is None and text is None:
        typer.echo("\n".join((summary if short else derivation)(evaluation, row)))
    for path in write_explanation(evaluation, row, page, text, force=force):
        typer.echo(str(path))
    say_findings(evaluation)
    raise typer.Exit(LOOK if evaluation.results[row].flags else status(evaluation, flags=False))


app.command()(statement)
app.command()(schema)
app.command()(decide)
app.command()(amend)
app.command()(amendments)
app.command()(detection)
app.command("import")(import_export)
app.command()(simulate)
app.command()(trace)
app.command()(check)
app.command()(ware)
app.command()(study)
app.command()(scope)
app.command()(dossier)
app.command()(chart)
app.command()(scores)
app.command()(target)
app.command()(validate)
app.command()(compare)
