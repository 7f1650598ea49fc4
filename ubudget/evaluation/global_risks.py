"""Consumer's and producer's risk of an inspection as a whole (JCGM 106:2012, 9.5), for a normal process and a normal
measurement."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from ubudget.errors import UbudgetError
from ubudget.evaluation.conformity import Prior

FAR = 9.0
"""Standard deviations from the mean beyond which less than 1e-18 lies."""
NODES, WEIGHTS = np.polynomial.legendre.leggauss(24)


def global_risks(
    prior: Prior,
    standard_uncertainty: float,
    *,
    lower: float | None = None,
    upper: float | None = None,
    acceptance_lower: float | None = None,
    acceptance_upper: float | None = None,
) -> tuple[float, float]:
    """(consumer's risk, producer's risk): probability that an item of the process does not conform and is accepted, and
    that it conforms and is rejected (JCGM 106, 9.5, eq. 17 to 20).

    `prior` is the process; all in one unit. A limit of acceptance that is not given is the tolerance limit. Raises
    `UbudgetError`."""
    if not standard_uncertainty > 0:
        raise UbudgetError(f"conformity: found u = {standard_uncertainty:g}; accepted: above zero")
    low, high = _ends(lower, upper, "tolerance limits")
    accept = (
        (lower if acceptance_lower is None else acceptance_lower),
        (upper if acceptance_upper is None else acceptance_upper),
    )
    accept_low, accept_high = _ends(*accept, "acceptance limits")
    start, stop = prior.mean - FAR * prior.sd, prior.mean + FAR * prior.sd
    # Panels of one standard deviation, finer about the limits of acceptance: the integrand is smooth in each.
    steps = np.arange(-FAR, FAR + 1)
    edges = [start, stop, low, high, *(prior.mean + prior.sd * steps)]
    edges += [limit + standard_uncertainty * step for limit in (accept_low, accept_high) for step in steps]
    panels = np.unique(np.clip([edge for edge in edges if np.isfinite(edge)], start, stop))
    left, right = panels[:-1, None], panels[1:, None]
    eta = (left + right) / 2 + (right - left) / 2 * NODES
    weight = (right - left) / 2 * WEIGHTS
    density = np.exp(-(((eta - prior.mean) / prior.sd) ** 2) / 2) / (prior.sd * np.sqrt(2 * np.pi))
    above = ndtr((eta - accept_high) / standard_uncertainty)
    below = ndtr((accept_low - eta) / standard_uncertainty)
    accepted = np.where(
        eta > accept_low,
        1 - below - above,
        ndtr((accept_high - eta) / standard_uncertainty) - ndtr((accept_low - eta) / standard_uncertainty),
    )
    conforms = (eta >= low) & (eta <= high)
    consumer = float(np.sum(weight * density * np.where(conforms, 0.0, accepted)))
    producer = float(np.sum(weight * density * np.where(conforms, above + below, 0.0)))
    return consumer, producer


def _ends(lower: float | None, upper: float | None, what: str) -> tuple[float, float]:
    low, high = (-np.inf if lower is None else lower), (np.inf if upper is None else upper)
    if not low < high or (lower is None and upper is None):
        raise UbudgetError(f"conformity: found {what} {low:g} to {high:g}; accepted: a lower below the upper")
    return low, high
