"""A whole calibration drawn anew many times, in numpy alone: stock, glassware, readings, fit, prediction.

Each physical deviation is drawn once for a trial and enters wherever the item was used; each curve is refitted by
Gauss-Newton steps of its own on every trial. Nothing here comes from the library.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tests.calibration.runs import (
    DILUTED,
    FLOOR,
    NOISE_CONSTANT,
    NOISE_RELATIVE,
    PREPARATION,
    SAMPLES,
    STOCK,
    WARE,
    Declared,
    concentrations,
    readings,
)

Array = NDArray[np.float64]


@dataclass
class Bench:
    """The laboratory of many trials: what was filled or delivered in each."""

    random: np.random.Generator
    trials: int
    estimated: bool = False
    """Whether scatter is known by its estimate only, so that it has a t distribution (JCGM 101 6.4.9)."""
    calibrations: dict[str, Array] = field(default_factory=dict)
    factors: dict[str, Array] = field(default_factory=dict)

    def volume(self, key: str) -> Array:
        """One use of a piece of ware, shape (trials,): a numbered piece keeps its deviation, another is new."""
        ware = WARE[key]
        half = ware.tolerance
        new = self.random.triangular(-half, 0, half, self.trials)
        calibration = self.calibrations.setdefault(key, new) if ware.numbered else new
        return (
            ware.nominal + calibration + self.scatter(key, 9) * self.random.normal(0, ware.repeatability, self.trials)
        )

    def scatter(self, key: str, dof: int) -> Array | float:
        """Factor of all scatter that rests on one estimate, which makes it t with the degrees of freedom."""
        if not self.estimated:
            return 1.0
        if key not in self.factors:
            self.factors[key] = np.sqrt(dof / self.random.chisquare(dof, self.trials))
        return self.factors[key]

    def standards(self) -> dict[str, Array]:
        """Concentration of each standard, shape (trials,) each."""
        stock = self.random.normal(STOCK.value, STOCK.U / STOCK.k, self.trials)
        made: dict[str, Array] = {}

        def make(label: str) -> Array:
            if label not in made:
                step = PREPARATION[label]
                if step is None:
                    made[label] = np.zeros(self.trials)
                else:
                    source, pipette, flask = step
                    above = stock if source == "stock" else make(source)
                    made[label] = above * self.volume(pipette) / self.volume(flask)
            return made[label]

        for label in PREPARATION:
            make(label)
        return made


# --- Curves: value and derivatives by parameters, shapes (trials, points) and (trials, points, parameters) ---


def _polynomial(degree: int) -> Callable[[Array, Array], tuple[Array, Array]]:
    def curve(p: Array, x: Array) -> tuple[Array, Array]:
        powers = x[..., None] ** np.arange(degree + 1)
        return np.einsum("tnk,tk->tn", powers, p), powers

    return curve


def _through_zero(p: Array, x: Array) -> tuple[Array, Array]:
    return p[:, :1] * x, x[..., None]


def _rational(p: Array, x: Array) -> tuple[Array, Array]:
    a, b, c = p[:, :1], p[:, 1:2], p[:, 2:]
    below = 1 + c * x
    y = (a + b * x) / below
    return y, np.stack([1 / below, x / below, -x * y / below], axis=-1)


CURVES = {
    "line": (_polynomial(1), (0.0, 1000.0)),
    "line through zero": (_through_zero, (1000.0,)),
    "quadratic": (_polynomial(2), (0.0, 1000.0, 0.0)),
    "rational": (_rational, (0.0, 1000.0, 0.01)),
}
STEPS = 12


def fit(curve: str, x: Array, y: Array, W: Array) -> Array:
    """Parameters of each trial, shape (trials, parameters), by Gauss-Newton steps on weighted least squares."""
    model, start = CURVES[curve]
    p = np.tile(np.array(start), (x.shape[0], 1))
    steps = 2 if curve != "rational" else STEPS
    for _ in range(steps):
        value, J = model(p, x)
        size = np.sqrt(np.einsum("tn,tnk,tnk->tk", W, J, J))
        J = J / size[:, None, :]
        normal = np.einsum("tn,tnk,tnl->tkl", W, J, J)
        right = np.einsum("tn,tnk,tn->tk", W, J, y - value)
        p = p + np.linalg.solve(normal, right[..., None])[..., 0] / size
    return p


def predict(curve: str, p: Array, y: Array) -> Array:
    """Concentration for a reading of each trial; a quadratic by the root that a straight line would have."""
    if curve == "line":
        return (y - p[:, 0]) / p[:, 1]
    if curve == "line through zero":
        return y / p[:, 0]
    if curve == "rational":
        return (y - p[:, 0]) / (p[:, 1] - p[:, 2] * y)
    a, b, c = p.T
    return 2 * (y - a) / (b + np.sqrt(b**2 + 4 * c * (y - a)))


# --- The run, drawn anew ---


def weights_of(declared: Declared, x: Array, mean: Array) -> Array:
    """Weights of single readings by the declared rule, at concentrations and mean readings of their levels."""
    if declared.weights == "1/x":
        return 1 / np.maximum(x, FLOOR)
    if declared.weights == "noise model":
        return np.broadcast_to(1 / (NOISE_CONSTANT**2 + (NOISE_RELATIVE * mean) ** 2), x.shape)
    assert declared.weights == "none"
    return np.ones_like(x)


def results(declared: Declared, trials: int, seed: int, *, estimated: bool = False) -> Array:
    """Results of the run's samples on its first line, A, B and C, shape (trials, 3).

    Readings scatter about those recorded: by the noise model where the scatter is known, else by the residual s of
    the fit to the recorded readings; `estimated` takes it for an estimate, t with n - p degrees of freedom for readings
    and line together. A weight follows the concentration of its standard; one that rests on a reading
    is held at the recorded mean."""
    random = np.random.default_rng(seed)
    bench = Bench(random, trials, estimated)
    recorded = readings(declared)
    line = declared.lines[0]
    labels = [label for label in declared.read for _ in recorded[label, line]]
    y = np.array([value for label in declared.read for value in recorded[label, line]])
    mean = np.array([np.mean(recorded[label, line]) for label in labels])

    nominal = concentrations()
    x0 = np.array([[nominal[label] for label in labels]])
    W0 = weights_of(declared, x0, mean)
    p0 = fit(declared.curve, x0, y[None, :], W0)
    residual = y[None, :] - CURVES[declared.curve][0](p0, x0)[0]
    s = 1.0 if declared.known else float(np.sqrt((W0 * residual**2).sum() / (y.size - p0.shape[1])))

    made = bench.standards()
    x = np.stack([made[label] for label in labels], axis=1)
    together = 1.0 if declared.known else np.reshape(bench.scatter("residual", y.size - p0.shape[1]), (-1, 1))
    drawn = y + s / np.sqrt(W0) * together * random.standard_normal(x.shape)
    p = fit(declared.curve, x, drawn, weights_of(declared, x, mean))

    found = []
    for sample in SAMPLES:
        solution = DILUTED[0] if sample == DILUTED[1] else sample
        values = np.array(recorded[solution, line])
        level = np.array([values.mean()])
        own = weights_of(declared, predict(declared.curve, p0, level)[None, :], level)[0, 0]
        single = np.ravel(together) * random.standard_normal(trials)
        reading = values.mean() + s / np.sqrt(values.size * own) * single
        c = predict(declared.curve, p, reading)
        if solution == DILUTED[0]:
            c = c * bench.volume(DILUTED[3]) / bench.volume(DILUTED[2])
        found.append(c)
    return np.stack(found, axis=1)
