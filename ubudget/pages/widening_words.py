"""Why U of a t factor may fall as u grows, told where it is so."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.evaluation.coverage_distribution import STUDENT
from ubudget.evaluation.evaluate import Result
from ubudget.pages.coverage_words import CUT
from ubudget.pages.figures import plain, unit_text
from ubudget.quantity.operations import TABLE

AHEAD = 20
"""Whole numbers of degrees of freedom beyond the present that are looked at."""


def fall_of_factor(result: Result) -> Iterator[str]:
    """One sentence where a wider contribution of infinite degrees of freedom would lower U: it raises u and, by the
    fourth power of u, the effective degrees of freedom (GUM G.4.1), on which k rests."""
    nu, u, now = result.effective_degrees_of_freedom, result.standard_uncertainty, result.expanded_uncertainty
    if result.coverage_distribution != STUDENT or not nu or not u or not now:
        return
    whole = int(nu + CUT)
    for n in range(whole + 1, whole + 1 + AHEAD):
        k = float(TABLE["student"].numbers(result.coverage_probability, float(n)))
        wider = u * (n / nu) ** 0.25
        if k * wider < now:
            unit = unit_text(result.unit)
            yield (
                f"k follows ν_eff: with a contribution of infinite degrees of freedom so much wider that u is "
                f"{plain(wider, 4)}{unit}, ν_eff is {n}, k {k:.2f} and U {plain(k * wider, 4)}{unit}, less than now; "
                "U by a t factor may fall as u grows."
            )
            return
