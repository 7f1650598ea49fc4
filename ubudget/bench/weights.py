"""Weights of a fit by a declared rule, at a point of the calibration and at an unknown of its own level."""

from __future__ import annotations

from dataclasses import dataclass

from ubudget.quantity.expression import Expression, Number, Operand, apply, as_expression
from ubudget.records.method import Calibration


def weighted(calibration: Calibration) -> bool:
    return calibration.weights != "none"


@dataclass(frozen=True)
class Rule:
    """A weighting rule with its numbers: `floor` is the smallest x that counts; the noise model has a constant part in
    the reading's unit and a relative part."""

    name: str
    floor: float
    noise_constant: float
    noise_relative: float


def weight(rule: Rule, *, x: Operand, y: Operand, level_s: Operand) -> Expression:
    """Weight 1/s^2 up to a factor. `y` is the mean reading at the level, `level_s` the s of the level's readings.

    Every rule is defined at the zero standard: by the floor, or by a reading that is not zero there."""
    concentration = apply("larger", x, rule.floor)
    rules: dict[str, Expression] = {
        "none": Number(1),
        "1/x": 1 / concentration,
        "1/x^2": 1 / concentration**2,
        "1/y": 1 / apply("larger", y, 1e-300),
        "1/s^2": apply("ratio_or_zero", 1, as_expression(level_s) ** 2),
        "noise model": 1 / (rule.noise_constant**2 + (rule.noise_relative * as_expression(y)) ** 2),
    }
    return rules[rule.name]
