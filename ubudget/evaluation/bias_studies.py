"""Standard uncertainty of a bias, from reference materials, spikes, proficiency tests and a reference method.

Nordtest TR 537 (ed. 3.1, 2012; ed. 4, 2017) sections 5.2 to 5.4 and ISO 11352:2012, clause 8 (numbers of sections from
memory). All figures of one study share one unit: that of results, or % of the level.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import stdtrit

from ubudget.errors import UbudgetError

ROBUST = 1.25
"""Factor of the standard uncertainty of a median or robust mean (ISO 13528:2015, 7.7.3)."""
FEWEST_ROUNDS = 6
"""Proficiency tests below which the estimate is weak (Nordtest TR 537, 5.3)."""


@dataclass(frozen=True)
class MaterialStudy:
    """A reference material measured n times over several series, beside its certified value."""

    found: float
    s: float
    """Standard deviation of the n results, over series and not within one."""
    n: int
    certified: float
    u_certified: float

    @property
    def bias(self) -> float:
        return self.found - self.certified

    @property
    def u_found(self) -> float:
        """s/√n."""
        return self.s / math.sqrt(self.n)

    def relative(self) -> MaterialStudy:
        """The same in % of the certified value; s is taken as given in % of what was found."""
        percent = 100 / self.certified
        return MaterialStudy(self.found * percent, self.s * percent, self.n, 100.0, self.u_certified * percent)


@dataclass(frozen=True)
class Round:
    """One proficiency test: the laboratory's result, the assigned value and how that was found."""

    found: float
    assigned: float
    s_R: float
    """Standard deviation between laboratories."""
    laboratories: int
    robust: bool = False
    """Whether the assigned value is a median or robust mean."""

    @property
    def bias(self) -> float:
        return self.found - self.assigned

    @property
    def u_assigned(self) -> float:
        """s_R/√p, 1.25 times as much for a median or robust mean."""
        return (ROBUST if self.robust else 1.0) * self.s_R / math.sqrt(self.laboratories)


@dataclass(frozen=True)
class Spike:
    """Standard uncertainty of an added concentration, in %: of the stock and of the volume added."""

    stock: float
    volume_limit: float = 0.0
    """Largest error of the volume; taken as a half-width, /√3."""
    volume_repeatability: float = 0.0

    @property
    def u_volume(self) -> float:
        return math.hypot(self.volume_limit / math.sqrt(3), self.volume_repeatability)

    @property
    def u(self) -> float:
        return math.hypot(self.stock, self.u_volume)


@dataclass(frozen=True)
class Bias:
    """What a study says of the bias."""

    kind: str
    studies: int
    bias: float
    """The bias of one material or method, the root mean square of several, or of the losses of spikes."""
    u_reference: float
    u: float
    """Standard uncertainty of the bias, u(bias)."""
    factor: float | None
    """|bias| over its own uncertainty (that of the mean found and of the reference); None for root mean squares."""
    critical: float | None
    """Student t at 95 % and the degrees of freedom of the mean found."""

    @property
    def significant(self) -> bool | None:
        return None if self.factor is None or self.critical is None else self.factor > self.critical


def bias_from_material(study: MaterialStudy) -> Bias:
    """One reference material: u(bias) = √(bias² + s²/n + u(Cref)²) (Nordtest TR 537, 5.2.1).

    Raises `UbudgetError` for n below 2, a negative s, or a certified value without uncertainty."""
    _check_material(study, 1)
    own = math.hypot(study.u_found, study.u_certified)
    u = math.sqrt(study.bias**2 + own**2)
    critical = float(stdtrit(study.n - 1, 0.975))
    return Bias("reference material", 1, study.bias, study.u_certified, u, abs(study.bias) / own, critical)


def bias_from_materials(studies: Sequence[MaterialStudy], *, squares: bool = False) -> Bias:
    """Several reference materials: u(bias) = √(RMS(bias)² + u(Cref)²), u(Cref) the mean of the materials' u (Nordtest
    TR 537, 5.2.2) or, with `squares`, the root of the mean of their squares (ISO 11352).

    Raises `UbudgetError` for fewer than two; one has its own rule."""
    if len(studies) < 2:
        raise UbudgetError(f"found {len(studies)} reference material(s); accepted: two or more under this rule")
    for number, study in enumerate(studies, start=1):
        _check_material(study, number)
    mean = math.fsum(study.u_certified for study in studies) / len(studies)
    mean_square = math.fsum(study.u_certified**2 for study in studies) / len(studies)
    reference = math.sqrt(mean_square) if squares else mean
    return _root_mean_square("reference materials", [study.bias for study in studies], reference)


def bias_from_rounds(rounds: Sequence[Round]) -> Bias:
    """Proficiency tests: u(bias) = √(RMS(bias)² + mean u(assigned)²) (Nordtest TR 537, 5.3; ISO 11352, 8.3.4).

    Raises `UbudgetError` for fewer than two rounds, or a round without its s_R or number of laboratories."""
    if len(rounds) < 2:
        raise UbudgetError(f"found {len(rounds)} proficiency test(s); accepted: several, six or more commonly")
    for number, one in enumerate(rounds, start=1):
        if not one.s_R > 0 or one.laboratories < 2:
            raise UbudgetError(
                f"proficiency test {number}: found s_R {one.s_R:g} and {one.laboratories} laboratories; accepted: s_R "
                "above zero of two laboratories or more"
            )
    reference = math.fsum(one.u_assigned for one in rounds) / len(rounds)
    return _root_mean_square("proficiency tests", [one.bias for one in rounds], reference)


def bias_from_recoveries(recoveries: Sequence[float], spike: Spike) -> Bias:
    """Recoveries in % of spikes on real samples: u(bias) = √(RMS(100 - R)² + u(spike)²) (Nordtest TR 537, 5.4).

    Raises `UbudgetError` for fewer than two recoveries or a spike without uncertainty."""
    if len(recoveries) < 2:
        raise UbudgetError(f"found {len(recoveries)} recovery; accepted: several, six or more commonly")
    if not spike.u > 0:
        raise UbudgetError("spike: found no uncertainty of what was added; accepted: above zero, in %")
    return _root_mean_square("recoveries", [recovery - 100 for recovery in recoveries], spike.u)


def bias_from_pairs(pairs: Sequence[tuple[float, float]], u_reference: float) -> Bias:
    """Results beside those of a reference method on the same samples: mean difference, its scatter, u of the method.

    u(bias) = √(D² + s_D²/n + u_ref²), as for one material. Raises `UbudgetError` for fewer than two pairs or a
    reference method without uncertainty."""
    if len(pairs) < 2:
        raise UbudgetError(f"found {len(pairs)} pair; accepted: two or more")
    differences = [found - reference for found, reference in pairs]
    mean = math.fsum(differences) / len(differences)
    s = math.sqrt(math.fsum((d - mean) ** 2 for d in differences) / (len(differences) - 1))
    found = bias_from_material(MaterialStudy(mean, s, len(differences), 0.0, u_reference))
    return Bias("reference method", len(pairs), mean, u_reference, found.u, found.factor, found.critical)


def _root_mean_square(kind: str, biases: Sequence[float], reference: float) -> Bias:
    rms = math.sqrt(math.fsum(bias * bias for bias in biases) / len(biases))
    return Bias(kind, len(biases), rms, reference, math.hypot(rms, reference), None, None)


def _check_material(study: MaterialStudy, number: int) -> None:
    if study.n < 2 or study.s < 0 or not study.u_certified > 0:
        raise UbudgetError(
            f"reference material {number}: found n = {study.n}, s = {study.s:g}, u(certified) = "
            f"{study.u_certified:g}; accepted: two results or more, s not negative, u of the certificate above zero"
        )
