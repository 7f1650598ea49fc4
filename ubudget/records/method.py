"""The method: measurand, result equation, and for each symbol the operation of the bench that defines it."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic.dataclasses import dataclass

from ubudget.records.additions import StandardAdditions
from ubudget.records.amendments import ExclusionRule
from ubudget.records.amount import AnyAmount, PositiveAmount
from ubudget.records.calibration import Calibration
from ubudget.records.case import Case
from ubudget.records.derived import Derived
from ubudget.records.device_concentration import DeviceConcentration
from ubudget.records.level_function import LevelFunction
from ubudget.records.low_levels import DetectionLimit, LowLevels
from ubudget.records.molar_mass import AtomicWeight, ConversionFactor, MolarMass
from ubudget.records.overlap import Overlap, SpectralOverlap
from ubudget.records.quality import QualityLimit
from ubudget.records.recovery import Recovery
from ubudget.records.several_lines import SeveralLines
from ubudget.records.simulation import SimulationRule
from ubudget.records.stated import Component, Positive, Probability, Stated
from ubudget.records.statement_form import StatementForm
from ubudget.records.strict import STRICT
from ubudget.records.target import Target
from ubudget.records.tolerance_limit import ToleranceLimit
from ubudget.records.validation_data import ValidationData
from ubudget.records.volume import Dilution, Volume
from ubudget.records.weighing import Weighing

Tuple = Field(strict=False)


@dataclass(frozen=True, config=STRICT, kw_only=True)
class InputCase(Case, Stated):
    """Estimate and uncertainty of an input for one analyte, line, matrix or level band."""

    estimate: AnyAmount | None = None


@dataclass(frozen=True, config=STRICT, kw_only=True)
class PrecisionCase(Case):
    """Standard deviations of the method's precision; both given: s^2 = constant^2 + (relative * value)^2."""

    constant: PositiveAmount | None = None
    relative: PositiveAmount | None = None
    dof: Positive | None = None
    source: str = ""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Input(Stated):
    """A plain input quantity: an estimate from the method, or from a column of the samples table."""

    operation: Literal["input"]
    quantity: str
    unit: str = ""
    group: str = ""
    estimate: AnyAmount | None = None
    column: str = ""
    """Column of the samples table that holds the estimate."""
    shared: bool | None = None
    """True: one deviation for the whole run; false: new for each row of the samples table. Default: true for
    an estimate of the method, false for a column."""
    components: Annotated[tuple[Component, ...], Field(strict=False, alias="component")] = ()
    cases: Annotated[tuple[InputCase, ...], Field(strict=False, alias="for")] = ()


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Constant:
    """An exact number of the method."""

    operation: Literal["constant"]
    quantity: str
    value: AnyAmount


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Equation:
    """A named intermediate quantity of the result equation."""

    operation: Literal["equation"]
    quantity: str
    equation: str
    unit: str = ""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Blank:
    """Mean blank of the analyte's line, on the same curve as the samples."""

    operation: Literal["blank"]
    quantity: str
    unit: str
    kind: Literal["procedural", "reagent", "device"] = "procedural"
    """Taken through the whole procedure; the reagents alone; or what the device itself may subtract."""
    own_blank: str = "counted"
    """The scatter of the sample's own blank: `counted`, `covered by SYMBOL` or `negligible: reason`."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class DryMassFactor(Stated):
    """F = 100/(100 - M), M the moisture of the sample as received in %, from a column of the samples
    table."""

    operation: Literal["dry mass factor"]
    quantity: str
    column: str = ""
    moisture: AnyAmount | None = None


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Precision:
    """The method's own precision as a deviation with estimate zero, in the unit of the result.

    `within run` is new for each portion, `between runs` is one deviation per analyte and line for the
    whole run."""

    operation: Literal["precision"]
    quantity: str
    part: Literal["within run", "between runs"]
    constant: PositiveAmount | None = None
    relative: PositiveAmount | None = None
    dof: Positive | None = None
    source: str = ""
    cases: Annotated[tuple[PrecisionCase, ...], Field(strict=False, alias="for")] = ()


@dataclass(frozen=True, config=STRICT, kw_only=True)
class LineParameter:
    """Intercept (at the data's `origin`) or slope of a straight line fitted to data of the method."""

    operation: Literal["line parameter"]
    quantity: str
    unit: str = ""
    data: str
    parameter: Literal["intercept", "slope"]


Symbol = Annotated[
    Input
    | Constant
    | Equation
    | Weighing
    | Volume
    | Dilution
    | Calibration
    | StandardAdditions
    | Blank
    | DryMassFactor
    | Precision
    | LineParameter
    | MolarMass
    | ConversionFactor
    | Recovery
    | SpectralOverlap
    | DeviceConcentration,
    Field(discriminator="operation"),
]


@dataclass(frozen=True, config=STRICT, kw_only=True)
class LineData:
    """Pairs to which a straight line is fitted by unweighted least squares."""

    x: Annotated[tuple[float, ...], Tuple]
    y: Annotated[tuple[float, ...], Tuple]
    origin: float = 0.0
    unit_x: str = ""
    unit_y: str = ""
    source: str = ""

    @model_validator(mode="after")
    def _pairs(self) -> LineData:
        if len(self.x) != len(self.y):
            raise ValueError(f"{len(self.x)} x and {len(self.y)} y; accepted: as many y as x")
        return self


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Coverage:
    """`fixed`: k as given; `t`: Student factor at `probability` and the truncated effective degrees of
    freedom; `dominating term`: the factor of the rectangular or trapezoidal distribution where one or two
    rectangular contributions dominate, else that of `t`; `simulation`: half the simulated interval over u."""

    rule: Literal["fixed", "t", "dominating term", "simulation"] = "t"
    k: Positive | None = None
    probability: Probability = 0.9545

    @model_validator(mode="after")
    def _k_under_fixed_rule(self) -> Coverage:
        if (self.rule == "fixed") != (self.k is not None):
            raise ValueError('k belongs to rule = "fixed"; accepted: both or neither')
        return self


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Rounding:
    """Significant digits of the reported U; one digit follows the 5 % rule of EA-4/02 6.3."""

    digits: Literal[1, 2] = 2


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Correlation:
    """Declared correlation coefficient of the estimates of two input symbols (GUM 5.2.2)."""

    between: Annotated[tuple[str, str], Tuple]
    coefficient: Annotated[float, Field(ge=-1, le=1)]
    source: str = ""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Document:
    """Identity and approval of the method, and what is reported."""

    id: str
    title: str
    version: str
    status: Literal["draft", "approved", "superseded"]
    author: str = ""
    approver: str = ""
    effective: dt.date | None = None
    review: dt.date | None = None
    measurand: str
    basis: str = ""
    defined_by: str = ""
    """For a measurand that a procedure defines (extractable, leachable …): the procedure, by its document."""
    unit: str
    equation: str
    not_included: str = ""
    """What the stated uncertainty does not include, e.g. "sampling in the field"."""
    target_uncertainty: PositiveAmount | None = None
    """Largest expanded uncertainty that serves the purpose, in % of the result or in its unit; for all results without
    a target of their own."""
    cautions: Annotated[tuple[str, ...], Tuple] = ()
    references: Annotated[tuple[str, ...], Tuple] = ()


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Method:
    document: Annotated[Document, Field(alias="method")]
    symbols: dict[str, Symbol]
    coverage: Coverage = Coverage()
    rounding: Rounding = Rounding()
    analytes: dict[str, Annotated[tuple[str, ...], Tuple]] = Field(default_factory=dict)
    """Analyte → its lines."""
    effects: dict[str, str] = Field(default_factory=dict)
    """Random effect → `counted`, `covered by SYMBOL` or `negligible: reason`."""
    correlations: Annotated[tuple[Correlation, ...], Field(strict=False, alias="correlation")] = ()
    data: dict[str, LineData] = Field(default_factory=dict)
    atomic_weights: dict[str, AtomicWeight] = Field(default_factory=dict)
    """Element → its atomic weight, in place of the standard one."""
    overlaps: Annotated[tuple[Overlap, ...], Field(strict=False, alias="overlap")] = ()
    quality_limits: Annotated[tuple[QualityLimit, ...], Field(strict=False, alias="quality_limit")] = ()
    tolerance_limits: Annotated[tuple[ToleranceLimit, ...], Field(strict=False, alias="tolerance_limit")] = ()
    level_functions: Annotated[tuple[LevelFunction, ...], Field(strict=False, alias="level_function")] = ()
    targets: Annotated[tuple[Target, ...], Field(strict=False, alias="target")] = ()
    exclusions: ExclusionRule = ExclusionRule()
    statement: StatementForm = StatementForm()
    detection_limits: Annotated[tuple[DetectionLimit, ...], Field(strict=False, alias="detection_limit")] = ()
    low_levels: LowLevels | None = None
    several_lines: SeveralLines | None = None
    validation: ValidationData | None = None
    """The second route to the uncertainty of results."""
    simulation: SimulationRule | None = None
    """Its results stand in the workbook beside those of the law of propagation."""
    derived: Annotated[tuple[Derived, ...], Field(strict=False)] = ()
    """Results calculated from results, in the order in which they build on one another."""
