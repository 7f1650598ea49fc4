"""Decisions on conformity as plain functions, against published cases, the definitions, and scipy.stats.

JCGM 106:2012; ILAC-G8:09/2019; ISO 14253-1:2017; Directives 2009/90/EC and (EU) 2020/2184. Figures of JCGM 106 and of
the table of ILAC-G8 are from memory; the one-sided cases reproduce to the printed digits."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from ubudget import (
    Prior,
    acceptance_limits,
    conformance_probability,
    decide_conformity,
    global_risks,
    guard_band,
    guard_band_for_risk,
    largest_uncertainty,
    mean_with_low_values,
    meets_percentage,
    specific_consumer_risk,
    specific_producer_risk,
    sum_with_low_values,
)
from ubudget.errors import UbudgetError
from ubudget.records.tolerance_limit import Rule

ORDER = ["pass", "conditional pass", "conditional fail", "fail"]


def test_probabilities_of_jcgm_106() -> None:
    # 7.3, breakdown voltage of a diode: TU = -5.40 V, y = -5.47 V, u = 0.05 V; printed 0.92.
    assert conformance_probability(-5.47, 0.05, upper=-5.40) == pytest.approx(0.9192433408, abs=5e-11)
    # 7.3, burst strength of a container: TL = 490 kPa, y = 509.7 kPa, u = 8.6 kPa; printed 0.99.
    assert conformance_probability(509.7, 8.6, lower=490.0) == pytest.approx(0.9890095474, abs=5e-11)
    # Two-sided: motor oil at 100 °C, 12.5 to 16.3 mm²/s, y = 13.6, u = 1.8; 0.66.
    assert conformance_probability(13.6, 1.8, lower=12.5, upper=16.3) == pytest.approx(0.66263, abs=5e-6)
    # Table 1: distance in u for a probability.
    for z, p in ((0.84, 0.80), (1.28, 0.90), (1.64, 0.95), (2.33, 0.99), (3.09, 0.999)):
        assert conformance_probability(10 - z, 1.0, upper=10.0) == pytest.approx(p, abs=0.002)


def test_finite_degrees_of_freedom_take_t_and_both_risks_are_tails() -> None:
    expected = stats.t.cdf((10 - 9.2) / 0.5, 6)
    assert conformance_probability(9.2, 0.5, upper=10, degrees_of_freedom=6.99) == pytest.approx(expected, rel=1e-12)
    assert specific_producer_risk(9.2, 0.5, upper=10, degrees_of_freedom=6.2) == pytest.approx(expected, rel=1e-12)
    # A tail keeps its digits where 1 - pc would have none left.
    assert specific_consumer_risk(1.0, 0.5, upper=10) == pytest.approx(stats.norm.sf(18), rel=1e-10)


def test_a_prior_is_weighed_by_variances() -> None:
    """JCGM 106, 7.1: 1/u² of the posterior is the sum; its mean is weighed by 1/u²."""
    y0, u0, y, u = 8.0, 0.5, 9.6, 0.4
    variance = 1 / (1 / u0**2 + 1 / u**2)
    mean = variance * (y0 / u0**2 + y / u**2)
    expected = stats.norm.cdf((10 - mean) / math.sqrt(variance))
    assert conformance_probability(y, u, upper=10, prior=Prior(y0, u0)) == pytest.approx(expected, rel=1e-12)


# Resistor, JCGM 106, clause 9 (production recalled): N(1500, 0.12) ohm, 1499.8 to 1500.2 ohm, u = 0.04 ohm, w = r·0.08
# ohm. Risks calculated from the definitions; not printed in the source.
RISKS = [
    (-1.0, 0.0694046, 0.0006806),
    (-0.5, 0.0448982, 0.0070970),
    (0.0, 0.0189422, 0.0372078),
    (0.25, 0.0098783, 0.0690265),
    (0.5, 0.0043341, 0.1146566),
    (0.75, 0.0015754, 0.1743763),
    (1.0, 0.0004686, 0.2476696),
]


@pytest.mark.parametrize(("r", "consumer", "producer"), RISKS)
def test_global_risks(r: float, consumer: float, producer: float) -> None:
    w = r * 0.08
    found = global_risks(
        Prior(1500.0, 0.12), 0.04, lower=1499.8, upper=1500.2, acceptance_lower=1499.8 + w, acceptance_upper=1500.2 - w
    )
    assert found == pytest.approx((consumer, producer), abs=6e-8)


def test_global_risks_of_one_limit_are_those_of_the_bivariate_normal() -> None:
    y0, u0, um, top, accept = 9.0, 0.8, 0.15, 10.0, 9.8
    both = stats.multivariate_normal([y0, y0], [[u0**2, u0**2], [u0**2, u0**2 + um**2]])
    inside = both.cdf([top, accept])
    accepted, conform = stats.norm.cdf((accept - y0) / math.hypot(u0, um)), stats.norm.cdf((top - y0) / u0)
    found = global_risks(Prior(y0, u0), um, upper=top, acceptance_upper=accept)
    assert found == pytest.approx((accepted - inside, conform - inside), abs=1e-7)


def test_guard_bands_leave_the_stated_risks() -> None:
    """ILAC-G8:09/2019, table 1: risk of a value on the acceptance limit, w = r·U, U = 2u."""
    for r, stated in ((3.0, 1e-6), (1.5, 0.0016), (1.0, 0.025), (0.83, 0.05), (0.0, 0.5)):
        on_limit = 10.0 - guard_band(2 * 0.1, r)
        risk = specific_consumer_risk(on_limit, 0.1, upper=10.0)
        assert risk == pytest.approx(stats.norm.sf(2 * r), rel=1e-8)
        assert risk <= stated
    assert guard_band_for_risk(0.1, 0.05) == pytest.approx(0.1 * 1.644853627, rel=1e-9)
    assert guard_band_for_risk(0.1, 0.01) == pytest.approx(0.1 * 2.326347874, rel=1e-9)
    # Student, 95 % one-sided, 9 degrees of freedom: 1.833 (tables of t).
    assert guard_band_for_risk(1.0, 0.05, 9.99) == pytest.approx(1.833, abs=5e-4)


# ILAC-G8:09/2019, 4.2; own boundary cases with TL = 10, U = 0.2, w = U.
NON_BINARY = [
    (9.79, "pass"), (9.80, "pass"), (9.95, "conditional pass"), (10.0, "conditional pass"),
    (10.15, "conditional fail"), (10.2, "conditional fail"), (10.25, "fail"),
]  # fmt: skip


@pytest.mark.parametrize(("value", "decision"), NON_BINARY)
def test_four_words_and_their_mirror(value: float, decision: str) -> None:
    assert decide_conformity(value, "non-binary", upper=10.0, guard=0.2) == decision
    assert decide_conformity(-value, "non-binary", lower=-10.0, guard=0.2) == decision


def test_a_value_on_a_limit_is_inside_whatever_binary_arithmetic_says() -> None:
    assert 0.1 + 0.2 > 0.3  # the difference that the rule for ties is about
    assert decide_conformity(0.1 + 0.2, "simple acceptance", upper=0.3) == "pass"
    assert decide_conformity(math.nextafter(0.3, 0), "simple acceptance", lower=0.3) == "pass"
    assert decide_conformity(0.3 * (1 + 1e-11), "simple acceptance", upper=0.3) == "fail"
    # 0.7 - 0.1·3 is 0.39999999999999997, below 0.4.
    assert decide_conformity(0.4, "guarded acceptance", upper=0.7, guard=0.1 * 3) == "pass"
    assert decide_conformity(0.0, "simple acceptance", upper=0.0) == "pass"
    # Limits that leave one value: it passes.
    assert decide_conformity(5.0, "guarded acceptance", lower=4.0, upper=6.0, guard=1.0) == "pass"


def test_guarded_rejection_of_a_speed() -> None:
    """JCGM 106, 8.3.3: 100 km/h, u = 2 % of the speed, rejection at 99.9 % (z = 3.09): from 107 km/h on."""
    edge = 100 / (1 - 0.02 * stats.norm.ppf(0.999))
    assert round(edge) == 107
    for speed, decision in ((edge - 0.01, "pass"), (edge + 0.01, "fail")):
        guard = guard_band_for_risk(0.02 * speed, 0.001)
        assert decide_conformity(speed, "guarded rejection", upper=100.0, guard=guard) == decision


def test_requirements_of_the_water_directives() -> None:
    # Directive 2009/90/EC, Art. 4(1): U at most 50 % and LOQ at most 30 % of the standard; constructed figures.
    assert meets_percentage(0.09, 0.2, 50) and not meets_percentage(0.07, 0.2, 30)
    # Directive (EU) 2020/2184, Annex III: arsenic 10 µg/L, 30 %; a figure that equals the largest one is met.
    assert largest_uncertainty(10.0, 30) == pytest.approx(3.0, rel=1e-15)
    assert meets_percentage(0.1 * 3, 1.0, 30)
    # Directive 2009/90/EC, Art. 5: half of the quantification limit in means, zero in sums; constructed figures.
    for values, mean, low in (([0.12, None, 0.08, None], 0.065, False), ([0.07, None, None, None], 0.04, True)):
        found, below = mean_with_low_values(values, 0.06)
        assert found == pytest.approx(mean, rel=1e-12) and below is low
    assert sum_with_low_values([0.12, None, 0.01], [0.06, 0.06, 0.02]) == pytest.approx(0.12)


@settings(max_examples=20, deadline=None)
@given(
    rule=st.sampled_from(["simple acceptance", "guarded acceptance", "guarded rejection", "non-binary"]),
    limit=st.floats(-100, 100),
    guard=st.floats(0, 20),
    values=st.lists(st.floats(-200, 200), min_size=2, max_size=6),
    upper=st.booleans(),
)
def test_one_sided_decisions_are_monotone_in_the_value(
    rule: Rule, limit: float, guard: float, values: list[float], upper: bool
) -> None:
    w = 0.0 if rule == "simple acceptance" else guard
    told = [
        decide_conformity(value, rule, guard=w, **({"upper": limit} if upper else {"lower": limit}))
        for value in sorted(values, reverse=not upper)
    ]
    assert [ORDER.index(word) for word in told] == sorted(ORDER.index(word) for word in told)


BAD = [
    (lambda: decide_conformity(1, "simple acceptance"), "no limit"),
    (lambda: decide_conformity(1, "simple acceptance", lower=2, upper=2), "a lower below the upper"),
    (lambda: decide_conformity(1, "guarded acceptance", upper=2, guard=-0.1), "zero or more"),
    (lambda: decide_conformity(1, "simple acceptance", upper=2, guard=0.1), "simple acceptance with a guard band"),
    (lambda: decide_conformity(math.nan, "simple acceptance", upper=2), "a finite value"),
    (lambda: decide_conformity(1, "by feeling", upper=2), "the rule by feeling"),  # type: ignore[arg-type]
    (lambda: acceptance_limits("guarded acceptance", lower=1, upper=2, guard=0.6), "an empty acceptance zone"),
    (lambda: guard_band_for_risk(1, 0.5), "between 0 and 0.5"),
    (lambda: guard_band_for_risk(0, 0.05), "above zero"),
    (lambda: guard_band(1.0, -1), "zero or more"),
    (lambda: conformance_probability(1, 0, upper=2), "u that is missing"),
    (lambda: conformance_probability(1, 1, upper=2, degrees_of_freedom=5, prior=Prior(1, 1)), "normal distribution"),
    (lambda: Prior(1, 0), "an sd above zero"),
    (lambda: global_risks(Prior(1, 1), 0, upper=2), "above zero"),
]


@pytest.mark.parametrize(("call", "words"), BAD, ids=[words for _, words in BAD])
def test_what_is_no_question_is_refused_in_one_line(call: object, words: str) -> None:
    with pytest.raises(UbudgetError) as refused:
        call()  # type: ignore[operator]
    assert words in str(refused.value) and "\n" not in str(refused.value)
