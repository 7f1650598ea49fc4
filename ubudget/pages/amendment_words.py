"""Words for amendments on the sheet changes, in listings and in statements."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ubudget.records.amendments import TESTS, Amended, Amendment
from ubudget.records.crosscheck_amendments import in_force
from ubudget.records.read_order import calibration_of
from ubudget.records.records import Records
from ubudget.records.run import Exclusion
from ubudget.records.run_index import RunIndex, index_of

ResultName = tuple[str, str, str]
"""Sample, analyte, line."""

_STATES = {
    "exclude": ("included", "left out"),
    "exclude solution": ("included", "left out"),
    "restore": ("left out", "included"),
    "undo": ("in force", "undone"),
}


def from_and_to(amendment: Amendment) -> tuple[str, str]:
    return _STATES.get(amendment.act) or (amendment.was, amendment.to)


def rule_words(amendment: Amendment) -> str:
    """`Grubbs 1.1546, critical 1.1543 at level 0.05; cause: air bubble`; empty where there is no rule."""
    if amendment.rule is None:
        return ""
    words: str = amendment.rule
    if amendment.rule in TESTS and amendment.statistic is not None and amendment.critical is not None:
        words += f" {amendment.statistic:g}, critical {amendment.critical:g}"
    if amendment.level is not None:
        words += f" at level {amendment.level:g}"
    return f"{words}; cause: {amendment.cause}" if amendment.cause else words


def moment(amendment: Amendment) -> str:
    return f"{amendment.when.isoformat()} {amendment.time}".strip()


def own_exclusions(records: Records) -> list[Exclusion]:
    """Readings left out that no amendment leaves out: by the run file, or in the cells of a workbook."""
    by_amendment = {key for done in in_force(records) if done.amendment.act != "restore" for key in done.readings}
    marks = records.run.file.exclusions if records.run else ()
    return [
        mark
        for mark in marks
        if (mark.solution, mark.analyte, mark.line, mark.replicate, mark.position, mark.block) not in by_amendment
    ]


def amended_parts(records: Records, results: Sequence[ResultName]) -> list[tuple[str, ...]]:
    """For each result what was left out or amended behind it, a few words each."""
    run = records.run
    if run is None:
        return [()] * len(results)
    index = index_of(run)
    parts: list[tuple[str, tuple[tuple[str, ...], tuple[tuple[str, str], ...]]]] = [
        (
            f"reading {mark.replicate} of {mark.solution}, {mark.analyte} {mark.line}".rstrip() + " left out",
            ((mark.solution,), ((mark.analyte, mark.line),)),
        )
        for mark in own_exclusions(records)
    ]
    parts += [(_said(done), (done.solutions, done.lines)) for done in in_force(records)]
    return [
        tuple(dict.fromkeys(said for said, touched in parts if _touches(records, index, *touched, result)))
        for result in results
    ]


def amended_sentence(parts: Sequence[str], behind: str = "") -> str:
    """The parts as one sentence; empty where there are none."""
    if not parts:
        return ""
    more = f" and {len(parts) - _MOST} more" if len(parts) > _MOST else ""
    return f"Amended after the measurement{behind}: {'; '.join(parts[:_MOST])}{more}."


_MOST = 4
"""Amendments that a sentence names; how many more there are is said."""


def _said(done: Amended) -> str:
    act = done.amendment.act
    if act in ("exclude", "exclude solution"):
        return f"{done.what} left out"
    if act == "restore":
        return f"{done.what} restored"
    was, to = from_and_to(done.amendment)
    if act == "relabel":
        return f"label {was} is now {to}"
    return f"{done.what} from {was or 'nothing'} to {to or 'nothing'}"


def _touches(
    records: Records,
    index: RunIndex,
    solutions: tuple[str, ...],
    lines: tuple[tuple[str, str], ...],
    result: ResultName,
) -> bool:
    """Whether a result may rest on these solutions and lines: its own, or standards, blanks and checks of its line."""
    sample, *line = result
    if lines and tuple(line) not in lines and not _is_beside(records, lines):
        return False
    return not solutions or any(_is_behind(index, solution, sample) for solution in solutions)


def _is_beside(records: Records, lines: tuple[tuple[str, str], ...]) -> bool:
    """Whether one of the lines is that of the internal standard, by which all readings are divided, or interferes."""
    calibration = calibration_of(records.method)
    standard = calibration.internal_standard if calibration is not None else None
    interfering = {overlap.of for overlap in records.method.overlaps}
    return (standard is not None and (standard.analyte, standard.line) in lines) or bool(interfering & set(lines))


def _is_behind(index: RunIndex, solution: str, sample: str) -> bool:
    portion = index.root(solution)
    return portion is None or portion.kind == "blank" or portion.sample == sample


def amended_lines(records: Records) -> Iterator[tuple[str, str, str, str, str, str]]:
    """What, reason, who, from, to and when of everything left out or changed, in the order of the record."""
    if records.run is None:
        return
    for mark in own_exclusions(records):
        what = f"reading {mark.replicate} of {mark.solution}, {mark.analyte} {mark.line}".strip()
        what += f", block {mark.block}" if mark.block else ""
        yield what, mark.reason, mark.who, "included", "left out", str(mark.when or "")
    for change in records.run.file.changes:
        yield change.what, change.reason, change.who, change.was, change.now, str(change.when or "")
    for done in records.amendments:
        amendment = done.amendment
        what = f"amendment {done.number}: {done.what}{' (undone later)' if done.undone else ''}"
        rule = rule_words(amendment)
        reason = f"{amendment.reason}; by {rule}" if rule else amendment.reason
        yield what, reason, amendment.who, *from_and_to(amendment), moment(amendment)
