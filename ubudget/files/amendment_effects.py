"""The difference that each exclusion and amendment of a run makes to each result, one after the other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from ubudget.evaluation.evaluate import Evaluation, Result, evaluate
from ubudget.files.exchange import run_object
from ubudget.files.reading import records_from_texts
from ubudget.files.toml_text import parse_toml
from ubudget.pages.amendment_list import ORDER, Difference, Step
from ubudget.pages.amendment_words import from_and_to, rule_words
from ubudget.records.amendments import Amended
from ubudget.records.records import Records, SourceText

ResultKey = tuple[str, str, str]


def steps_of(records: Records) -> list[Step]:
    """Every exclusion of the run file, then every amendment, with its differences. Edits of a workbook are no steps."""
    original, _ = records_from_texts(records.texts, until=None)
    if original is None or original.run is None:
        return []
    first = _exclusions(records.texts)
    bare = [*map(_exclusion_step, range(1, len(first) + 1), first), *map(_amendment_step, original.amendments)]
    return list(_with_differences(records.texts, bare, 0))


def last_step(texts: Sequence[SourceText], records: Records) -> Step:
    """The last amendment of records that were read from texts, with its differences."""
    before = len(_exclusions(texts)) + len(records.amendments) - 1
    (step,) = _with_differences(texts, [_amendment_step(records.amendments[-1])], before)
    return step


def _with_differences(texts: Sequence[SourceText], steps: Sequence[Step], done: int) -> Iterator[Step]:
    """`done`: how many steps went before."""
    before = _results(texts, done)
    for until, step in enumerate(steps, start=done + 1):
        after = _results(texts, until)
        if after is None:
            yield replace(step, evaluated=False)
            continue
        if before is not None:
            step = replace(step, differences=tuple(_differences(before, after)))
        yield step
        before = after


def _results(texts: Sequence[SourceText], until: int) -> dict[ResultKey, Result] | None:
    records, _ = records_from_texts(texts, until=until)
    evaluation: Evaluation | None = None
    if records is not None:
        evaluation, _ = evaluate(records)
    if evaluation is None:
        return None
    return {(result.sample, result.analyte, result.line or ""): result for result in evaluation.results}


def _differences(before: dict[ResultKey, Result], after: dict[ResultKey, Result]) -> Iterator[Difference]:
    for key in dict.fromkeys([*before, *after]):
        old, new = before.get(key), after.get(key)
        if old is None or new is None or _figures(old) != _figures(new):
            yield Difference(old, new)


def _figures(result: Result) -> tuple[float | None, float | None, float | None]:
    return result.value, result.standard_uncertainty, result.expanded_uncertainty


def _exclusions(texts: Sequence[SourceText]) -> list[dict[str, Any]]:
    """The readings that the run file itself leaves out, as it has them."""
    documents = [parse_toml(text.text, text.name)[0] for text in texts if text.role == "run"]
    entries = documents[0].get("exclude_reading", []) if documents and documents[0] is not None else []
    return [entry for entry in entries if isinstance(entry, dict)]


def _exclusion_step(number: int, entry: dict[str, Any]) -> Step:
    line = " ".join(str(entry[key]) for key in ("analyte", "line") if entry.get(key))
    return Step(
        f"exclude_reading {number}",
        "exclude",
        f"reading {entry.get('replicate')} of {entry.get('solution')}, {line}",
        "included",
        "left out",
        str(entry.get("reason", "")),
        str(entry.get("who", "")),
        str(entry.get("when", "")),
    )


def _amendment_step(done: Amended) -> Step:
    amendment = done.amendment
    return Step(
        f"amendment {done.number}",
        amendment.act,
        done.what,
        *from_and_to(amendment),
        amendment.reason,
        amendment.who,
        f"{amendment.when.isoformat()} {amendment.time}".strip(),
        rule_words(amendment),
        done.undone,
    )


def trail_object(records: Records, steps: Sequence[Step]) -> dict[str, Any]:
    """The trail for other programs; numbers are unrounded, null where there is none."""
    return {
        "run": run_object(records),
        "order": ORDER,
        "amendments": [step_object(step) for step in steps],
    }


def step_object(step: Step) -> dict[str, Any]:
    told = {
        "name": step.name,
        "act": step.act,
        "what": step.what,
        "from": step.was,
        "to": step.to,
        "reason": step.reason,
        "who": step.who,
        "when": step.when,
        "rule": step.rule or None,
        "undone": step.undone,
        "evaluated": step.evaluated,
    }
    return told | {"differences": [_difference_object(difference) for difference in step.differences]}


def _difference_object(difference: Difference) -> dict[str, Any]:
    named, before, after = difference.named, difference.before, difference.after
    return {
        "sample": named.sample,
        "analyte": named.analyte,
        "line": named.line,
        "unit": named.unit,
        "value_before": before.value if before else None,
        "value_after": after.value if after else None,
        "value_difference": difference.value,
        "standard_uncertainty_before": before.standard_uncertainty if before else None,
        "standard_uncertainty_after": after.standard_uncertainty if after else None,
        "standard_uncertainty_difference": difference.u,
    }
