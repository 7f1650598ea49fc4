"""The corpus of exports: for each file its mapping and what must come of it.

All files are invented; they hold the readings of `import_runs` in the shapes that plain-text exports have (common
practice, no source). Files whose name begins with `bad_` are wrong in one way each."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.importing.import_runs import CONCENTRATIONS, STANDARDS, TRUTH, Key
from ubudget.files.toml_writing import toml_text

EXPORTS = Path(__file__).parent / "exports"
INTENSITY, CONCENTRATION = "intensity", "concentration"

LONG = {
    "layout": "long",
    "columns": {
        "solution": "Label",
        "analyte": "Element",
        "line": "Line",
        "replicate": "Rep",
        "value": "Intensity",
        "unit": "Unit",
    },
}
ROWS = {
    "layout": "long",
    "unit": "c/s",
    "columns": {"solution": "Solution label", "analyte_line": "Line", "replicates": ["R1", "R2", "R3"]},
}
LABELLED = {**ROWS, "columns": {**ROWS["columns"], "solution": "Label"}}  # type: ignore[dict-item]
WIDE = {"layout": "wide", "unit": "c/s", "columns": {"solution": "Sample", "replicate": "Replicate"}}
BY_UNIT = {"layout": "long", "columns": {**LABELLED["columns"], "unit": "Unit"}}  # type: ignore[dict-item]
MEANS = {"Mean": "mean", "SD": "s", "RSD %": "set aside"}


def more(base: dict[str, Any], columns: dict[str, Any] | None = None, **changes: Any) -> dict[str, Any]:
    return {**base, "columns": {**base["columns"], **(columns or {})}, **changes}


@dataclass(frozen=True)
class Good:
    file: str
    shape: str
    mapping: dict[str, Any]
    quantity: str = INTENSITY
    changed: dict[Key, tuple[str, ...]] = field(default_factory=dict)
    """What the file holds otherwise than the others."""
    aside: tuple[str, ...] = ()
    """Words on what is set aside, in order."""
    excluded: tuple[tuple[str, str, int], ...] = ()
    encoding: str = "utf-8"
    decimal: str = ","
    standards: str = STANDARDS
    means: bool = False
    placed: bool = False
    """Whether the place in the order of reading stands before the readings."""
    loose: bool = False
    """Whether trailing zeros of the numbers may differ."""

    @property
    def expected(self) -> dict[Key, tuple[str, ...]]:
        truth = TRUTH if self.quantity == INTENSITY else CONCENTRATIONS
        return {key: values for key, values in {**truth, **self.changed}.items() if values}


@dataclass(frozen=True)
class Bad:
    file: str
    wrong: str
    mapping: dict[str, Any]
    place: str
    words: str
    """Words of the finding, separated by `|`."""
    quantity: str = INTENSITY


def mapping_text(mapping: dict[str, Any], quantity: str) -> str:
    units = {"c/s": "1/s", **mapping.get("units", {})}
    head = {"kind": "import mapping", "quantity": quantity, "already_applied": []}
    return toml_text({**head, **mapping, "units": units})


GOOD = (
    Good("long_comma_point.csv", "a row a reading, comma and point", LONG, decimal="."),
    Good("long_semicolon_comma_mark.csv", "semicolon, decimal comma, byte order mark, CRLF", LONG),
    Good("long_tab_utf16_little.dat", "tab, UTF-16, little end first", LONG, encoding="utf-16"),
    Good("long_tab_utf16_big.dat", "tab, UTF-16, big end first", LONG, encoding="utf-16"),
    Good(
        "long_windows_1252.dat",
        "Windows-1252 with umlauts, header block",
        more(LONG, {"value": "Intensität"}, encoding="windows-1252"),
        encoding="windows-1252",
    ),
    Good("replicates_header_block.csv", "readings side by side below a header block", ROWS),
    Good("replicates_views.csv", "element, line and view in one string", ROWS),
    Good("replicates_point_separator_pipe.txt", "separator |", ROWS, decimal="."),
    Good("replicates_quoted_comma.csv", "comma between and within cells, in quotes", ROWS),
    Good("replicates_exponents.csv", "numbers with exponents", ROWS, loose=True),
    Good("replicates_true_minus.csv", "minus sign in place of the hyphen", ROWS),
    Good(
        "replicates_thousands_quote.csv",
        "4'811.5",
        more(ROWS, decimal=".", thousands="'"),
        decimal=".",
    ),
    Good("replicates_thousands_point.csv", "4.811,5", more(ROWS, decimal=",", thousands=".")),
    Good(
        "no_headings.csv",
        "no headings, columns by position",
        more(ROWS, {"solution": 1, "analyte_line": 2, "replicates": [3, 4, 5]}, heading_row=0),
    ),
    Good(
        "unnumbered.csv",
        "readings below each other without a number",
        {
            "layout": "long",
            "n": 3,
            "columns": {"solution": "Label", "analyte_line": "Line", "value": "Intensity (c/s)"},
        },
    ),
    Good(
        "units_below_headings.csv",
        "a line of units below the headings",
        {"layout": "long", "unit_row": True, "columns": LABELLED["columns"]},
    ),
    Good("wide_replicates.csv", "a column a line, a row a reading", {**WIDE, "unit": ""}),
    Good("wide_point_comma.csv", "the same with comma and point", {**WIDE, "unit": ""}, decimal="."),
    Good(
        "wide_repeated_headings.csv",
        "headings again above each solution, words at the end",
        more(WIDE, {"solution": "Label"}, unit=""),
        aside=("a line of text",),
    ),
    Good(
        "blocks_of_samples.csv",
        "a line names the solution of the rows below",
        {
            "layout": "long",
            "unit": "c/s",
            "block_label": "Sample:",
            "columns": {"analyte_line": "Line", "replicates": ["R1", "R2", "R3"]},
        },
    ),
    Good(
        "wide_column_each_reading.csv",
        "a column for each reading of each line",
        {
            "layout": "wide",
            "unit": "c/s",
            "columns": {"solution": "Name"},
            "line": [
                {"text": f"{analyte} {line} #{number}", "analyte": analyte, "line": line, "replicate": number}
                for analyte, line in (("Cu", "324.754"), ("Zn", "213.857"))
                for number in (1, 2, 3)
            ],
        },
    ),
    Good(
        "wide_mean_sd_rsd.csv",
        "three rows a solution: mean, SD, RSD",
        {
            "layout": "wide",
            "unit": "c/s",
            "n": 3,
            "statistics": MEANS,
            "columns": {"solution": "Sample", "statistic": "Statistic"},
        },
        means=True,
        aside=("RSD %, set aside by the mapping",) * 8,
    ),
    Good(
        "long_mean_sd_n.csv",
        "mean, s and n in columns",
        {
            "layout": "long",
            "columns": {
                "solution": "Sample",
                "analyte": "Element",
                "line": "Wavelength",
                "mean": "Mean",
                "s": "SD",
                "n": "N",
                "unit": "Unit",
            },
        },
        means=True,
    ),
    Good(
        "long_mean_rsd.csv",
        "mean and relative standard deviation, n declared",
        {
            "layout": "long",
            "n": 3,
            "columns": {"solution": "Sample", "analyte_line": "Line", "mean": "Mean [c/s]", "rsd": "RSD %"},
        },
        means=True,
    ),
    Good("label_once.csv", "a label in the first row of its solution alone", more(ROWS, label_once=True)),
    Good(
        "types_and_rinses.csv",
        "types of solutions, a rinse, a tuning solution",
        more(
            LABELLED,
            {"type": "Type"},
            types={"CAL": "standard", "BLK": "blank", "SMP": "sample", "WASH": "set aside"},
            set_aside=["Tuning"],
        ),
        aside=("RINSE", "RINSE", "Tuning"),
    ),
    Good(
        "labels_as_dates_mapped.csv",
        "labels that became dates and numbers, named in the mapping",
        more(ROWS, labels={"01.Mrz": "MAR1", "01.02.2026": "1-2", "123": "00123"}),
    ),
    Good(
        "rerun_column.csv",
        "measured again, marked in a column",
        more(ROWS, {"rerun": "Again"}, rerun={"keep": "last"}),
        aside=("measured again",),
    ),
    Good(
        "rerun_ending.csv",
        "measured again, marked in the label; the first counts",
        more(ROWS, rerun={"keep": "first", "endings": [" R"]}),
        changed={("1-2", "Zn", "213.857"): ("15.5", "19.25", "11.5")},
        aside=("measured again",),
    ),
    Good(
        "excluded_marks.csv",
        "excluded readings marked in the cell",
        more(ROWS, marks={"excluded": ["*", "x"]}),
        excluded=(("1-2", "Cu", 1), ("MAR1", "Zn", 2)),
    ),
    Good(
        "excluded_flags.csv",
        "excluded readings marked in a column",
        more(LONG, {"flag": "Flag"}, marks={"excluded": ["F"]}),
        excluded=(("MAR1", "Zn", 2),),
    ),
    Good(
        "set_aside_values.csv",
        "---, sat, <0,005 and > 4000",
        ROWS,
        changed={
            ("1-2", "Cu", "324.754"): ("1811.25", "1799.5"),
            ("00123", "Zn", "213.857"): ("405.5", "399.25"),
            ("BL-1", "Zn", "213.857"): ("1.5", "0.5"),
            ("S3", "Cu", "324.754"): ("4811.5", "4802.5"),
        },
        aside=("above a limit", "below a limit", "no reading, ---", "saturated"),
    ),
    Good(
        "nominal_of_standards.csv",
        "concentrations of the standards, which the run lacks",
        more(ROWS, {"nominal": "Nominal"}, nominal_unit="mg/L"),
        standards="",
    ),
    Good(
        "line_set_aside.csv",
        "a line that is not of the method, set aside with its reason",
        more(ROWS, line=[{"text": "Fe 259.940", "part": "set aside", "reason": "for overlap checks"}]),
        aside=("for overlap checks",) * 8,
    ),
    Good("concentrations_mg.csv", "concentrations", BY_UNIT, CONCENTRATION),
    Good("concentrations_ug_micro.csv", "ug/L with U+00B5", BY_UNIT, CONCENTRATION),
    Good("concentrations_ug_greek.csv", "ug/L with U+03BC", BY_UNIT, CONCENTRATION),
    Good(
        "checks_measured_again.csv",
        "a check solution measured twice; the second is numbered",
        BY_UNIT,
        CONCENTRATION,
        changed={
            ("CHK #2", "Cu", "324.754"): CONCENTRATIONS["CHK", "Cu", "324.754"],
            ("CHK #2", "Zn", "213.857"): CONCENTRATIONS["CHK", "Zn", "213.857"],
        },
    ),
    Good("order_of_reading.csv", "the place in the order of reading", more(ROWS, {"position": "Place"}), placed=True),
    Good(
        "concentrations_ppb.csv",
        "ppb, mapped to a mass concentration",
        {**BY_UNIT, "units": {"ppb": "ug/L"}},
        CONCENTRATION,
    ),
    Good(
        "concentrations_wide_units.csv",
        "another unit in each column",
        {"layout": "wide", "columns": {"solution": "Label", "replicate": "Rep"}},
        CONCENTRATION,
    ),
)
TYPES = {"CAL": "standard", "BLK": "blank", "SMP": "sample"}
TYPED = more(LABELLED, {"type": "Type"}, types=TYPES)
NOMINAL = more(ROWS, {"nominal": "Nominal"}, nominal_unit="mg/L")
UNNUMBERED = {
    "layout": "long",
    "n": 3,
    "columns": {"solution": "Label", "analyte_line": "Line", "value": "Intensity (c/s)"},
}
STATISTIC = {
    "layout": "wide",
    "unit": "c/s",
    "n": 3,
    "statistics": MEANS,
    "columns": {"solution": "Sample", "statistic": "Statistic"},
}

BAD = (
    Bad(
        "bad_two_views.csv",
        "one solution in another view of the plasma",
        ROWS,
        "line 14 (MAR1)",
        "a second view of the line that is read axial",
    ),
    Bad(
        "bad_ppm_in_heading.csv",
        "ppm in one heading",
        {"layout": "wide", "columns": {"solution": "Label", "replicate": "Rep"}},
        "unit",
        "ppm|mass fraction or a mass concentration",
        CONCENTRATION,
    ),
    Bad(
        "bad_position.csv",
        "a place in the order of reading that is no number",
        more(ROWS, {"position": "Place"}),
        "line 6 (S2 Cu 324.754), position",
        '"A12"',
    ),
    Bad(
        "bad_two_units.csv",
        "another unit in the row than above the column",
        {
            "layout": "long",
            "columns": {
                "solution": "Label",
                "analyte_line": "Line",
                "replicates": ["R1 [mg/L]", "R2 [mg/L]", "R3 [mg/L]"],
                "unit": "Unit",
            },
        },
        "line 2",
        "the units mg/L and ug/L for one value",
        CONCENTRATION,
    ),
    Bad("bad_mixed_decimals.csv", "decimal comma and point", ROWS, "decimal sign", "mixed decimal signs|1203.5"),
    Bad(
        "bad_point_where_comma_declared.csv",
        "one decimal point in a file declared with commas",
        more(ROWS, decimal=","),
        "line 6 (S2 Cu 324.754)",
        "2407.5|a decimal point, where the file has a decimal comma",
    ),
    Bad(
        "bad_only_thousands.csv",
        "1,234 everywhere: thousands or decimals",
        ROWS,
        "decimal sign",
        "1,234|may be thousands or decimals",
    ),
    Bad(
        "bad_duplicate_label.csv",
        "a label a second time without a mark of a rerun",
        ROWS,
        "line 18 (1-2 Zn 213.857)",
        '"1-2" a second time (first in line 13)|without a mark of a rerun',
    ),
    Bad("bad_unit_missing.csv", "no unit anywhere", {**ROWS, "unit": ""}, "line 2 (S0 Cu 324.754), unit", "no unit"),
    Bad(
        "bad_unit_of_one_row_missing.csv",
        "no unit in one row",
        BY_UNIT,
        "line 3 (S1 Zn 213.857), unit",
        "no unit",
        CONCENTRATION,
    ),
    Bad(
        "bad_line_unknown.csv",
        "a line that the method does not know",
        ROWS,
        "line 3 (S0)",
        "Zn 206.200|a line that the method does not know|the lines of Zn: 213.857",
    ),
    Bad("bad_analyte_unknown.csv", "an analyte that the method does not know", ROWS, "line 3 (S0)", "Cd 228.802"),
    Bad("bad_not_a_line.csv", "a text that is no element and line", ROWS, "line 14 (MAR1)", "copper|[[line]]"),
    Bad("bad_ppm.csv", "ppm, not mapped", BY_UNIT, "unit", "ppm|mass fraction or a mass concentration", CONCENTRATION),
    Bad(
        "bad_per_cent.csv",
        "wt-%, mapped to what is no share of mass",
        {**BY_UNIT, "units": {"wt-%": "1/s"}},
        "unit",
        "wt-%|mapped to 1/s|mass fraction such as mg/kg",
        CONCENTRATION,
    ),
    Bad("bad_unit_of_another_kind.csv", "mg/kg for mg/L", BY_UNIT, "unit", "mg/kg|converts to mg/L", CONCENTRATION),
    Bad("bad_label_unknown.csv", "a label that the run does not know", ROWS, "line 14 (WELL-9)", "unknown solution"),
    Bad("bad_label_made_a_date.csv", "a label made a date", ROWS, "line 14 (01.Mrz)", "looks like a date"),
    Bad("bad_zeros_lost.csv", "zeros before a label lost", ROWS, "line 16 (123)", 'which the run has as "00123"'),
    Bad("bad_label_lacking.csv", "a row without label", ROWS, "line 14", "a row without label"),
    Bad("bad_not_utf8.dat", "bytes that are not UTF-8, encoding not declared", ROWS, "line 1", "not UTF-8|1252"),
    Bad(
        "bad_utf8_called_1252.csv",
        "UTF-8, declared as Windows-1252",
        {**ROWS, "encoding": "windows-1252"},
        "encoding",
        "bytes that are UTF-8",
    ),
    Bad("bad_utf16_without_mark.dat", "UTF-16 without byte order mark", ROWS, "encoding", "zero bytes|utf-16"),
    Bad(
        "bad_utf16_called_utf8.dat",
        "UTF-16, declared as UTF-8",
        {**ROWS, "encoding": "utf-8"},
        "encoding",
        "byte order mark of utf-16",
    ),
    Bad("bad_column_missing.csv", "a column of the mapping is missing", ROWS, "headings, line 1", 'no column "R3"'),
    Bad("bad_comma_splits.csv", "decimal commas split cells", ROWS, "line 2", "8 cells under 5 headings"),
    Bad("bad_text_unknown.csv", "a text in place of a number", ROWS, "line 6 (S2 Cu 324.754)", "err7|[marks]"),
    Bad(
        "bad_flag_unknown.csv",
        "a flag that the mapping does not know",
        more(LONG, {"flag": "Flag"}),
        "line 7 (S0 Zn 213.857)",
        'the flag "Q"',
    ),
    Bad(
        "bad_same_line_twice.csv",
        "one line in two views",
        WIDE,
        "heading 4",
        "radial|for the same line as|axial",
    ),
    Bad("bad_heading_twice.csv", "one heading twice", ROWS, "headings", '"R1" a second time'),
    Bad(
        "bad_wide_unknown_column.csv",
        "a column that is no line",
        WIDE,
        "heading 5",
        "Argon flow|columns_set_aside",
    ),
    Bad("bad_type_unknown.csv", "a type that the mapping does not know", TYPED, "line 14 (MAR1)", "SMPL"),
    Bad(
        "bad_type_contradicts.csv",
        "a sample of the run as blank",
        TYPED,
        "line 14 (MAR1)",
        "as blank, where the run has it as sample",
    ),
    Bad("bad_two_separators.csv", "semicolons and tabs", ROWS, "separator", "; and tab"),
    Bad("bad_quote_open.csv", "a quote that does not close", {**ROWS, "separator": ";"}, "line", "quotes"),
    Bad(
        "bad_thousands_misplaced.csv",
        "12.03,5",
        more(ROWS, decimal=",", thousands="."),
        "line 4 (S1 Cu 324.754)",
        "12.03,5|three digits",
    ),
    Bad("bad_empty.csv", "nothing in it", {**ROWS, "separator": ";"}, "whole file", "no text"),
    Bad("bad_reading_lacking.csv", "two readings where n says three", UNNUMBERED, "line", "2 readings of MAR1 Zn"),
    Bad("bad_nominal_differs.csv", "a standard of another concentration", NOMINAL, "nominal", "0.4 mg/L|as the run"),
    Bad("bad_too_many_digits.csv", "17 digits", ROWS, "line 6 (S2 Cu 324.754)", "significant digits"),
    Bad("bad_workbook.dat", "a workbook", ROWS, "whole file", "a workbook or archive|plain text"),
    Bad("bad_nothing_read.csv", "no reading at all", ROWS, "whole file", "no reading"),
    Bad(
        "bad_statistic_unknown.csv",
        "a statistic that the mapping does not know",
        STATISTIC,
        "line 3 (S0)",
        "Sigma",
    ),
    Bad(
        "bad_number_of_reading.csv",
        "a reading numbered II",
        LONG,
        "line 42 (MAR1)",
        'the number of a reading "II"',
    ),
)
