"""What a study says, by its design: figures, parameters for a method, and what a person must look at."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from ubudget.errors import UbudgetError
from ubudget.evaluation.bias_studies import (
    FEWEST_ROUNDS,
    Bias,
    MaterialStudy,
    Round,
    Spike,
    bias_from_material,
    bias_from_materials,
    bias_from_pairs,
    bias_from_recoveries,
    bias_from_rounds,
)
from ubudget.evaluation.collaborative import level_precision
from ubudget.evaluation.nested_variance import WITHIN, Stratum, variance_components
from ubudget.evaluation.pooled_scatter import duplicate_scatter
from ubudget.evaluation.robust import algorithm_a
from ubudget.evaluation.scores import zeta_score
from ubudget.quantity.moments import mean_and_sd
from ubudget.records.studies import Study, StudyData
from ubudget.records.unit_comparison import in_unit

FEWEST_SERIES = 8
"""Results of a control sample below which its scatter is weak (ISO 11352:2012, from memory)."""
FEWEST_PAIRS = 8
"""Duplicates below which a pooled scatter is weak (common practice, no source)."""
ZETA_LIMIT = 2.0
"""A score beyond it asks for action or attention (ISO 13528:2022, 9.6)."""


@dataclass(frozen=True)
class Figure:
    """One figure of a study; `unit` is that of the study, `%`, or empty for a number."""

    name: str
    value: float
    unit: str = ""
    degrees_of_freedom: float | None = None


@dataclass(frozen=True)
class Parameter:
    """A standard deviation or uncertainty that a method may state, as a constant or as a fraction of the level in %."""

    use: str
    """`within run`, `between runs` or `bias`."""
    value: float
    unit: str
    degrees_of_freedom: float | None


@dataclass(frozen=True)
class Outcome:
    """A study of one analyte, matrix and level."""

    part: str
    figures: tuple[Figure, ...]
    parameters: tuple[Parameter, ...]
    told: tuple[str, ...] = ()


def outcome_of(study: Study, data: StudyData) -> Outcome:
    """Evaluates one part of a study. Raises `UbudgetError`, with what is accepted, where its data do not suffice."""
    return _DESIGNS[study.design](study, data)


def _of_level(study: Study, value: float, level: float) -> tuple[float, str]:
    """A standard deviation in the unit of the study, or in % of the level."""
    if not study.relative:
        return value, study.unit
    if not level > 0:
        raise UbudgetError(f"level: found {level:g}; accepted: above zero, where a study is relative")
    return 100 * value / level, "%"


def _nested(study: Study, data: StudyData) -> Outcome:
    found = variance_components(data.numbers["value"], **{name: data.texts[name] for name in study.factors})
    figures = [Figure("mean", found.mean, study.unit), Figure("results", found.size)]
    told = []
    for stratum in found.strata:
        value, unit = _of_level(study, stratum.s, found.mean)
        name = "s of repetitions" if stratum.name == WITHIN else f"s between, {stratum.name}"
        figures.append(Figure(name, value, unit, stratum.component_degrees_of_freedom or None))
        if stratum.variance_ratio is not None and stratum.probability is not None:
            figures.append(Figure(f"F of {stratum.name}", stratum.variance_ratio))
            figures.append(Figure(f"probability of F, {stratum.name}", stratum.probability))
        told += _negative(stratum)
    total, unit = _of_level(study, found.s_total, found.mean)
    figures.append(Figure("s of one result", total, unit, found.total_degrees_of_freedom))
    # A portion of the same run is another digest as well as another reading.
    within, _ = _of_level(study, found.s_inner, found.mean)
    parameters = [Parameter("within run", within, unit, found.inner_degrees_of_freedom)]
    outer = found.strata[0]
    if outer.s > 0:
        between, _ = _of_level(study, outer.s, found.mean)
        parameters.append(Parameter("between runs", between, unit, outer.component_degrees_of_freedom))
    return Outcome(data.label, tuple(figures), tuple(parameters), tuple(told))


def _negative(stratum: Stratum) -> list[str]:
    if stratum.component >= 0:
        return []
    return [
        f"the component of {stratum.name} came out negative and counts as zero (ISO 5725-2, 7.4.5.4): more levels of "
        f"{stratum.name} would show it better"
    ]


def _control_sample(study: Study, data: StudyData) -> Outcome:
    values = data.numbers["value"]
    if len(values) < 2:
        raise UbudgetError(f"control sample: found {len(values)} result(s); accepted: two or more, on different days")
    mean, s = mean_and_sd(values)
    scatter, unit = _of_level(study, s, mean)
    told = (
        (f"{len(values)} results: {FEWEST_SERIES} or more, over weeks, are expected (ISO 11352)",)
        if len(values) < FEWEST_SERIES
        else ()
    )
    figures = (Figure("mean", mean, study.unit), Figure("s", scatter, unit, len(values) - 1))
    return Outcome(data.label, figures, (Parameter("between runs", scatter, unit, len(values) - 1),), told)


def _duplicates(study: Study, data: StudyData) -> Outcome:
    pairs = list(zip(data.numbers["first"], data.numbers["second"], strict=True))
    found = duplicate_scatter(pairs, by=study.by, relative=study.relative)
    s, unit = (100 * found.s, "%") if study.relative else (found.s, study.unit)
    told = (f"{len(pairs)} pairs: {FEWEST_PAIRS} or more are commonly expected",) if len(pairs) < FEWEST_PAIRS else ()
    figures = (Figure("mean level", found.level, study.unit), Figure("s", s, unit, found.degrees_of_freedom))
    return Outcome(data.label, figures, (Parameter("within run", s, unit, found.degrees_of_freedom),), told)


def _laboratories(study: Study, data: StudyData) -> Outcome:
    results: dict[str, list[float]] = {}
    for laboratory, value in zip(data.texts["laboratory"], data.numbers["value"], strict=True):
        results.setdefault(laboratory, []).append(value)
    found = level_precision(results)
    (s_r, unit), (s_L, _), (s_R, _) = (_of_level(study, s, found.mean) for s in (found.s_r, found.s_L, found.s_R))
    figures = (
        Figure("mean", found.mean, study.unit),
        Figure("laboratories", found.laboratories),
        Figure("s_r, repeatability", s_r, unit, found.repeatability_degrees_of_freedom),
        Figure("s_L, between laboratories", s_L, unit),
        Figure("s_R, reproducibility", s_R, unit, found.reproducibility_degrees_of_freedom),
        Figure("repeatability limit r", 2.8 * s_r, unit),
        Figure("reproducibility limit R", 2.8 * s_R, unit),
    )
    told = tuple(
        f"laboratory {one.laboratory}: {'outlier' if one.outlier else 'straggler'} by {one.test.name}'s test "
        f"({one.test.statistic:.3f}, critical {one.test.critical:.3f}); it is not left out"
        for one in found.told
    )
    parameter = Parameter("between runs", s_R, unit, found.reproducibility_degrees_of_freedom)
    return Outcome(data.label, figures, (parameter,), told)


def _robust(study: Study, data: StudyData) -> Outcome:
    found = algorithm_a(data.numbers["value"])
    s, unit = _of_level(study, found.s, found.mean)
    u, _ = _of_level(study, found.u, found.mean)
    figures = (
        Figure("robust mean x*", found.mean, study.unit),
        Figure("robust s*", s, unit),
        Figure("u of the mean", u, unit),
        Figure("results", found.results),
    )
    return Outcome(data.label, figures, ())


def _materials(study: Study, data: StudyData) -> Outcome:
    studies = []
    names = ("found", "s", "n", "certified", "U", "k")
    for row, values in enumerate(zip(*(data.numbers[name] for name in names), strict=True)):
        found, s, n, certified, U, k = values
        name = data.texts["material"][row]
        if not k > 0 or not U > 0:
            raise UbudgetError(f"material {name}: found U = {U:g}, k = {k:g}; accepted: both above zero, as certified")
        if n < 2 or n != int(n):
            raise UbudgetError(f"material {name}: found n = {n:g}; accepted: a whole number from 2 on")
        one = MaterialStudy(found, s, int(n), certified, U / k)
        if study.relative and not certified > 0:
            raise UbudgetError(f"material {name}: found certified {certified:g}; accepted: above zero")
        studies.append(one.relative() if study.relative else one)
    bias = bias_from_material(studies[0]) if len(studies) == 1 else bias_from_materials(studies)
    return _bias_outcome(study, data, bias, studies[0].n - 1 if len(studies) == 1 else None)


def _rounds(study: Study, data: StudyData) -> Outcome:
    rounds, stated = [], []
    names = ("found", "assigned", "s_R", "laboratories", "u")
    for row, (found, assigned, s_R, laboratories, u) in enumerate(
        zip(*(data.numbers[name] for name in names), strict=True)
    ):
        scale = 100 / assigned if study.relative and assigned > 0 else 1.0
        robust = data.texts["robust"][row] == "yes"
        rounds.append(Round(found * scale, assigned * scale, s_R * scale, int(laboratories), robust))
        stated.append(u * scale)
    outcome = _bias_outcome(study, data, bias_from_rounds(rounds), None)
    scores, told = [], []
    for name, one, u in zip(data.texts["round"], rounds, stated, strict=True):
        if math.isnan(u):
            continue
        if not u > 0:
            raise UbudgetError(f"round {name}: found u = {u:g}; accepted: a standard uncertainty above zero")
        score = _zeta(one, u)
        scores.append(Figure(f"zeta of {name}", score))
        if abs(score) > ZETA_LIMIT:
            told.append(_beyond(name, score, one))
    return replace(outcome, figures=(*outcome.figures, *scores), told=(*outcome.told, *told))


def _zeta(one: Round, u: float) -> float:
    return zeta_score(one.found, u, one.assigned, one.u_assigned).value


def _beyond(name: str, score: float, one: Round) -> str:
    """What a difference beyond both uncertainties says; beside it z, which asks for the scatter of the laboratories."""
    z = one.bias / one.s_R
    cause = (
        "the stated uncertainty is too small, or the result has a bias"
        if abs(z) <= ZETA_LIMIT
        else "the result has a bias that its budget does not hold"
    )
    return f"round {name}: zeta = {score:.2g}, z = {z:.2g} by s_R: {cause}; compare recovery, calibration, precision"


def _recoveries(study: Study, data: StudyData) -> Outcome:
    spike = study.spike
    assert spike is not None
    parts = (spike.stock, spike.volume_limit, spike.volume_repeatability)
    bias = bias_from_recoveries(data.numbers["recovery"], Spike(*(part.value if part else 0.0 for part in parts)))
    return _bias_outcome(study, data, bias, None, "%")


def _reference_method(study: Study, data: StudyData) -> Outcome:
    assert study.reference_u is not None
    u = in_unit(study.reference_u.value, study.reference_u.unit, study.unit)
    assert u is not None
    pairs = list(zip(data.numbers["found"], data.numbers["reference"], strict=True))
    bias = bias_from_pairs(pairs, u)
    if not study.relative:
        return _bias_outcome(study, data, bias, len(pairs) - 1)
    level = math.fsum(reference for _, reference in pairs) / len(pairs)
    percent, _ = _of_level(study, 1.0, level)
    scaled = Bias(
        bias.kind,
        bias.studies,
        bias.bias * percent,
        bias.u_reference * percent,
        bias.u * percent,
        bias.factor,
        bias.critical,
    )
    return _bias_outcome(study, data, scaled, len(pairs) - 1)


def _bias_outcome(study: Study, data: StudyData, bias: Bias, dof: float | None, unit: str | None = None) -> Outcome:
    shown = unit or ("%" if study.relative else study.unit)
    word = "bias" if bias.factor is not None else "root mean square of biases"
    figures = [
        Figure("studies", bias.studies),
        Figure(word, bias.bias, shown),
        Figure("u of the references", bias.u_reference, shown),
        Figure("u(bias)", bias.u, shown),
    ]
    told: list[str] = []
    if bias.factor is not None and bias.critical is not None:
        figures += [Figure("bias over its uncertainty", bias.factor), Figure("critical value, 95 %", bias.critical)]
        if bias.significant:
            told.append("the bias is significant at 95 %: find its cause, or correct for it and say so")
    elif bias.studies < FEWEST_ROUNDS:
        told.append(f"{bias.studies} of them: {FEWEST_ROUNDS} or more are commonly expected (Nordtest TR 537)")
    return Outcome(data.label, tuple(figures), (Parameter("bias", bias.u, shown, dof),), tuple(told))


_DESIGNS: dict[str, Callable[[Study, StudyData], Outcome]] = {
    "nested": _nested,
    "control sample": _control_sample,
    "duplicates": _duplicates,
    "laboratories": _laboratories,
    "robust mean": _robust,
    "reference materials": _materials,
    "proficiency tests": _rounds,
    "recoveries": _recoveries,
    "reference method": _reference_method,
}


@dataclass(frozen=True)
class EvaluatedStudy:
    """A study with the outcome of each of its parts."""

    study: Study
    outcomes: Sequence[Outcome]
