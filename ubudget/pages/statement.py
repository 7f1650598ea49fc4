"""The wording of a result for the client's report.

What such a statement holds: GUM 7.2.3 and 7.2.4 (U, unit, k, degrees of freedom, coverage probability), EA-4/02
section 6, ILAC P14 section 5 (at most two significant digits in U, the value to the same place). The sentences are
our own.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass

from ubudget.evaluation.coverage_distribution import NORMAL
from ubudget.evaluation.decisions import decisions_of
from ubudget.evaluation.evaluate import Evaluation, Result
from ubudget.pages.amendment_words import amended_parts, amended_sentence
from ubudget.pages.coverage_words import CUT, distribution_words, interval_meaning, interval_words, rule_words
from ubudget.pages.decision_words import CAUTION, decision_sentence
from ubudget.pages.figures import unit_text
from ubudget.pages.listing import WIDTH, wrapped
from ubudget.pages.low_level_words import low_level_sentences
from ubudget.pages.number_forms import at_place, marked, text
from ubudget.pages.recovery_words import recovery_sentences
from ubudget.pages.statement_table import statement_table
from ubudget.pages.wording import NOT_AVAILABLE, interval_text, line_label
from ubudget.records.method import Coverage, Method
from ubudget.records.statement_form import PLAIN, StatementForm

EXPANDED_IS = "The figure after ± is the expanded uncertainty U = k u"
COLUMN_IS = "The column U holds the expanded uncertainty U = k u"
STANDARD_IS = "The figure in brackets is the standard uncertainty u, in units of the last digit of the value"
"""JCGM 100:2008, 7.2.2, second form."""


@dataclass(frozen=True)
class Role:
    """What a result is beside the others of its run."""

    reference_material: str
    """The reference material that the sample is, which is quality control and not a client's result; else empty."""
    lines: tuple[str, ...]
    """The lines on which the sample's analyte was measured."""
    amended: tuple[str, ...] = ()
    """What was left out or amended behind the result."""
    decided: tuple[str, ...] = ()
    """What is stated of conformity, one paragraph for each limit."""
    rule: str = ""
    """The rule by which the value is reported from these lines, where it is not that of one line."""
    low_level: tuple[str, ...] = ()
    """What is to be said of a result near zero."""

    @property
    def remarks(self) -> list[str]:
        """Sentences that belong to the statement of the result alone."""
        texts = []
        if self.reference_material:
            texts.append(
                f"It is the reference material {self.reference_material}, measured for quality control, and no "
                "client's sample."
            )
        if self.rule:
            texts.append(f"It is reported from the lines {', '.join(self.lines)} by the method's rule: {self.rule}.")
        elif len(self.lines) > 1:
            texts.append(
                f"The analyte was measured on the lines {', '.join(self.lines)}; this is the line named above."
            )
        texts += self.low_level
        return [*texts, amended_sentence(self.amended)] if self.amended else texts


def roles_of(evaluation: Evaluation) -> list[Role]:
    """The role of each result of a run, in the order of the results."""
    lines: dict[tuple[str, str], list[str]] = {}
    assembly, rule = evaluation.assembly, evaluation.records.method.several_lines
    reported = [bool(assembly.lines_of(row)) for row in range(len(evaluation.results))]
    for result, joined in zip(evaluation.results, reported, strict=True):
        if not joined:
            lines.setdefault((result.sample, result.analyte), []).append(result.line or "")
    structure = assembly.structure
    names = [(result.sample, result.analyte, result.line or "") for result in evaluation.results]
    amended = amended_parts(evaluation.records, names)
    return [
        Role(
            structure.portions[key.portions[0]].reference_material if structure and key.portions else "",
            tuple(lines[result.sample, result.analyte]),
            parts,
            tuple(decision_sentence(one, result) for one in decided),
            rule.rule if rule and joined else "",
            low_level_sentences(evaluation, row),
        )
        for row, (key, result, parts, joined, decided) in enumerate(
            zip(evaluation.keys, evaluation.results, amended, reported, decisions_of(evaluation), strict=True)
        )
    ]


def statement(result: Result, method: Method, role: Role | None = None, form: StatementForm | None = None) -> str:
    """All that the report says of one result, as one paragraph; in the form of the method unless one is given."""
    form = form or method.statement
    sentences = [f"{heading(result)}: {quantity(result)}: {amount(result, form, method.rounding.digits)}."]
    sentences += role.remarks if role else ()
    if result.value is not None and result.reported_as and result.coverage_interval is None:
        sentences += recovery_sentences([result], method)
    elif result.value is not None:
        sentences += [*meaning(result, method.coverage, form), *scope([result], method)]
    sentences += role.decided if role else ()
    sentences += [f"To be noted: {flag}." for flag in result.flags if result.value is not None]
    return " ".join(sentences)


def statement_lines(evaluation: Evaluation, width: int = WIDTH, form: StatementForm | None = None) -> list[str]:
    """The statements of a run in the form of the method unless one is given: what is common once, and the results."""
    method = evaluation.records.method
    form = form or method.statement
    lines = wrapped(_title(evaluation), width=width)
    roles = roles_of(evaluation)
    common = [part for part in roles[0].amended if all(part in role.amended for role in roles)] if roles[1:] else []
    told = {id(result): (role, _beneath(role, common)) for result, role in zip(evaluation.results, roles, strict=True)}
    clients = [r for r, role in zip(evaluation.results, roles, strict=True) if not role.reference_material]
    controls = [r for r, role in zip(evaluation.results, roles, strict=True) if role.reference_material]
    for title, results in (
        ("Samples", clients),
        ("Reference materials: quality control, no client's result", controls),
    ):
        if results and controls:
            lines += ["", *wrapped(title, width=width), "-" * min(len(title), width)]
        lines += _written(results, told, method, form, width)
    if form.layout == "paragraph":
        return lines
    several = list(
        dict.fromkeys(r.analyte for r, role in zip(evaluation.results, roles, strict=True) if role.lines[1:])
    )
    if several:
        words = (
            f"More than one line was measured for {', '.join(several)}: each line is a result of its own, named by it."
        )
        if method.several_lines:
            words += f" What names no line is reported from them by the method's rule: {method.several_lines.rule}."
        lines += ["", *wrapped(words, width=width)]
    if common:
        lines += ["", *wrapped(amended_sentence(common, ", behind every result"), width=width)]
    available = [result for result in evaluation.results if result.value is not None]
    if available:
        lines += ["", *wrapped(" ".join(_closing(available, method, form)), width=width)]
    if any(role.decided for role in roles):
        lines += ["", *wrapped(CAUTION, width=width)]
    return lines


def heading(result: Result) -> str:
    """Sample and analyte; a method that stands alone names only itself."""
    return result.sample if _stands_alone(result) else f"{result.sample}, {line_label(result.analyte, result.line)}"


def quantity(result: Result) -> str:
    """What was measured, with its basis."""
    return f"{result.measurand} ({result.basis})" if result.basis else result.measurand


def amount(result: Result, form: StatementForm = PLAIN, digits: int = 2) -> str:
    """`(46.8 ± 2.7) mg/kg`; for a result that cannot be computed, that it is not available and why."""
    if not result.reported_as:
        if result.value is None or result.reported_value is None:
            return f"{NOT_AVAILABLE}: {'; '.join(result.flags) or 'it cannot be calculated'}"
        if not result.expanded_uncertainty:
            value = text(at_place(result.reported_value, result.decimals), form.decimal_mark)
            return f"{value}{unit_text(result.unit)}, without an uncertainty"
    return interval_text(result, form, digits, result.unit)


def factor(result: Result, coverage: Coverage) -> str:
    """The coverage factor as it is written: as the method fixes it, or t to two decimals."""
    if result.coverage_factor is None:
        return NOT_AVAILABLE if result.value is None else "none"
    return f"{result.coverage_factor:g}" if coverage.rule == "fixed" else f"{result.coverage_factor:.2f}"


def meaning(result: Result, coverage: Coverage, form: StatementForm) -> list[str]:
    """What stands behind the sign ±, or in brackets."""
    if not result.expanded_uncertainty or (result.reported_as and result.coverage_interval is None):
        return []
    if form.layout == "concise":
        return [f"{STANDARD_IS}{_with_dof(result)}."]
    if result.coverage_interval is not None:
        return [marked(interval_meaning(result), form.decimal_mark)]
    probability = _percent(result, form)
    k = marked(factor(result, coverage), form.decimal_mark)
    words = f"{EXPANDED_IS} with the coverage factor k = {k}"
    if coverage.rule == "fixed":
        return [f"{words}; the method states a coverage probability of about {probability}."]
    return [f"{words}, for a coverage probability of {probability} ({distribution_words(result, coverage)})."]


def scope(results: Iterable[Result], method: Method) -> list[str]:
    """What the uncertainty includes, the largest part first, what it leaves out, and how recovery is treated."""
    results = list(results)
    shares: dict[str, float] = {}
    for result in results:
        for row in result.budget:
            if row.contribution != 0:
                shares[row.group] = shares.get(row.group, 0.0) + row.share
    groups = sorted((group for group in shares if group), key=lambda group: -shares[group])
    included = [f"It includes the contributions of {', '.join(groups)}."] if groups else []
    words = left_out(method)
    return [
        *included,
        f"It does not include: {words}." if words else "The method names nothing that it leaves out.",
        *recovery_sentences(results, method),
    ]


def left_out(method: Method) -> str:
    """What the uncertainty does not include, such as sampling; empty where the method names nothing."""
    return method.document.not_included.rstrip(". ")


def _title(evaluation: Evaluation) -> str:
    document, run = evaluation.records.method.document, evaluation.records.run
    words = f"{document.title}. Method {document.id}, version {document.version}, {document.status}."
    return f"{words} Run {evaluation.records.name} of {run.file.run.date.isoformat()}." if run else words


def _percent(result: Result, form: StatementForm) -> str:
    return marked(f"{100 * result.coverage_probability:g} %", form.decimal_mark)


def _dof(result: Result) -> str:
    whole = max(1, int((result.effective_degrees_of_freedom or 0.0) + CUT))
    return f"{whole} effective degrees of freedom"


def _with_dof(result: Result) -> str:
    return "" if result.effective_degrees_of_freedom is None else f", with {_dof(result)}"


def _beneath(role: Role, common: Container[str]) -> list[str]:
    """Sentences that stand beneath the figures of one result, but for amendments that all results have in common."""
    amended = [part for part in role.amended if part not in common]
    return [*role.low_level, *([amended_sentence(amended)] if amended else []), *role.decided]


def _written(
    results: list[Result], told: Mapping[int, tuple[Role, list[str]]], method: Method, form: StatementForm, width: int
) -> list[str]:
    """The results of one part of the report; `told` has for each its role and the sentences beneath it."""
    if not results:
        return []
    if form.layout == "table":
        factors = [marked(factor(result, method.coverage), form.decimal_mark) for result in results]
        table = statement_table(results, factors, form, method.rounding.digits, width)
        texts = [f"{heading(result)}: {' '.join(told[id(result)][1])}" for result in results if told[id(result)][1]]
        return ["", *table, *(line for words in texts for line in ("", *wrapped(words, hanging="  ", width=width)))]
    lines = []
    for result in results:
        role, beneath = told[id(result)]
        if form.layout == "paragraph":
            lines += ["", *wrapped(statement(result, method, role, form), hanging="  ", width=width)]
        else:
            lines += ["", *wrapped(_short(result, method, form), hanging="  ", width=width)]
            for words in beneath:
                lines += wrapped(words, "  ", width=width)
    return lines


def _short(result: Result, method: Method, form: StatementForm) -> str:
    coverage = method.coverage
    words = f"{heading(result)}: {amount(result, form, method.rounding.digits)}"
    if result.value is None:
        return f"{words}."
    if result.reported_as and result.coverage_interval:
        words += f", the interval {marked(interval_words(result).partition(', ')[2], form.decimal_mark)}"
    elif result.expanded_uncertainty and not result.reported_as:
        words += _with_dof(result) if form.layout == "concise" else _with_factor(result, coverage, form)
    return f"{words}. {' '.join(f'To be noted: {flag}.' for flag in result.flags)}".rstrip()


def _with_factor(result: Result, coverage: Coverage, form: StatementForm) -> str:
    if result.coverage_interval and result.coverage_factor is None:
        return f", {distribution_words(result, coverage)}"
    words = f", k = {marked(factor(result, coverage), form.decimal_mark)}"
    if result.coverage_distribution and (coverage.rule, result.coverage_distribution) != ("t", NORMAL):
        words += f" ({distribution_words(result, coverage)})"
    return words


def _closing(available: list[Result], method: Method, form: StatementForm) -> list[str]:
    probability = _percent(available[0], form)
    stated = (
        rule_words(method.coverage)
        if method.coverage.rule == "simulation"
        else (
            f"the method states a coverage probability of about {probability}"
            if method.coverage.rule == "fixed"
            else f"k is chosen for a coverage probability of {probability}"
        )
    )
    what = COLUMN_IS if form.layout == "table" else EXPANDED_IS
    figures = [f"{STANDARD_IS}."] if form.layout == "concise" else [f"{what}; {stated}."]
    measured = [result for result in available if not result.lines]
    return [
        *([f"Each value is the {quantity(measured[0])}."] if measured else []),
        *_derived_quantities(available),
        *(figures if any(not result.reported_as for result in available) else []),
        *scope(available, method),
    ]


def _derived_quantities(available: list[Result]) -> list[str]:
    """What each kind of derived result is, told once."""
    kinds: dict[str, dict[str, None]] = {}
    for result in available:
        if result.lines:
            kinds.setdefault(quantity(result), {})[result.analyte] = None
    return [
        f"{', '.join(names)}: {what}, calculated from the results, correlations included."
        for what, names in kinds.items()
    ]


def _stands_alone(result: Result) -> bool:
    return result.analyte == result.measurand
