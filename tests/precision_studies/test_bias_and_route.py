"""Bias and the route by validation data: Nordtest TR 537 (figures from memory, recomputed) and ISO 21748 by hand."""

from __future__ import annotations

import math

import pytest
from scipy import stats

from ubudget.errors import UbudgetError
from ubudget.evaluation.bias_studies import (
    MaterialStudy,
    Round,
    Spike,
    bias_from_material,
    bias_from_materials,
    bias_from_pairs,
    bias_from_recoveries,
    bias_from_rounds,
)
from ubudget.evaluation.validation_route import (
    Range,
    combined,
    excess_over_budget,
    from_collaborative_study,
    from_control_and_duplicates,
    from_control_sample,
    from_warning_limits,
    largest_laboratory_bias,
    range_of,
)


def test_ammonium_in_water() -> None:
    """Nordtest TR 537, summary example: u(Rw) 1.67 %, RMS(bias) 2.26 (2.246), u(bias) 2.71 (2.701), U 6 %."""
    biases = (2.4, 2.7, 1.9, 1.4, 1.8, 2.9)
    found = bias_from_rounds([Round(100 + bias, 100, 1.5 * 3, 9) for bias in biases])
    assert found.bias == pytest.approx(2.26, abs=0.05)
    assert found.u == pytest.approx(2.71, abs=0.05)
    within = from_warning_limits(3.34, 100)
    assert within.u == pytest.approx(1.67)
    u, U = combined(within.u, found.u)
    assert u == pytest.approx(3.18, abs=0.05)
    assert round(U) == 6


@pytest.mark.parametrize(
    ("control", "n", "duplicates", "pairs", "printed"),
    [(2.5, 100, 5.7, 43, 6.2), (1.5, 100, 3.6, 21, 3.9), (0.5, 50, 0.32, 50, 0.59)],
)
def test_within_laboratory(control: float, n: int, duplicates: float, pairs: int, printed: float) -> None:
    """Nordtest TR 537, section 4: ammonium at two levels (%), oxygen in water with a spread between calibrations."""
    found = from_control_and_duplicates(control, n, duplicates, pairs)
    assert found.u == pytest.approx(printed, abs=0.05 if printed > 1 else 0.005)


def test_one_material() -> None:
    """Nordtest TR 537, 5.2.1: 11.5 ± 0.5 (95 %, /1.96), found 11.9 twelve times with s 2.2 %."""
    study = MaterialStudy(11.9, 0.022 * 11.5, 12, 11.5, 0.5 / 1.96).relative()
    found = bias_from_material(study)
    assert found.bias == pytest.approx(3.48, abs=0.005)
    assert found.u_reference == pytest.approx(2.21, abs=0.01)
    assert found.u == pytest.approx(4.2, abs=0.05)
    assert found.significant is False


def test_several_materials() -> None:
    """Nordtest TR 537, 5.2.2: biases 3.48, -0.9, 2.4 %; RMS 2.50, u(Cref) 1.9, u(bias) 3.1 or 3.2 by rounding."""
    figures = [(3.48, 2.2, 12, 2.21), (-0.9, 2.0, 7, 1.8), (2.4, 2.8, 10, 1.8)]
    found = bias_from_materials([MaterialStudy(100 + bias, s, n, 100, u) for bias, s, n, u in figures])
    assert round(found.bias, 2) == 2.50
    assert round(found.u_reference, 1) == 1.9
    assert 3.1 <= round(found.u, 1) <= 3.2


def test_recoveries() -> None:
    """Nordtest TR 537, 5.4: recoveries 95 to 99 %, u(spike) 1.0, u(bias) 3.6 %."""
    spike = Spike(0.6, 1.0, 0.5)
    assert round(spike.u_volume, 2) == 0.76
    assert round(spike.u, 1) == 1.0
    found = bias_from_recoveries((95, 98, 97, 96, 99, 96), spike)
    assert round(found.bias, 2) == 3.44
    assert round(found.u, 1) == 3.6


def test_reference_method_by_scipy() -> None:
    """Without uncertainty of the reference, the factor is Student's t of paired results (scipy.stats)."""
    pairs = [(10.2, 10.0), (20.1, 20.2), (30.4, 30.0), (39.9, 39.8)]
    found = bias_from_pairs(pairs, 1e-9)
    t = stats.ttest_rel(*zip(*pairs, strict=True))
    assert found.factor == pytest.approx(abs(t.statistic), rel=1e-6)
    assert found.critical == pytest.approx(stats.t.ppf(0.975, 3))


def test_collaborative_study() -> None:
    """Formulas of ISO 21748:2017 by hand: s_R 4, s_r 2, u(δ) 1.5, one further contribution of 1."""
    assert from_collaborative_study(4.0, 1.5, [1.0]) == pytest.approx(math.sqrt(16 + 2.25 + 1))
    assert largest_laboratory_bias(4.0, 2.0, 5) == pytest.approx(2 * math.sqrt(12 + 4 / 5))


def test_ranges() -> None:
    ranges = (Range(0, 15, 0.5, 0.3, False), Range(15, 1000, 0.04, 0.03, True))
    assert range_of(ranges, 5).standard_uncertainty(5) == pytest.approx(math.hypot(0.5, 0.3))
    assert range_of(ranges, 15).standard_uncertainty(15) == pytest.approx(0.75)
    with pytest.raises(UbudgetError, match="level 2000: found in no range; accepted: 0 to 15; 15 to 1000"):
        range_of(ranges, 2000)


def test_excess_by_scipy() -> None:
    found = excess_over_budget(1.4, 30, 1.0, 20)
    assert found.probability == pytest.approx(stats.f.sf(1.96, 30, 20))
    assert not found.significant
    assert excess_over_budget(1.4, 30, 1.0).significant


@pytest.mark.parametrize(
    ("made", "words"),
    [
        (lambda: bias_from_material(MaterialStudy(1, 0.1, 1, 1, 0.1)), "n = 1"),
        (lambda: bias_from_material(MaterialStudy(1, 0.1, 5, 1, 0.0)), "u of the certificate above zero"),
        (lambda: bias_from_materials([MaterialStudy(1, 0.1, 5, 1, 0.1)]), "found 1 reference material"),
        (lambda: bias_from_rounds([Round(1, 1, 0.1, 10)]), "found 1 proficiency test"),
        (lambda: bias_from_rounds([Round(1, 1, 0.0, 10)] * 2), "proficiency test 1: found s_R 0"),
        (lambda: bias_from_recoveries([99.0], Spike(1)), "found 1 recovery"),
        (lambda: bias_from_recoveries([99.0, 98.0], Spike(0)), "no uncertainty of what was added"),
        (lambda: bias_from_pairs([(1.0, 1.0)], 0.1), "found 1 pair"),
        (lambda: from_control_sample(0.0, 10), "s = 0"),
        (lambda: from_control_and_duplicates(1.0, 10, 1.0, 0), "found 0 pairs"),
        (lambda: combined(-1.0, 1.0), "neither negative"),
        (lambda: largest_laboratory_bias(1.0, 2.0, 3), "below s_r"),
        (lambda: excess_over_budget(1.0, 0.0, 1.0), "found 0 and"),
    ],
)
def test_unusable_data(made: object, words: str) -> None:
    assert callable(made)
    with pytest.raises(UbudgetError, match=words):
        made()
