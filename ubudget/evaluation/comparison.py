"""Two results, or a result and a stated value, made comparable: one unit, one basis, and what they share.

Results of one run covary by all that they share. Results of two runs share the calibration of numbered ware and the
certified value of a stock solution, where the register of both has the same item, lot and certificate; what else they
may share is declared by a correlation coefficient.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ubudget.errors import UbudgetError
from ubudget.evaluation.certificates import Register
from ubudget.evaluation.covariance import covariance_of
from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.material_checks import CertifiedResult, certified_results
from ubudget.evaluation.scores import (
    Score,
    normalised_error,
    repeatability_check,
    trueness_check,
    z_prime_score,
    z_score,
    zeta_score,
)
from ubudget.records.amount import Amount
from ubudget.records.unit_comparison import in_unit

LASTING = ("stock", "calibration")
"""Families of deviations that outlast a run: those of a certified value and of a numbered piece of ware."""


@dataclass(frozen=True)
class Compared:
    """A value as it is compared; `U` expanded by `k`. `basis` empty: not stated."""

    name: str
    value: float
    unit: str
    u: float
    U: float
    basis: str = ""
    measurand: str = ""


@dataclass(frozen=True)
class Comparison:
    """Scores of two values in the unit of the first; `covariance` of both, and what it rests on in words."""

    first: Compared
    second: Compared
    covariance: float
    shared: str
    scores: tuple[Score, ...]
    remarks: tuple[str, ...] = ()

    @property
    def passed(self) -> bool:
        return all(score.passed for score in self.scores)


def of_result(evaluation: Evaluation, row: int, name: str) -> Compared:
    """A result of a run. Raises `UbudgetError` where it has no value."""
    result = evaluation.results[row]
    if result.value is None or result.standard_uncertainty is None or result.expanded_uncertainty is None:
        flags = "; ".join(result.flags)
        raise UbudgetError(f"{name}: found no value ({flags}); accepted: a result with a value; choose another")
    return Compared(
        name,
        result.value,
        result.unit,
        result.standard_uncertainty,
        result.expanded_uncertainty,
        result.basis,
        result.measurand,
    )


def stated(value: Amount, U: Amount | None, k: float | None, u: Amount | None, basis: str = "") -> Compared:
    """A stated value with U and k, or with u; a % is relative to it. Raises `UbudgetError`."""
    if (U is None) == (u is None):
        found = "neither --U nor --u" if U is None else "both --U and --u"
        raise UbudgetError(f"uncertainty: found {found}; accepted: --U with --k, or --u; state one")
    if U is not None and k is None:
        raise UbudgetError(f"--U {U.text}: found no k; accepted: --k, the coverage factor of U, e.g. 2; state it")
    if u is not None and k is not None:
        raise UbudgetError("--k: found beside --u; accepted: --k with --U; leave it out")
    if k is not None and not k > 0:
        raise UbudgetError(f"--k {k:g}: found no coverage factor; accepted: a number above zero; correct it")
    given = U if U is not None else u
    assert given is not None
    option = "--U" if U is not None else "--u"
    size = given.value / 100 * abs(value.value) if given.relative else in_unit(given.value, given.unit, value.unit)
    if size is None:
        accepted = f"the unit of the value, {value.unit or '1'}, or %"
        raise UbudgetError(f"{option} {given.text}: found another unit; accepted: {accepted}; correct it")
    if size < 0:
        raise UbudgetError(f"{option} {given.text}: found a negative one; accepted: zero or above; correct the sign")
    factor = 2.0 if k is None else k
    half = size if U is not None else factor * size
    return Compared("stated value", value.value, value.unit, half / factor, half, basis)


def comparison(
    first: Compared,
    second: Compared,
    *,
    covariance: float = 0.0,
    shared: str = "",
    correlation: float | None = None,
    sigma: Amount | None = None,
    s_r: Amount | None = None,
    certified: bool = False,
) -> Comparison:
    """All scores that the figures allow, in the unit of the first value.

    `covariance` is in that unit squared; `correlation`, declared, stands in its place. `sigma` gives z and z′, `s_r`
    the limit of duplicates. Raises `UbudgetError` where units or bases differ."""
    second = _in_unit_of(second, first)
    if first.basis and second.basis and first.basis != second.basis:
        raise UbudgetError(
            f"{second.name}: found on the basis {second.basis}, {first.name} on {first.basis}; "
            "accepted: one basis; convert one of them"
        )
    if correlation is not None:
        if not -1 <= correlation <= 1:
            raise UbudgetError(f"--r {correlation:g}: found no correlation; accepted: from -1 to 1; correct it")
        covariance, shared = correlation * first.u * second.u, f"declared r = {correlation:g}"
    both = first.u * second.u
    r = min(1.0, max(-1.0, covariance / both)) if both else 0.0
    pair = (first.value, first.u, second.value, second.u)
    scores = []
    if certified:
        scores.append(trueness_check(*pair, covariance=r * both))
    scores.append(zeta_score(*pair, covariance=r * both))
    expanded = r * first.U * second.U
    scores.append(normalised_error(first.value, first.U, second.value, second.U, covariance=expanded))
    if sigma is not None:
        size = _size("--sigma", sigma, second, first.unit)
        scores.append(z_score(first.value, second.value, size, u_assigned=second.u))
        scores.append(z_prime_score(first.value, second.value, size, second.u))
    if s_r is not None:
        mean = replace(first, value=(first.value + second.value) / 2)
        scores.append(repeatability_check((first.value, second.value), _size("--s-r", s_r, mean, first.unit)))
    remarks = []
    if first.measurand and second.measurand and first.measurand != second.measurand:
        remarks.append(f"measurands in other words: {first.measurand}; {second.measurand}")
    return Comparison(first, second, r * both, shared, tuple(scores), tuple(remarks))


def within_run(evaluation: Evaluation, a: int, b: int) -> float:
    """Covariance of two results of one run."""
    return float(covariance_of(evaluation.propagated, evaluation.numbers, [a, b])[0, 1])


def between_runs(first: Evaluation, a: int, second: Evaluation, b: int) -> tuple[float, list[str]]:
    """Covariance of results of two runs, each in its unit, by the items that both registers have; and these items."""
    own, other = _lasting(first, a), _lasting(second, b)
    total, items = 0.0, []
    for key in own.keys() & other.keys():
        product = own[key][1] * other[key][1]
        if own[key][0] == other[key][0] and product:
            total += product
            items.append(str(key[1]))
    return total, sorted(set(items))


def _lasting(evaluation: Evaluation, row: int) -> dict[tuple[object, ...], tuple[tuple[str, ...], float]]:
    """Contributions of deviations that outlast a run: key → (what identifies the item, c·u)."""
    register, keys = Register(evaluation.records), evaluation.assembly.deviations.keys
    found: dict[tuple[object, ...], tuple[tuple[str, ...], float]] = {}
    for slot in evaluation.slots:
        member = int(slot.members[row])
        key = keys[member] if member >= 0 else None
        if not isinstance(key, tuple) or key[0] not in LASTING or key[1] not in register.items:
            continue
        evidence = register.evidence(str(key[1]), str(key[2]) if len(key) > 2 else "")
        certificate = evidence.certificate
        vouched = (certificate.number, certificate.issuer) if certificate else ()
        same = (evidence.kind, evidence.lot, *vouched)
        before = found.get(key, (same, 0.0))[1]
        found[key] = (same, before + float(evaluation.column(slot.contribution)[row]))
    return found


def material_comparisons(evaluation: Evaluation) -> list[tuple[CertifiedResult, Comparison | None]]:
    """Every reference material of the run against its certificate of the day; None where it has no result."""
    found: list[tuple[CertifiedResult, Comparison | None]] = []
    document, known = evaluation.records.method.document, evaluation.records.register
    bases = {material.id: material.basis for material in known.reference_materials} if known else {}
    for one in certified_results(evaluation.assembly):
        result = evaluation.results[one.row]
        if result.value is None:
            found.append((one, None))
            continue
        name = "/".join(part for part in (result.sample, result.analyte, result.line) if part)
        k = one.certified.k
        u = one.U / (k if k is not None else np.sqrt(3.0))
        certificate = one.evidence.certificate
        words = f"{one.item}, certificate {certificate.number if certificate else ''}"
        value = Compared(words, one.value, document.unit, float(u), one.U if k is not None else float(2 * u))
        compared = comparison(of_result(evaluation, one.row, name), value, certified=True)
        remarks = list(compared.remarks)
        if bases[one.item] and document.basis and bases[one.item] != document.basis:
            remarks.append(f"certified on the basis {bases[one.item]}, found on {document.basis}")
        if k is None:
            remarks.append("certificate without k: U taken as limits, u = U/√3")
        if any(one.item in items for items in evaluation.items_of(one.row)):
            remarks.append("not independent: the result rests on this material")
        found.append((one, replace(compared, remarks=tuple(remarks))))
    return found


def _in_unit_of(second: Compared, first: Compared) -> Compared:
    figures = [in_unit(number, second.unit, first.unit) for number in (second.value, second.u, second.U)]
    if any(number is None for number in figures):
        raise UbudgetError(
            f"{second.name}: found in {second.unit or '1'}, {first.name} in {first.unit or '1'}; "
            "accepted: units that convert; correct one of them"
        )
    value, u, U = (float(number or 0.0) for number in figures)
    return replace(second, value=value, unit=first.unit, u=u, U=U)


def _size(option: str, amount: Amount, relative_to: Compared, unit: str) -> float:
    size = amount.value / 100 * abs(relative_to.value) if amount.relative else in_unit(amount.value, amount.unit, unit)
    if size is None:
        raise UbudgetError(f"{option} {amount.text}: found another unit; accepted: {unit or '1'} or %; correct it")
    return size
