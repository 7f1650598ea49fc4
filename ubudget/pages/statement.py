"""The wording of a result for the client's report.

What such a statement holds: GUM 7.2.3 and 7.2.4 (U, unit, k, degrees of freedom, coverage probability), EA-4/02
section 6, ILAC P14 section 5 (at most two significant digits in U, the value to the same place). The sentences are
our own.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ubudget.evaluation.coverage_distribution import NORMAL
from ubudget.evaluation.evaluate import Evaluation, Result
from ubudget.pages.amendment_words import amended_parts, amended_sentence
from ubudget.pages.coverage_words import distribution_words, interval_meaning, interval_words, rule_words
from ubudget.pages.figures import unit_text
from ubudget.pages.listing import WIDTH, wrapped
from ubudget.pages.recovery_words import recovery_sentences
from ubudget.pages.wording import NOT_AVAILABLE, fixed, interval_text, line_label
from ubudget.records.method import Coverage, Method


@dataclass(frozen=True)
class Role:
    """What a result is beside the others of its run."""

    reference_material: str
    """The reference material that the sample is, which is quality control and not a client's result; else empty."""
    lines: tuple[str, ...]
    """The lines on which the sample's analyte was measured."""
    amended: tuple[str, ...] = ()
    """What was left out or amended behind the result."""
    rule: str = ""
    """The rule by which the value is reported from these lines, where it is not that of one line."""

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
            rule.rule if rule and joined else "",
        )
        for key, result, parts, joined in zip(evaluation.keys, evaluation.results, amended, reported, strict=True)
    ]


def statement(result: Result, method: Method, role: Role | None = None) -> str:
    """All that the report says of one result, as one paragraph."""
    sentences = [f"{heading(result)}: {quantity(result)}: {amount(result)}.", *(role.remarks if role else ())]
    if result.value is not None:
        sentences += [*meaning(result, method.coverage), *scope([result], method)]
    sentences += [f"To be noted: {flag}." for flag in result.flags if result.value is not None]
    return " ".join(sentences)


def statement_lines(evaluation: Evaluation, width: int = WIDTH) -> list[str]:
    """The statements of a run: what is common once, and a paragraph for each result."""
    method = evaluation.records.method
    document = method.document
    lines = wrapped(
        f"{document.title}. Method {document.id}, version {document.version}, {document.status}. "
        f"{'Run ' + evaluation.records.name + '.' if evaluation.records.run else ''}",
        width=width,
    )
    roles = roles_of(evaluation)
    common = [part for part in roles[0].amended if all(part in role.amended for role in roles)] if roles[1:] else []
    amended = {
        id(result): amended_sentence([part for part in role.amended if part not in common])
        for result, role in zip(evaluation.results, roles, strict=True)
    }
    clients = [r for r, role in zip(evaluation.results, roles, strict=True) if not role.reference_material]
    controls = [r for r, role in zip(evaluation.results, roles, strict=True) if role.reference_material]
    for title, results in (
        ("Samples", clients),
        ("Reference materials: quality control, no client's result", controls),
    ):
        if results and controls:
            lines += ["", *wrapped(title, width=width), "-" * min(len(title), width)]
        for result in results:
            lines += ["", *wrapped(_short(result, method.coverage), hanging="  ", width=width)]
            lines += wrapped(amended[id(result)], "  ", width=width) if amended[id(result)] else []
    several = list(
        dict.fromkeys(r.analyte for r, role in zip(evaluation.results, roles, strict=True) if role.lines[1:])
    )
    if several:
        text = (
            f"More than one line was measured for {', '.join(several)}: each line is a result of its own, named by it."
        )
        if method.several_lines:
            text += f" What names no line is reported from them by the method's rule: {method.several_lines.rule}."
        lines += ["", *wrapped(text, width=width)]
    if common:
        lines += ["", *wrapped(amended_sentence(common, ", behind every result"), width=width)]
    available = [result for result in evaluation.results if result.value is not None]
    if available:
        lines += ["", *wrapped(" ".join(_closing(available, method)), width=width)]
    return lines


def heading(result: Result) -> str:
    """Sample and analyte; a method that stands alone names only itself."""
    return result.sample if _stands_alone(result) else f"{result.sample}, {line_label(result.analyte, result.line)}"


def quantity(result: Result) -> str:
    """What was measured, with its basis."""
    return f"{result.measurand} ({result.basis})" if result.basis else result.measurand


def amount(result: Result) -> str:
    """`(46.8 ± 2.7) mg/kg`; for a result that cannot be computed, that it is not available and why."""
    if result.value is None or result.reported_value is None:
        return f"{NOT_AVAILABLE}: {'; '.join(result.flags) or 'it cannot be calculated'}"
    unit = unit_text(result.unit)
    if not result.expanded_uncertainty:
        return f"{fixed(result.reported_value, result.decimals)}{unit}, without an uncertainty"
    return f"({interval_text(result)}){unit}" if unit else interval_text(result)


def factor(result: Result, coverage: Coverage) -> str:
    """The coverage factor as it is written: as the method fixes it, or t to two decimals."""
    if result.coverage_factor is None:
        return NOT_AVAILABLE if result.value is None else "none"
    return f"{result.coverage_factor:g}" if coverage.rule == "fixed" else f"{result.coverage_factor:.2f}"


def meaning(result: Result, coverage: Coverage) -> list[str]:
    """What stands behind the sign ±."""
    if not result.expanded_uncertainty:
        return []
    if result.coverage_interval is not None:
        return [interval_meaning(result)]
    probability = f"{100 * result.coverage_probability:g} %"
    k = factor(result, coverage)
    text = f"The figure after ± is the expanded uncertainty U = k u with the coverage factor k = {k}"
    if coverage.rule == "fixed":
        return [f"{text}; the method states a coverage probability of about {probability}."]
    return [f"{text}, for a coverage probability of {probability} ({distribution_words(result, coverage)})."]


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
    left_out = method.document.not_included.rstrip(". ")
    return [
        *included,
        f"It does not include: {left_out}." if left_out else "The method names nothing that it leaves out.",
        *recovery_sentences(results, method),
    ]


def _short(result: Result, coverage: Coverage) -> str:
    text = f"{heading(result)}: {amount(result)}"
    if result.value is None:
        return f"{text}."
    if result.reported_as and result.coverage_interval:
        text += f", the interval {interval_words(result).partition(', ')[2]}"
    elif result.expanded_uncertainty and result.coverage_interval and result.coverage_factor is None:
        text += f", {distribution_words(result, coverage)}"
    elif result.expanded_uncertainty:
        text += f", k = {factor(result, coverage)}"
        if result.coverage_distribution and (coverage.rule, result.coverage_distribution) != ("t", NORMAL):
            text += f" ({distribution_words(result, coverage)})"
    return f"{text}. {' '.join(f'To be noted: {flag}.' for flag in result.flags)}".rstrip()


def _closing(available: list[Result], method: Method) -> list[str]:
    probability = f"{100 * available[0].coverage_probability:g} %"
    stated = (
        rule_words(method.coverage)
        if method.coverage.rule == "simulation"
        else (
            f"the method states a coverage probability of about {probability}"
            if method.coverage.rule == "fixed"
            else f"k is chosen for a coverage probability of {probability}"
        )
    )
    measured = [result for result in available if not result.lines]
    return [
        *([f"Each value is the {quantity(measured[0])}."] if measured else []),
        *_derived_quantities(available),
        f"The figure after ± is the expanded uncertainty U = k u; {stated}.",
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
