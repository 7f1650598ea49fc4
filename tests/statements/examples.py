"""The worked examples, evaluated once for all tests of a process."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import ubudget
from ubudget.evaluation.evaluate import Evaluation, Result
from ubudget.files.shipped import shipped_folder
from ubudget.records.method import Document

EXAMPLES = shipped_folder("worked_examples")
SEDIMENT = EXAMPLES / "harbour_sediment"


def runs() -> list[Path]:
    """Run folders, and methods that stand alone."""
    alone = [path for folder in ("published", "zinc_standard") for path in (EXAMPLES / folder).glob("*.toml")]
    return sorted([path.parent for path in EXAMPLES.rglob("run.toml")] + alone)


@cache
def evaluated(path: Path = SEDIMENT) -> Evaluation:
    return ubudget.evaluate(ubudget.read_run(path))


def with_results(*results: Result, **document: str) -> Evaluation:
    """The sediment run with other results, as many as are given, and other words about its method."""
    evaluation = replace(evaluated())
    method = evaluation.records.method
    changed: Document = replace(method.document, **document)  # type: ignore[arg-type]  # texts alone
    records = replace(evaluation.records, method=replace(method, document=changed))
    evaluation = replace(evaluation, records=records)
    rest = evaluated().results[len(results) :]
    # A cached property is an entry of the instance's dictionary; the results alone are another's.
    evaluation.__dict__["results"] = (*results, *rest)
    return evaluation


def result(**changes: object) -> Result:
    """A result of a client's sample of the sediment run, with other figures."""
    first = next(each for each in evaluated().results if each.sample == "SED-01")
    return replace(first, **changes)  # type: ignore[arg-type]  # fields of a result
