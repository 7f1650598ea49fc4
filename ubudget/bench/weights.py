"""Weights of a fit by a declared rule, at a point of the calibration and at an unknown of its own level."""

from __future__ import annotations

from dataclasses import dataclass

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import Context, method_place
from ubudget.quantity.expression import Expression, Number, Operand, apply, as_expression
from ubudget.records.amount import Amount
from ubudget.records.calibration import BY_LEVEL, Calibration


def weighted(calibration: Calibration) -> bool:
    return calibration.weights != "none"


def known_scatter(calibration: Calibration) -> bool:
    """Whether the weights are 1/s^2 of a reading, and the scatter is taken from them."""
    return weighted(calibration) and calibration.weighted_scatter == "known"


WEIGHTING = "weighting"


@dataclass(frozen=True)
class Rule:
    """A weighting rule with its numbers, as the table that uses it reads them: `floor` is the smallest x that counts;
    the noise model has a constant part in the reading's unit and a relative part in per cent."""

    name: str
    floor: Operand
    noise_constant: Operand
    noise_relative: Operand


def build_weighting(context: Context, symbol: str, calibration: Calibration, reading_unit: str) -> None:
    """Table `weighting`: what the method states for the fit, one row. None where it needs no numbers."""
    uncertain = calibration.standards == "errors in variables"
    if not (weighted(calibration) or uncertain or calibration.between_levels is not None):
        return
    table = TableBuilder(WEIGHTING, "Numbers that the method states for the fit", 1, context.shared)
    table.label("rule", "rule", [calibration.weights])
    used = False
    for key, heading, unit in (
        ("weight_floor", "smallest concentration that counts", calibration.unit),
        ("noise_constant", "noise of one reading, constant part", reading_unit),
        ("noise_relative", "noise of one reading, relative part", "%"),
        ("standard_u", "u of a standard, independent", _unit_of(calibration.standard_u, calibration)),
        ("between_levels", "u of a standard between levels", _unit_of(calibration.between_levels, calibration)),
    ):
        value = context.in_unit(getattr(calibration, key), unit, "method", f"symbol {symbol}, {key}")
        if value is not None:
            used = True
            table.given(key, heading, unit, [value], [method_place("symbols", symbol, key, unit=unit)])
    if used:
        context.tables[WEIGHTING] = table.build()


def _unit_of(stated: Amount | None, calibration: Calibration) -> str:
    return "%" if stated is not None and stated.relative else calibration.unit


def rule_in(context: Context, table: TableBuilder, calibration: Calibration) -> Rule:
    """The rule as a table reads it; a number that the method does not state has no part in it."""
    stated = context.tables[WEIGHTING].by_name if WEIGHTING in context.tables else {}

    def number(key: str, otherwise: float) -> Operand:
        if key not in stated:
            return otherwise
        return table.pick(key, WEIGHTING, key, [0] * table.size)

    return Rule(
        calibration.weights,
        number("weight_floor", 1e-300),
        number("noise_constant", 0.0),
        number("noise_relative", 0.0),
    )


def weight(
    rule: Rule, *, x: Operand, y: Operand, level_s: Operand, fitted: Operand | None = None, lowest: Operand = 0
) -> Expression:
    """Weight 1/s^2 up to a factor; 0 where the rule gives none. `y` is the mean reading at the level, `level_s` the s
    of the level's readings, or what the method states of it.

    1/y takes `fitted`, the ordinate of a preliminary fit, or the unknown's own reading, and no less than `lowest`. The
    other rules are defined at the zero standard by the floor, or by a reading that is not zero there."""
    concentration = apply("larger", x, rule.floor)
    rules: dict[str, Expression] = {
        "none": Number(1),
        "1/x": 1 / concentration,
        "1/x^2": 1 / concentration**2,
        "1/y": apply("ratio_or_zero", 1, apply("larger", y if fitted is None else fitted, lowest)),
        "1/s^2": apply("ratio_or_zero", 1, as_expression(level_s) ** 2),
        BY_LEVEL: apply("ratio_or_zero", 1, as_expression(level_s) ** 2),
        "noise model": 1
        / (as_expression(rule.noise_constant) ** 2 + (as_expression(rule.noise_relative) / 100 * y) ** 2),
    }
    return rules[rule.name]
