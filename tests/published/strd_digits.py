"""Certified digits that the solvers reach on the NIST StRD sets, as the table `strd_digits.md`.

To renew the table: python -m tests.published.strd_digits
"""

import csv
import math
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal, localcontext
from pathlib import Path
from typing import Any

import numpy as np

import ubudget
from tests.published import strd_floors
from tests.published.strd_models import DOUBLES, NONLINEAR

DATA = Path(__file__).parent / "data" / "strd"
TABLE = Path(__file__).parent / "strd_digits.md"

LINEAR = {
    "norris": 12, "pontius": 12, "noint1": 12, "noint2": 12, "longley": 9,
    "wampler1": 9, "wampler2": 9, "wampler3": 9, "wampler5": 9,
}  # fmt: skip
UNIVARIATE = {
    "pidigits": 12, "lottery": 12, "lew": 12, "mavro": 12, "michelso": 12,
    "numacc1": 12, "numacc2": 12, "numacc3": 9, "numacc4": 8,
}  # fmt: skip
"""Digits that every set must reach, and every certified figure of it."""
NONLINEAR_DIGITS = 9


@dataclass(frozen=True)
class Row:
    """Digits of the worst figure of a set: with perfect arithmetic on doubles, and as computed."""

    name: str
    required: int
    floor: float
    parameters: float
    sds: float
    residual_sd: float

    @property
    def reached(self) -> float:
        return min(self.parameters, self.sds, self.residual_sd)


def load(name: str) -> tuple[dict[str, Any], dict[str, list[float]]]:
    """The certificate and the columns of the data file, read as doubles."""
    certificate = tomllib.loads((DATA / f"{name}.toml").read_text(encoding="utf-8"))
    with (DATA / certificate["data"]["file"]).open(encoding="utf-8", newline="") as file:
        lines = list(csv.DictReader(file))
    assert len(lines) == certificate["data"]["n"]
    return certificate, {key: [float(line[key]) for line in lines] for key in lines[0]}


def certified(certificate: dict[str, Any], quantity: str) -> str:
    """The certified value, with the further digits of the recomputation that agrees with it."""
    (row,) = [row for row in certificate["result"] if row["quantity"] == quantity]
    # One F is printed to 17 digits, the last of them off by its own rounding.
    assert row["agrees"] or digits(row["value"], row["recomputed"]) >= 15
    return str(row["recomputed"])


def digits(value: float | Decimal, truth: str) -> float:
    """Correct significant digits, log relative error (McCullough 1998); absolute where the truth is 0."""
    with localcontext(prec=60):
        expected, got = Decimal(truth), Decimal(value)
        most = max(len(expected.as_tuple().digits), 15)
        error = abs(got - expected) / (abs(expected) or Decimal(1))
        return float(min(Decimal(most), -error.log10())) if error else float(most)


def worst(values: Iterable[float | Decimal], truths: Iterable[str]) -> float:
    return min(digits(value, truth) for value, truth in zip(values, truths, strict=True))


def truths_of(certificate: dict[str, Any]) -> tuple[list[str], list[str], str]:
    names = certificate["model"]["parameters"]
    return (
        [certified(certificate, name) for name in names],
        [certified(certificate, f"sd({name})") for name in names],
        certified(certificate, "residual_sd"),
    )


def row_of(name: str, label: str, required: int, truths: Any, exact: Any, fit: Any) -> Row:
    parameters, sds, residual_sd = truths
    return Row(
        label,
        required,
        min(worst(exact[0], parameters), worst(exact[1], sds), digits(exact[2], residual_sd)),
        worst(fit.parameters.tolist(), parameters),
        worst(fit.standard_uncertainties.tolist(), sds),
        digits(float(fit.residual_sd), residual_sd),
    )


def design_of(certificate: dict[str, Any], columns: dict[str, list[float]]) -> np.ndarray:
    names = certificate["model"]["parameters"]
    if "x1" in columns:
        return np.column_stack([np.ones(len(columns["y"])), *(columns[f"x{j}"] for j in range(1, len(names)))])
    first = 1 if names[0] == "B1" else 0
    return np.column_stack([np.asarray(columns["x"]) ** k for k in range(first, first + len(names))])


def linear_row(name: str) -> Row:
    certificate, columns = load(name)
    design = design_of(certificate, columns)
    fit = ubudget.least_squares(design, columns["y"])
    exact = strd_floors.linear(design.tolist(), columns["y"])
    return row_of(name, name, LINEAR[name], truths_of(certificate), exact, fit)


def starts_of(certificate: dict[str, Any]) -> list[list[float]]:
    names = certificate["model"]["parameters"]
    rows = {row["quantity"]: row for row in certificate["result"]}
    return [[rows[name][start] for name in names] for start in ("start1", "start2")]


def nonlinear_rows(name: str) -> list[Row]:
    certificate, columns = load(name)
    model, x = NONLINEAR[name], np.asarray(columns["x"])
    truths = truths_of(certificate)
    exact = strd_floors.nonlinear(model, columns["x"], columns["y"], truths[0])

    def values(p: np.ndarray) -> Any:
        return model(DOUBLES, x, *p)[0]

    def jacobian(p: np.ndarray) -> np.ndarray:
        return np.stack(np.broadcast_arrays(x, *model(DOUBLES, x, *p)[1])[1:], axis=-1)

    return [
        row_of(
            name,
            f"{name}, start {number}",
            NONLINEAR_DIGITS,
            truths,
            exact,
            ubudget.gauss_newton(values, jacobian, start, columns["y"]),
        )
        for number, start in enumerate(starts_of(certificate), 1)
    ]


def univariate_row(name: str) -> Row:
    certificate, columns = load(name)
    truths = [certified(certificate, quantity) for quantity in ("mean", "sd", "autocorrelation_lag1")]
    moments = ubudget.mean_and_sd(columns["y"])
    r1 = ubudget.lag_1_autocorrelation(columns["y"])
    return Row(
        name,
        UNIVARIATE[name],
        worst(strd_floors.univariate(columns["y"]), truths),
        digits(moments.mean, truths[0]),
        digits(moments.sd, truths[1]),
        digits(r1, truths[2]),
    )


def all_rows() -> dict[str, list[Row]]:
    return {
        "linear": [linear_row(name) for name in LINEAR],
        "nonlinear": [row for name in NONLINEAR for row in nonlinear_rows(name)],
        "univariate": [univariate_row(name) for name in UNIVARIATE],
    }


HEADS = {
    "linear": ("Linear least squares", "parameters", "their SDs", "residual SD"),
    "nonlinear": ("Nonlinear least squares, both starts", "parameters", "their SDs", "residual SD"),
    "univariate": ("Univariate", "mean", "SD", "autocorrelation"),
}

FOREWORD = """# Digits reached on the NIST StRD sets

Correct significant digits (log relative error, absolute for a certified 0), worst figure of each kind, cut to whole
digits. *Floor*: what perfect arithmetic makes of the inputs once they are stored as doubles, worst figure of all;
nothing computed from doubles can be better, save by luck. The certified values are taken with the further digits of a
recomputation that agrees with them (15 or more for linear and univariate sets, about 14 for nonlinear ones).

Written by `python -m tests.published.strd_digits`; `tests/published/test_strd.py` compares it with a new calculation.
"""


def as_text(rows: dict[str, list[Row]]) -> str:
    parts = [FOREWORD]
    for group, (title, *figures) in HEADS.items():
        parts.append(f"\n## {title}\n\n| set | required | floor | {' | '.join(figures)} | missed |\n")
        parts.append("| --- | --: | --: | --: | --: | --: | --- |\n")
        for row in rows[group]:
            reached = [math.floor(value) for value in (row.floor, row.parameters, row.sds, row.residual_sd)]
            missed = "yes" if row.reached < row.required else "no"
            parts.append(f"| {row.name} | {row.required} | {' | '.join(map(str, reached))} | {missed} |\n")
    return "".join(parts)


if __name__ == "__main__":
    TABLE.write_text(as_text(all_rows()), encoding="utf-8", newline="\n")
