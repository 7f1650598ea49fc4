"""How the coverage factor came about, in words."""

from __future__ import annotations

from ubudget.evaluation.coverage_distribution import RECTANGULAR, TRAPEZOIDAL
from ubudget.evaluation.dominance import SMALL
from ubudget.evaluation.evaluate import Result
from ubudget.evaluation.trial_statistics import SHORTEST
from ubudget.pages.figures import unit_text
from ubudget.pages.wording import text_in_formula
from ubudget.records.method import Coverage

CUT = 1e-6
"""Added before degrees of freedom are cut to whole numbers, as in the coverage factor."""
DOMINATED = {
    RECTANGULAR: "rectangular distribution: one contribution dominates",
    TRAPEZOIDAL: "trapezoidal distribution: two rectangular contributions dominate",
}
NOT_DOMINATED = "no rectangular contribution dominates"
_OF_COUNT = (
    "t: no rectangular contribution dominates",
    "rectangular distribution dominates",
    "two rectangular distributions dominate",
)
K_FROM = "k from"
BY_T, AS_SIMULATED = "t: no simulated interval", "simulated interval"
SINCE_CHANGED = "simulated interval, out of date: inputs changed since"


def distribution_words(result: Result, coverage: Coverage) -> str:
    """The distribution that k is of, for k that the method does not fix."""
    if result.coverage_distribution in DOMINATED:
        return DOMINATED[result.coverage_distribution]
    if result.coverage_interval is not None:
        return f"half of the interval {interval_words(result)}"
    if result.effective_degrees_of_freedom is None:
        words = "normal distribution"
    else:
        whole = max(1, int(result.effective_degrees_of_freedom + CUT))
        words = f"t distribution, {whole} effective degrees of freedom"
    return f"{words}; {NOT_DOMINATED}" if coverage.rule == "dominating term" else words


def interval_words(result: Result) -> str:
    """The simulated interval, and how it was found."""
    interval = result.coverage_interval
    assert interval is not None
    ends = f"{interval.text(result.decimals)}{unit_text(result.unit)}"
    kind = "shortest" if interval.kind == SHORTEST else "probabilistically symmetric"
    return f"{ends}, {kind}, from Monte Carlo, JCGM 101:2008, {interval.trials:,} trials, seed {interval.seed}"


def interval_meaning(result: Result) -> str:
    """What is reported where the method reports simulated intervals, in one sentence."""
    interval = result.coverage_interval
    assert interval is not None
    covers = f"the {100 * result.coverage_probability:g} % coverage interval {interval_words(result)}"
    if interval.lopsided:
        return f"Reported is {covers}; it does not lie evenly about the value."
    k = "" if result.coverage_factor is None else f" = k u with k = {result.coverage_factor:.2f}"
    return f"The figure after ± is the expanded uncertainty U{k}, half of {covers}."


def rule_words(coverage: Coverage) -> str:
    """The method's rule for k, as one clause."""
    probability = f"{100 * coverage.probability:g} %"
    if coverage.rule == "fixed":
        return f"k as the method fixes it, stated coverage probability {probability}"
    if coverage.rule == "simulation":
        return f"k is half of the simulated {probability} coverage interval over u (Monte Carlo, JCGM 101:2008)"
    of_t = f"k from the t distribution at {probability} and ν, cut to whole numbers"
    if coverage.rule == "dominating term":
        return (
            f"k at {probability} of the rectangular or trapezoidal distribution where one or two rectangular "
            f"contributions dominate (all others at most {SMALL:g} of them), else {of_t}"
        )
    return of_t


def rule_on_sheet(coverage: Coverage) -> str:
    """The same where the numbers stand in cells below."""
    if coverage.rule == "fixed":
        return f"fixed k = {coverage.k:g}"
    if coverage.rule == "simulation":
        return "half of the simulated interval over u, see sheet simulation; its probability stands below"
    of_t = "Student t factor at the coverage probability below, effective degrees of freedom cut to whole numbers"
    if coverage.rule == "dominating term":
        return (
            "factor of the rectangular or trapezoidal distribution at the coverage probability below, where one or two "
            f"rectangular contributions dominate (all others at most {SMALL:g} of them); else {of_t}"
        )
    return of_t


def short_words(result: Result) -> str:
    """What k is from, for a narrow column."""
    return "" if result.value is None else result.coverage_distribution


def interval_column(result: Result) -> str:
    """The simulated interval, for a narrow column."""
    return "" if result.coverage_interval is None else result.coverage_interval.text(result.decimals)


def by_count(count: int) -> str:
    """What k is from, by the number of dominating contributions; the words of the workbook."""
    return _OF_COUNT[count]


def formula_by_count(count: str) -> str:
    """The same as a formula over a cell that holds the number."""
    return f"CHOOSE({count}+1,{','.join(map(text_in_formula, _OF_COUNT))})"
