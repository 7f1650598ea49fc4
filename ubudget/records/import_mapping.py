"""The mapping of an export: what stands where in the text file of an instrument, as a person declares it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic.dataclasses import dataclass

from ubudget.records.strict import STRICT

Place = Annotated[str | Annotated[int, Field(ge=1)], Field(union_mode="left_to_right")]
"""A column: its heading, or its position from 1 on."""
Applied = Literal[
    "dilution", "weight and volume", "blank", "calibration blank", "internal standard", "drift", "recovery"
]
"""What a device may have put into the numbers it exports. `blank` is the blank of the reagents or the procedure,
`calibration blank` the zero solution that the device subtracts before the curve."""
Kind = Literal["sample", "blank", "standard", "check", "set aside"]
Texts = Annotated[tuple[str, ...], Field(strict=False)]


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Columns:
    """Columns of the export, each by heading or position."""

    solution: Place | None = None
    type: Place | None = None
    analyte: Place | None = None
    line: Place | None = None
    analyte_line: Place | None = None
    """Element and line in one string."""
    value: Place | None = None
    """One reading in each row."""
    replicates: Annotated[tuple[Place, ...], Field(strict=False)] = ()
    """The readings of a solution side by side."""
    mean: Place | None = None
    s: Place | None = None
    n: Place | None = None
    rsd: Place | None = None
    """Relative standard deviation in %, in place of s."""
    replicate: Place | None = None
    """The number of the reading, where each has a row of its own."""
    statistic: Place | None = None
    """Says whether a row holds the mean, s or something else; the table `statistics` tells its words."""
    unit: Place | None = None
    flag: Place | None = None
    rerun: Place | None = None
    """Any text in it marks a solution that was measured again."""
    position: Place | None = None
    nominal: Place | None = None
    """Concentration of a standard."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class LineText:
    """What an element-and-line text of the export means: in a cell, or as a heading of the wide form."""

    text: str
    analyte: str = ""
    line: str = ""
    unit: str = ""
    part: Literal["value", "mean", "s", "rsd", "n", "set aside"] = "value"
    replicate: Annotated[int, Field(ge=1)] | None = None
    """Which reading a column of the wide form holds."""
    reason: str = ""
    """Why it is set aside."""

    @model_validator(mode="after")
    def _told(self) -> LineText:
        if self.part == "set aside" and not self.reason:
            raise ValueError("set aside without a reason; accepted: reason = …")
        if self.part != "set aside" and not self.analyte:
            raise ValueError('no analyte; accepted: an analyte of the method, or part = "set aside" with a reason')
        return self


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Marks:
    """Texts that stand in place of a number, beside one, or in the column of flags.

    Case counts. A text in none of them is a finding."""

    excluded: Texts = ("*",)
    """Beside a number, or as flag: the operator left the reading out."""
    saturated: Texts = ("sat", "o.r.", "uncal", "####")
    missing: Texts = ("", "-", "--", "---", "NaN", "n.a.")
    below: Texts = ("<",)
    """Beginnings of what is below a limit, `<0,005`."""
    above: Texts = (">",)
    fine: Texts = ("", "ok")
    """Flags of readings that stand."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Rerun:
    """How a solution that was measured again is told, and which measurement counts."""

    keep: Literal["first", "last"]
    endings: Texts = ()
    """Endings of a label that mark it, beside the column `rerun`."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Mapping:
    """The file `mapping.toml`, beside the method or in the run folder."""

    kind: Literal["import mapping"]
    layout: Literal["long", "wide"]
    """`long`: analyte and line in columns; `wide`: a column for each line."""
    quantity: Literal["intensity", "concentration"]
    columns: Columns
    encoding: Literal["utf-8", "utf-16", "windows-1252"] | None = None
    """Needed where the bytes do not tell: neither a byte order mark nor valid UTF-8."""
    separator: Literal[",", ";", "tab", "|"] | None = None
    decimal: Literal[".", ","] | None = None
    """Needed where the file does not tell."""
    thousands: Literal[".", ",", " ", "'"] | None = None
    heading_row: Annotated[int, Field(ge=0)] | None = None
    """Line of the headings, from 1 on; 0: the file has none. Without it: the line that holds all the headings."""
    unit_row: bool = False
    """The line below the headings holds the units of the columns."""
    block_label: str = ""
    """Beginning of a line that names the solution of the rows below it, `Sample:`."""
    label_once: bool = False
    """A label stands in the first row of its solution alone; rows below without one belong to it."""
    unit: str = ""
    """Unit of all values that state none."""
    nominal_unit: str = ""
    """Unit of the concentrations of standards, where their heading states none."""
    n: Annotated[int, Field(ge=1)] | None = None
    """Readings behind each mean, or readings of each solution in rows of their own without a number."""
    units: dict[str, str] = Field(default_factory=dict)
    """Unit as the export writes it → unit, `ppm = "mg/L"`."""
    lines: Annotated[tuple[LineText, ...], Field(strict=False, alias="line")] = ()
    statistics: dict[str, Literal["mean", "s", "rsd", "n", "set aside"]] = Field(default_factory=dict)
    types: dict[str, Kind] = Field(default_factory=dict)
    labels: dict[str, str] = Field(default_factory=dict)
    """Label in the export → label in the run."""
    set_aside: Texts = ()
    """Labels of the export that are not of the run, e.g. rinses."""
    repeated: Texts = ()
    """Labels of the run that are read again and again, e.g. the drift check; each reading counts."""
    columns_set_aside: Texts = ()
    """Headings of the wide form that hold no values."""
    marks: Marks = Marks()
    rerun: Rerun | None = None
    already_applied: Annotated[tuple[Applied, ...], Field(strict=False)]
    """What the device applied to these numbers; an empty list says: nothing."""

    @model_validator(mode="after")
    def _columns_fit(self) -> Mapping:
        for fault in (self._solution_fault(), self._value_fault(), self._sign_fault()):
            if fault:
                raise ValueError(fault)
        return self

    def _solution_fault(self) -> str:
        if (self.columns.solution is None) == (not self.block_label):
            return "no column of labels, or one beside block_label; accepted: columns.solution or block_label"
        return ""

    def _value_fault(self) -> str:
        columns = self.columns
        kinds = [columns.value is not None, bool(columns.replicates), columns.mean is not None]
        if self.layout == "wide":
            apart = (columns.analyte, columns.line, columns.analyte_line, columns.n, columns.s, columns.rsd)
            if any(kinds) or any(place is not None for place in apart):
                return 'a column of values, analyte or line; accepted with layout = "wide": tables [[line]]'
            counted = columns.replicate is not None or any(line.replicate is not None for line in self.lines)
            counted = counted or any(line.part == "n" for line in self.lines) or "n" in self.statistics.values()
            if not counted and self.n is None:
                return "readings of an unknown number; accepted: n, the readings of each solution or behind each mean"
            return ""
        if sum(kinds) != 1:
            return "no column of values, or several kinds of them; accepted: one of value, replicates and mean"
        if (columns.analyte_line is None) == (columns.analyte is None):
            return "no column of analytes, or two; accepted: analyte (with line), or analyte_line"
        if columns.mean is not None and (columns.s is None) == (columns.rsd is None):
            return "a mean without s, or with both s and rsd; accepted: mean, one of s and rsd, and n"
        if columns.mean is not None and columns.n is None and self.n is None:
            return "means of an unknown number of readings; accepted: columns.n, or n of the mapping"
        if columns.value is not None and columns.replicate is None and columns.statistic is None and self.n is None:
            return "readings without number; accepted: columns.replicate, or n, the readings of each solution"
        return ""

    def _sign_fault(self) -> str:
        if self.thousands is not None and self.thousands == self.decimal:
            return "one sign for decimals and thousands; accepted: two different ones"
        if self.thousands is not None and self.decimal is None:
            return "a sign for thousands without one for decimals; accepted: both"
        return ""

    @property
    def parts(self) -> set[str]:
        """What the values of the export are: `value`, or `mean`, `s`, `rsd`, `n`."""
        columns = {key for key in ("mean", "s", "rsd", "n") if getattr(self.columns, key) is not None}
        return columns | {line.part for line in self.lines} | set(self.statistics.values())

    @property
    def as_means(self) -> bool:
        """Whether the export gives mean, s and n in place of single readings."""
        return "mean" in self.parts
