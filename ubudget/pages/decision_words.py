"""A decision on conformity in sentences (ISO/IEC 17025:2017, 7.8.6.2: which results, which specification, the rule)."""

from __future__ import annotations

from ubudget.evaluation.decision_tables import agreed_words
from ubudget.evaluation.decisions import Decided
from ubudget.evaluation.evaluate import Result
from ubudget.pages.figures import plain, unit_text
from ubudget.records.tolerance_limit import NON_BINARY, REJECTION, SIMPLE, ToleranceLimit

CAUTION = (
    "A decision that concerns health, safety or compliance is for the person responsible for it; local regulations and "
    "the rules they set go before those stated here."
)
PROBABILITY_DIGITS = 4


def limit_words(limit: ToleranceLimit) -> str:
    """`drinking water: at most 10 µg/L`."""
    low, high = limit.lower, limit.upper
    if low is not None and high is not None:
        return f"{limit.name}: {low.text} to {high.text}"
    return f"{limit.name}: at most {high.text}" if high is not None else f"{limit.name}: at least {low and low.text}"


def rule_words(limit: ToleranceLimit) -> str:
    """The rule with its guard band, what is compared, and which u."""
    band = "no guard band"
    if limit.guard_multiple is not None:
        band = f"guard band {limit.guard_multiple:g} U"
    elif limit.guard_risk is not None:
        factor = "t factor at ν of u" if limit.distribution == "t" else "normal distribution"
        band = f"guard band for a one-sided risk of {100 * limit.guard_risk:g} % ({factor})"
    side = {SIMPLE: "", REJECTION: " outside the limit", NON_BINARY: " on either side of the limit"}
    where = side.get(limit.rule, " inside the limit")
    return f"{limit.rule}, {band}{where}, {limit.compares} value, u {limit.uncertainty}"


def prior_words(limit: ToleranceLimit) -> str:
    if limit.prior_mean is None or limit.prior_sd is None:
        return "from the measurement alone"
    return f"with the prior {limit.prior} (mean {limit.prior_mean.text}, standard deviation {limit.prior_sd.text})"


def probability_words(probability: float) -> str:
    """In per cent; what is near to certain is not said to be so."""
    if probability < 0.0001 or probability > 0.9999:
        return "less than 0.01 %" if probability < 0.5 else "more than 99.99 %"
    return f"{plain(100 * probability, PROBABILITY_DIGITS)} %"


def decision_sentence(decided: Decided, result: Result) -> str:
    """All that a report must say of one decision."""
    limit = decided.limit
    what = f"Conformity with {limit_words(limit)} ({limit.source})"
    rule = f"Decision rule: {rule_words(limit)}; agreed: {agreed_words(limit)}."
    if not decided.code:
        return f"{what}: no statement possible, since {decided.reason}. {rule}"
    sentences = [
        f"{what}: {decided.words}.",
        f"Acceptance zone: {zone_words(decided)}{unit_text(result.unit)}.",
        rule,
        f"Conformance probability {probability_words(decided.probability or 0.0)}, {prior_words(limit)}.",
    ]
    if decided.required_U:
        sentences.append(
            f"Largest U at the limit ({limit.required_U and limit.required_U.text}): {decided.required_U}."
        )
    if decided.required_quantification_limit:
        most = limit.required_quantification_limit
        met = decided.required_quantification_limit
        sentences.append(f"Largest quantification limit ({most and most.text} of the limit): {met}.")
    return " ".join(sentences)


def short_decision(decided: Decided) -> str:
    """`drinking water: pass`."""
    return f"{decided.limit.name}: {decided.words}" + (f" ({decided.reason})" if decided.reason else "")


def zone_words(decided: Decided) -> str:
    """The values that pass: `≤ 8.2`, `51.8 to 194.8`; empty where nothing is stated."""
    low, high = (None if s is None else plain(s.acceptance_limit, 5) for s in (decided.lower, decided.upper))
    if low is not None and high is not None:
        return f"{low} to {high}"
    return f"≤ {high}" if high is not None else "" if low is None else f"≥ {low}"
