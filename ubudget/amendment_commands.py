"""Commands on amendments: append one to a run, list them with what each of them changed."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from ubudget.terminal import STANDARD_OUTPUT, Force, RunPath, refuse_existing, say_findings, status, write_out

_RULES = {
    "cause": "assigned cause",
    "method": "rule of the method",
    "grubbs": "Grubbs",
    "dixon": "Dixon",
    "cochran": "Cochran",
}
_ONE = "--exclude, --exclude-solution, --restore, --relabel, --undo, or --field with what it belongs to"


def amend(
    run: Annotated[Path, typer.Argument(metavar="RUN", help="A run folder or its run file.")],
    reason: Annotated[str, typer.Option("--reason", help="Why.")],
    by: Annotated[str, typer.Option("--by", help="Who amends.")],
    exclude: Annotated[
        str | None, typer.Option("--exclude", metavar="SOLUTION/ANALYTE/LINE/REPLICATE", help="Leave a reading out.")
    ] = None,
    exclude_solution: Annotated[
        str | None, typer.Option("--exclude-solution", metavar="SOLUTION[/ANALYTE/LINE]", help="Leave all of it out.")
    ] = None,
    restore: Annotated[str | None, typer.Option("--restore", metavar="NAME", help="Take either back in.")] = None,
    relabel: Annotated[str | None, typer.Option("--relabel", metavar="LABEL", help="Rename it, with --to.")] = None,
    undo: Annotated[int | None, typer.Option("--undo", metavar="N", help="Undo amendment N.")] = None,
    sample: Annotated[str | None, typer.Option("--sample", help="Row of the samples, with --field and --to.")] = None,
    solution: Annotated[str | None, typer.Option("--solution", help="Row of the further dilutions, likewise.")] = None,
    reading: Annotated[
        str | None, typer.Option("--reading", metavar="SOLUTION/ANALYTE/LINE", help="Row of the readings, likewise.")
    ] = None,
    within: Annotated[str | None, typer.Option("--in", metavar="FILE", help="run or method, likewise.")] = None,
    field: Annotated[str | None, typer.Option("--field", help="Heading, or key: symbols.c.curve.")] = None,
    to: Annotated[str | None, typer.Option("--to", help='The new content: "0.2512 g"; "" takes it out.')] = None,
    rule: Annotated[
        str | None, typer.Option("--rule", help="With --exclude: cause, method, grubbs, dixon or cochran.")
    ] = None,
    level: Annotated[float | None, typer.Option("--level", help="Level of the test, 0.05 unless given.")] = None,
    cause: Annotated[str | None, typer.Option("--cause", help="With a test: what made the reading wrong.")] = None,
    position: Annotated[int | None, typer.Option("--position", help="Which reading of the drift check.")] = None,
    block: Annotated[
        str, typer.Option("--block", help="Calibration block, where a solution was read in several.")
    ] = "",
    on: Annotated[
        datetime | None,
        typer.Option("--on", formats=["%Y-%m-%d", "%Y-%m-%d %H:%M"], help="When, now unless given."),
    ] = None,
    only_try: Annotated[bool, typer.Option("--try", help="Show what would come of it; write nothing.")] = False,
) -> None:
    """Append an amendment to a run; the original stays in place."""
    from ubudget.files.amendment_append import append_amendment
    from ubudget.files.amendment_names import is_reading, line_named, reading_named
    from ubudget.files.verbs import evaluate

    acts = {
        "exclude": exclude,
        "exclude solution": exclude_solution,
        "restore": restore,
        "relabel": relabel,
        "undo": undo,
        "change": field,
    }
    chosen = [act for act, given in acts.items() if given is not None]
    if len(chosen) != 1:
        raise typer.BadParameter(f"{len(chosen)} acts; one of {_ONE} is needed")
    (act,) = chosen
    if rule is not None and (act != "exclude" or rule.lower() not in _RULES):
        raise typer.BadParameter(f"--rule {rule}: with --exclude one of {', '.join(_RULES)} is needed")
    if (level is not None or cause is not None) and rule is None:
        raise typer.BadParameter("--level and --cause belong to --rule")
    if level is not None and not 0 < level < 0.5:
        raise typer.BadParameter(f"--level {level:g}: a number above 0 and below 0.5 is needed")
    if (to is None) != (act not in ("relabel", "change")):
        raise typer.BadParameter("--to belongs to --relabel and --field, which need it")
    named: dict[str, Any] = {"act": act}
    if exclude is not None:
        named |= reading_named(run, exclude) | {"rule": None if rule is None else _RULES[rule.lower()]}
    elif exclude_solution is not None:
        named |= line_named(run, exclude_solution)
    elif restore is not None:
        named |= (reading_named if is_reading(run, restore) else line_named)(run, restore)
    elif relabel is not None:
        named |= {"from": relabel}
    elif undo is not None:
        named |= {"undoes": undo}
    else:
        named |= _row(run, {"samples": sample, "solutions": solution, "readings": reading, within or "run": within})
        named["field"] = field
    when = on or datetime.now()
    named |= {
        "position": position,
        "block": block or None,
        "to": to,
        "level": level,
        "cause": cause,
        "reason": reason,
        "who": by,
    }
    named |= {"when": when.date(), "time": f"{when:%H:%M}" if on is None or (when.hour, when.minute) != (0, 0) else ""}
    appended = append_amendment(run, named, write=not only_try)
    typer.echo("\n".join(appended.lines()))
    typer.echo("")
    typer.echo("not written (--try)" if only_try else f"appended  {appended.records.file('run')}")
    evaluation = evaluate(appended.records)
    say_findings(evaluation)
    raise typer.Exit(status(evaluation))


def _row(run: Path, given: Mapping[str, str | None]) -> dict[str, Any]:
    """The record and row that a change names."""
    from ubudget.files.amendment_names import line_named

    chosen = [(record, name) for record, name in given.items() if name is not None]
    if len(chosen) != 1:
        raise typer.BadParameter("--field belongs to one of --sample, --solution, --reading and --in")
    ((record, name),) = chosen
    if record == "readings":
        return {"record": record} | line_named(run, name)
    if record in ("samples", "solutions"):
        return {"record": record, "entry": name}
    if name not in ("run", "method"):
        raise typer.BadParameter(f"--in {name}: run or method is needed")
    return {"record": name}


def amendments(
    run: RunPath,
    json: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Write the trail as JSON; - is standard output.")
    ] = None,
    force: Force = False,
) -> None:
    """What was excluded and amended, and the difference that each made to each result."""
    from ubudget.files.amendment_effects import steps_of, trail_object
    from ubudget.files.exchange import json_text, write_text
    from ubudget.files.verbs import evaluate, read_run
    from ubudget.pages.amendment_list import trail_lines

    refuse_existing([json] if json is not None and json != STANDARD_OUTPUT else [], force)
    evaluation = evaluate(read_run(run))
    steps = steps_of(evaluation.records)
    if json is not None:
        text = json_text(trail_object(evaluation.records, steps))
        if json == STANDARD_OUTPUT:
            write_out(text)
        else:
            write_text(text, json, force=force)
    if json != STANDARD_OUTPUT:
        typer.echo("\n".join(trail_lines(steps)))
    say_findings(evaluation)
    raise typer.Exit(status(evaluation))
