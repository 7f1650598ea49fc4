"""The validation of the installation at hand: its files, and every case by library, workbook and second calculation."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from ubudget.errors import UbudgetError, UnusableInput
from ubudget.evaluation.evaluate import Evaluation, evaluate
from ubudget.evaluation.expected_figures import Comparison, compared_with_independent, compared_with_source
from ubudget.files.installation import Installation, installation, versions
from ubudget.files.reading import read_records
from ubudget.files.recalculation import Engine, Recalculated, engine_here, recalculated
from ubudget.files.validation_cases import Case, laboratory_cases, shipped_cases
from ubudget.files.workbook_writer import book_bytes
from ubudget.independent.propagation import recalculated as calculated_anew
from ubudget.pages.book import Book
from ubudget.pages.exported_inputs import NotExported, exported_inputs
from ubudget.pages.plan import plan_book
from ubudget.pages.record_sheet import fingerprint
from ubudget.pages.validation_record import BookCheck, CaseRecord, ValidationRecord
from ubudget.records.records import SourceText
from ubudget.version import __version__


@dataclass(frozen=True)
class _Worked:
    """A case after the library's part; `book` waits for the spreadsheet program."""

    record: CaseRecord
    book: tuple[Book, bytes] | None = None


def validate(
    day: date, reviewer: str, own: Path | None, told: Callable[[str, float], None] = lambda what, part: None
) -> ValidationRecord:
    """The record of the shipped cases and of those in the folder `own`.

    Raises `UnusableInput` for cases of the laboratory that cannot be read. What is wrong with the shipped ones is a
    fault of the installation, and fails it."""
    own_cases = [] if own is None else laboratory_cases(own)
    told("looking at the installed files", 0.0)
    found = installation()
    wrong = list(_wrong_files(found))
    try:
        cases = shipped_cases()
    except UnusableInput as faults:
        cases = []
        wrong += [finding.line() for finding in faults.findings]
    except UbudgetError as fault:
        cases = []
        wrong.append(str(fault))
    cases = _named_apart([*cases, *own_cases])
    worked = []
    for number, case in enumerate(cases):
        told(f"calculating {case.name}", number / len(cases))
        worked.append(_worked(case, day))
    told("recalculating workbooks", 0.0)
    engine = engine_here()
    return ValidationRecord(
        day,
        reviewer,
        f"ubudget {__version__}",
        _files_words(found),
        found.fingerprint,
        found.compared,
        tuple(wrong),
        "" if engine is None else engine.version,
        versions(),
        tuple(_with_books(worked, engine)),
    )


def _named_apart(cases: Sequence[Case]) -> list[Case]:
    """A name that an earlier case bears is counted on."""
    counts: Counter[str] = Counter()
    named = []
    for case in cases:
        counts[case.name] += 1
        times = counts[case.name]
        named.append(replace(case, name=f"{case.name}-{times}") if times > 1 else case)
    return named


def _wrong_files(found: Installation) -> list[str]:
    kinds = (("missing", found.missing), ("altered", found.altered), ("not among those released", found.added))
    return [f"{name}: {kind}; install the program again" for kind, names in kinds for name in names]


def _files_words(found: Installation) -> str:
    if not found.compared:
        return f"{found.files}, not compared: a source tree, beside which no list of released files stands"
    if found.passed:
        return f"{found.files}, all as released (SHA-256 of each)"
    return f"{found.files}, not all as released"


def _worked(case: Case, day: date) -> _Worked:
    """Library and second calculation. A planted or a real fault of the program fails the case, whatever it raises."""
    source, expected = case.expected.source, case.expected
    record = CaseRecord(
        case.name,
        ", ".join(part for part in (source.title, source.edition, source.section, source.obtained) if part),
        ", ".join(part for part in (source.title, source.section) if part),
        source.note,
        reference=_reference(case),
        attend=tuple(_overdue(case, day)),
    )
    try:
        records, findings = read_records(case.example)
        if records is None:
            return _Worked(replace(record, faults=tuple(finding.line() for finding in findings)))
        files = (*records.texts, SourceText("method", "expected", case.text))
        record = replace(record, fingerprint=fingerprint(files))
        evaluation, findings = evaluate(records)
        if evaluation is None:
            return _Worked(replace(record, faults=tuple(finding.line() for finding in findings)))
        figures = list(compared_with_source(expected, evaluation))
        record = replace(record, figures=tuple(figures))
        record = _beside_second(record, evaluation)
        book = plan_book(evaluation)
        return _Worked(record, (book, book_bytes(book)))
    except LookupError as fault:
        return _Worked(replace(record, faults=(f"{fault.args[0] if fault.args else fault}",)))
    except Exception as fault:
        return _Worked(replace(record, faults=(f"the program stops with {type(fault).__name__}: {fault}",)))


def _beside_second(record: CaseRecord, evaluation: Evaluation) -> CaseRecord:
    if evaluation.records.run is not None:
        return replace(record, why_not="the example is a run and not a single budget")
    try:
        inputs = exported_inputs(evaluation.records.method)
    except NotExported as reason:
        return replace(record, why_not=str(reason))
    second: Sequence[Comparison] = tuple(compared_with_independent(calculated_anew(inputs), evaluation.results[0]))
    return replace(record, inputs=inputs, figures=(*record.figures, *second))


def _reference(case: Case) -> str:
    reference = case.expected.reference
    if reference is None:
        return ""
    due = f", due for review on {reference.due}" if reference.due else ""
    return f"established on {reference.established}, reviewed by {reference.reviewer}{due}"


def _overdue(case: Case, day: date) -> list[str]:
    reference = case.expected.reference
    if reference is None or reference.due is None or reference.due >= day:
        return []
    return [f"the reference data were due for review on {reference.due}; review them"]


def _with_books(worked: Sequence[_Worked], engine: Engine | None) -> list[CaseRecord]:
    books = [each.book for each in worked if each.book is not None]
    if engine is None or not books:
        return [each.record for each in worked]
    checks = iter(recalculated(engine, books))
    return [
        each.record if each.book is None else replace(each.record, workbook=_check(next(checks))) for each in worked
    ]


def _check(found: Recalculated) -> BookCheck:
    return BookCheck(found.formulas, found.largest, found.differing, found.fault, found.passed)
