"""An uncertainty as somebody stated it: the ways accepted for an input quantity (GUM 4.2, 4.3)."""

from __future__ import annotations

from dataclasses import field
from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic.dataclasses import dataclass

from ubudget.records.amount import AnyAmount, NonNegativeAmount, PositiveAmount
from ubudget.records.strict import STRICT

Positive = Annotated[float, Field(gt=0)]
Probability = Annotated[float, Field(gt=0, lt=1)]
Limits = Literal["rectangular", "triangular", "trapezoidal", "curvilinear trapezoid", "arcsine"]


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Stated:
    """Exactly one of: `u`; `U` with `k` or `confidence`; `half_width` with `distribution`; `rounded_to`;
    `readings`; `exact = true`.

    A `%` is relative to the estimate. `rounded_to` is the last place of a figure that was rounded before: rectangular,
    half of it wide to either side (GUM F.2.2.1, 4.3.7). `readings` (GUM 4.2) give estimate and u = s/sqrt(n) with
    n - 1 degrees of freedom, or u = pooled_s/sqrt(n) with `pooled_dof`. `reliability` is the relative uncertainty of u
    itself and gives dof = 1/(2 reliability^2) (GUM G.3).
    """

    u: NonNegativeAmount | None = None
    U: PositiveAmount | None = None
    k: Positive | None = None
    confidence: Probability | None = None
    half_width: PositiveAmount | None = None
    distribution: Limits | None = None
    top: Annotated[float, Field(ge=0, le=1)] | None = None
    """Trapezoidal only: width of the top over width of the base (GUM 4.3.9, beta)."""
    inexactness: PositiveAmount | None = None
    """Curvilinear trapezoid only: the half-width itself is known to plus or minus this (JCGM 101 6.4.3)."""
    rounded_to: PositiveAmount | None = None
    readings: tuple[AnyAmount, ...] | None = None
    pooled_s: PositiveAmount | None = None
    pooled_dof: Positive | None = None
    dof: Positive | None = None
    reliability: Probability | None = None
    exact: bool = False
    evaluation: Literal["A", "B"] | None = None
    source: str = ""
    item: str = ""
    """Register item on which the figures rest; where its certificate is of the same quantity they are to agree."""

    @model_validator(mode="after")
    def _one_way(self) -> Stated:
        ways = {
            "u": self.u is not None,
            "U": self.U is not None,
            "half_width": self.half_width is not None,
            "rounded_to": self.rounded_to is not None,
            "readings": self.readings is not None,
        }
        named = [way for way, present in ways.items() if present]
        if len(named) > 1:
            raise ValueError(f"{' and '.join(named)} together; accepted: one way to state the uncertainty")
        if self.exact and named:
            raise ValueError(f"exact and {named[0]} together; accepted: one of them")
        if self.U is not None and self.k is None and self.confidence is None:
            raise ValueError("U without k; accepted: U with k, or U with confidence")
        if self.k is not None and self.confidence is not None:
            raise ValueError("k and confidence together; accepted: one of them")
        if self.U is None and (self.k is not None or self.confidence is not None):
            raise ValueError("k or confidence without U; accepted: U beside it")
        if self.half_width is not None and self.distribution is None:
            raise ValueError(
                "half_width without distribution; accepted: rectangular, triangular, trapezoidal, curvilinear "
                "trapezoid or arcsine"
            )
        if self.distribution is not None and self.half_width is None:
            raise ValueError("distribution without half_width; accepted: half_width beside it")
        if (self.distribution == "trapezoidal") != (self.top is not None):
            raise ValueError("top belongs to the trapezoidal distribution; accepted: both or neither")
        self._limits_known_inexactly()
        if self.pooled_s is not None and (self.readings is None or self.pooled_dof is None):
            raise ValueError("pooled_s needs readings and pooled_dof; accepted: all three")
        if self.readings is not None and len(self.readings) < 2 and self.pooled_s is None:
            raise ValueError("one reading gives no standard deviation; accepted: two or more, or pooled_s")
        if self.dof is not None and self.reliability is not None:
            raise ValueError("dof and reliability together; accepted: one of them")
        return self

    def _limits_known_inexactly(self) -> None:
        if (self.distribution == "curvilinear trapezoid") != (self.inexactness is not None):
            raise ValueError("inexactness belongs to the curvilinear trapezoid; accepted: both or neither")
        if self.inexactness is None or self.half_width is None:
            return
        if self.inexactness.relative != self.half_width.relative:
            raise ValueError("half_width and inexactness, one of them in %; accepted: both or neither in %")
        if self.inexactness.unit == self.half_width.unit and self.inexactness.value > self.half_width.value:
            raise ValueError("inexactness above half_width; accepted: at most the half-width")

    @property
    def states_uncertainty(self) -> bool:
        ways = (self.u, self.U, self.half_width, self.rounded_to, self.readings)
        return self.exact or any(way is not None for way in ways)

    @property
    def limits(self) -> Limits | None:
        """The distribution between limits; rounding has a rectangular one."""
        return "rectangular" if self.rounded_to is not None else self.distribution


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Component(Stated):
    """One named part of an input quantity's uncertainty: a deviation with estimate zero."""

    name: str
    group: str | None = None


Components = Annotated[tuple[Component, ...], Field(strict=False)]

NO_COMPONENTS: Components = field(default=())
