"""Commands on what leaves the laboratory for people and other programs: statements, and the schemas of JSON."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, get_args

import typer

from ubudget.terminal import (
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
    from ubudget.records.statement_form import StatementForm


def statement(
    run: RunPath,
    layout: Annotated[
        str | None, typer.Option("--layout", metavar="NAME", help="interval, concise, table or paragraph.")
    ] = None,
    notation: Annotated[str | None, typer.Option("--notation", metavar="NAME", help="plain or scientific.")] = None,
    decimal_mark: Annotated[
        str | None, typer.Option("--decimal-mark", metavar="NAME", help="point or comma, in texts and CSV.")
    ] = None,
    uncertainty: Annotated[
        str | None,
        typer.Option("--uncertainty", metavar="NAME", help="absolute, or relative: U in % of the value."),
    ] = None,
    text: Annotated[
        Path | None,
        typer.Option("--text", metavar="FILE", help="Write the report as text; - is standard output."),
    ] = None,
    csv: Annotated[
        Path | None, typer.Option("--csv", metavar="FILE", help="Write one row a result; - is standard output.")
    ] = None,
    separator: Annotated[
        str | None, typer.Option("--separator", metavar="NAME", help="Of the CSV: comma, semicolon or tab.")
    ] = None,
    xml: Annotated[
        Path | None, typer.Option("--xml", metavar="FILE", help="Write D-SI 2.2 XML; - is standard output.")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print as JSON.")] = False,
    force: Force = False,
) -> None:
    """The wording of each result for the client's report, and files for other programs."""
    if separator is not None and csv is None:
        raise typer.BadParameter("--separator belongs to --csv FILE")
    outputs = [path for path in (text, csv, xml) if path is not None]
    if outputs.count(STANDARD_OUTPUT) + json > 1:
        raise typer.BadParameter("only one of --json, --text, --csv and --xml can go to standard output")
    if len(set(outputs)) < len(outputs):
        raise typer.BadParameter("two outputs have one name; each needs a file of its own")
    refuse_existing([path for path in outputs if path != STANDARD_OUTPUT], force)
    from ubudget.files.atomic import replace_files
    from ubudget.files.d_si import xml_text
    from ubudget.files.exchange import json_text, statements_object
    from ubudget.files.statement_csv import statement_csv
    from ubudget.pages.listing import joined
    from ubudget.pages.statement import statement_lines

    evaluation = evaluated(run)
    form = _form(evaluation.records.method.statement, layout, notation, decimal_mark, uncertainty)
    contents = {}
    if text is not None:
        contents[text] = joined(statement_lines(evaluation, form=form))
    if csv is not None:
        contents[csv] = statement_csv(evaluation, form.decimal_mark, separator)
    if xml is not None:
        contents[xml] = xml_text(evaluation)
    if json:
        contents[STANDARD_OUTPUT] = json_text(statements_object(evaluation, form))
    files = {path: content.encode("utf-8") for path, content in contents.items() if path != STANDARD_OUTPUT}
    if files:
        replace_files(files, force=force)
    if STANDARD_OUTPUT in contents:
        write_out(contents[STANDARD_OUTPUT])
    elif files:
        for path in files:
            typer.echo(f"written: {path}")
    else:
        typer.echo("\n".join(statement_lines(evaluation, form=form)))
    say_findings(evaluation)
    raise typer.Exit(status(evaluation))


def schema(
    name: Annotated[
        str, typer.Argument(metavar="NAME", help="evaluate or statement: the command whose JSON it describes.")
    ],
) -> None:
    """The JSON Schema of what a command prints with --json."""
    from ubudget.files.schemas import SCHEMAS, schema_text

    if name not in SCHEMAS:
        raise typer.BadParameter(f"found {name}; accepted: {' or '.join(SCHEMAS)}")
    write_out(schema_text(name))


def _form(
    own: StatementForm, layout: str | None, notation: str | None, decimal_mark: str | None, uncertainty: str | None
) -> StatementForm:
    """The form of the method with what the command asks for in its place."""
    from ubudget.records.statement_form import DecimalMark, Layout, Notation, StatedAs

    asked = {}
    for name, word, accepted in (
        ("layout", layout, get_args(Layout)),
        ("notation", notation, get_args(Notation)),
        ("decimal_mark", decimal_mark, get_args(DecimalMark)),
        ("uncertainty", uncertainty, get_args(StatedAs)),
    ):
        if word is None:
            continue
        if word not in accepted:
            option = name.replace("_", "-")
            raise typer.BadParameter(f"--{option}: found {word}; accepted: {', '.join(accepted)}")
        asked[name] = word
    # What one side of the pair asks for goes before what the method has on the other.
    if asked.get("layout") == "concise":
        asked.setdefault("uncertainty", "absolute")
    if asked.get("uncertainty") == "relative" and own.layout == "concise":
        asked.setdefault("layout", "interval")
    if (asked.get("layout"), asked.get("uncertainty")) == ("concise", "relative"):
        raise typer.BadParameter(
            "--layout concise shows digits of the value; it does not go with --uncertainty relative"
        )
    return replace(own, **asked)  # type: ignore[arg-type]  # each word is one of those accepted
