"""What terms of second order add to one result, in words."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.second_order import largest_terms, numerical_tolerance
from ubudget.pages.figures import plain, unit_text
from ubudget.pages.told import Blank, Part, Sentence

RULE = (
    "The law of propagation is of first order. Independent normal inputs add to u² the sum over i and j of "
    "[(∂²f/∂xi∂xj)²/2 + ∂f/∂xi·∂³f/∂xi∂xj²]·u²(xi)·u²(xj) (GUM 5.1.2, note); declared correlations are left aside."
)


def second_order_parts(evaluation: Evaluation, row: int) -> Iterator[Part]:
    """The rule, the added variance and its largest terms, u with them, and whether that is material."""
    yield Sentence(RULE)
    added = evaluation.second_order
    variance, u = float(added.variance[row]), float(added.first_order[row])
    unit = unit_text(evaluation.results[row].unit)
    if not np.isfinite(variance):
        yield Sentence("The equation has no value beside the estimates: the terms cannot be told.")
        return
    if variance == 0:
        yield Sentence("They are zero: the equation is linear where its inputs are uncertain.")
        return
    yield Blank()
    for term in largest_terms(evaluation.propagated, evaluation.numbers, row):
        first, second = (evaluation.slots[number].symbol for number in (term.first, term.second))
        pair = first if first == second else f"{first} and {second}"
        yield Sentence(f"{pair}: {plain(term.variance, 4)}", 2, 6)
    with_terms, tolerance = float(added.standard_uncertainty[row]), numerical_tolerance(added.first_order, added.digits)
    yield Blank()
    yield Sentence(
        f"sum of all terms = {plain(variance, 4)}; u = {plain(u, 4)}{unit}, with them {plain(with_terms, 4)}{unit}; "
        f"the mean lies {plain(float(added.shift[row]), 3)}{unit} from the value."
    )
    limit = f"half a unit of the last digit of u, {plain(float(tolerance[row]), 3)}{unit}" if u > 0 else "nothing"
    verdict = (
        f"The change is more than {limit}: the terms are material, and u is stated too "
        f"{'small' if with_terms > u else 'large'}."
        if added.material[row]
        else f"The change is below {limit}: first order is enough."
    )
    yield Sentence(verdict)
