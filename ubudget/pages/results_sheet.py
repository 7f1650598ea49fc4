"""Sheet `results`: what is reported, one row a result, all of it looked up from the computation."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ubudget.bench.folding import APART
from ubudget.bench.minimum import MINIMUM
from ubudget.bench.quality import COUNT, OF_LINES
from ubudget.bench.result_table import RANGE, RECOVERY, STATUS
from ubudget.evaluation.coverage import (
    DECIMALS,
    EFFECTIVE_DOF,
    FACTOR,
    REPORTED,
    REPORTED_U,
    STANDARD,
)
from ubudget.evaluation.evaluate import (
    FEW_DOF,
    MINIMUM_WORDS,
    RECOVERY_WORDS,
    Evaluation,
)
from ubudget.evaluation.few_readings import FEW_READINGS, measured_rows
from ubudget.evaluation.joined_words import LINES_WORDS, STATUS_OF_JOINED
from ubudget.evaluation.low_levels import LOW_LEVELS
from ubudget.evaluation.quality_findings import outside_words, rows_of_checks
from ubudget.evaluation.status_words import STATUS_WORDS
from ubudget.pages.agreement_band import agreement_band
from ubudget.pages.book import Band, BandColumn, Highlight, LooseCell, Sheet
from ubudget.pages.coverage_cells import factor_formulas, interval_flags, interval_or_plain, k_from_columns
from ubudget.pages.formats import DEGREES_OF_FREEDOM, format_for
from ubudget.pages.layout import FIRST_BAND, RESULTS, headline
from ubudget.pages.placement import Placement, Placements
from ubudget.pages.recovery_words import recovery_sentences
from ubudget.pages.reported_formula import reported_formula
from ubudget.pages.wording import interval_text, line_label
from ubudget.quantity.operations import LARGE_DOF
from ubudget.quantity.spelling import column_letters, number_text

KEY, FLAGS, PLACES = "result", "findings that need a decision", "decimals"
REPORTED_BAND = "reported results"
MOST_PLACES = 9
COLUMNS = (
    KEY,
    "sample",
    "measured quantity",
    "reported",
    "value",
    "U",
    "unit",
    "k",
    "ν_eff",
    "u",
    FLAGS,
    PLACES,
)


def key_text(sample: str, analyte: str, line: str | None) -> str:
    """What names a result on the sheets."""
    return f"{sample} | {line_label(analyte, line)}"


@dataclass(frozen=True, eq=False)
class ResultsSheet:
    """Addresses that other sheets look up."""

    sheet: Sheet
    band: Band

    def letter(self, column: str) -> str:
        return column_letters(COLUMNS.index(column) + 1)

    def range(self, column: str) -> str:
        letter = self.letter(column)
        return f"{RESULTS}!${letter}${self.band.first_row}:${letter}${self.band.last_row}"


def results_sheet(evaluation: Evaluation, placements: Placements) -> ResultsSheet:
    home = placements["results"]
    document = evaluation.records.method.document
    rows = range(len(evaluation.keys))
    top = FIRST_BAND + 3
    results = evaluation.results
    unit = "" if evaluation.assembly.derived else document.unit

    def looked_up(column: str) -> list[str | None]:
        status = [home.cell(STATUS, row, RESULTS) for row in rows]
        return [f'IF({status[row]}>0,"",{home.cell(column, row, RESULTS)})' for row in rows]

    def number(heading: str, column: str, values: list[float | None], clause: str = "", fmt: str = "") -> BandColumn:
        present = [value for value in values if value is not None]
        return BandColumn(
            heading,
            list(values),
            "result" if heading in ("value", "U") else "number",
            "" if heading in ("k", "ν_eff") else unit,
            looked_up(column),
            number_format=fmt or format_for(np.array(present, dtype=np.float64)),
            remark=clause,
        )

    places = [_with_decimals(r.decimals) for r in results]
    columns = (
        BandColumn(KEY, [key_text(r.sample, r.analyte, r.line) for r in results], "label", width=26.0),
        BandColumn("sample", [r.sample for r in results], "label", width=14.0),
        BandColumn("measured quantity", [line_label(r.analyte, r.line) for r in results], "label", width=16.0),
        BandColumn(
            "reported",
            [interval_text(r) for r in results],
            "result",
            unit,
            [
                reported_formula(
                    evaluation,
                    placements,
                    row,
                    interval_or_plain(evaluation, placements, RESULTS, row, _interval_formula(home, row)),
                )
                for row in rows
            ],
            width=20.0,
            remark="GUM 7.2.6",
        ),
        replace(number("value", REPORTED, [r.reported_value for r in results]), number_formats=places),
        replace(number("U", REPORTED_U, [r.reported_expanded_uncertainty for r in results]), number_formats=places),
        BandColumn("unit", [r.unit for r in results], "label", width=9.0),
        replace(
            number("k", FACTOR, [r.coverage_factor for r in results], "GUM 6.2", "0.00"),
            formulas=factor_formulas(evaluation, placements, RESULTS, looked_up(FACTOR)),
        ),
        number(
            "ν_eff",
            EFFECTIVE_DOF,
            [float(value) if usable else None for value, usable in _usable(evaluation, EFFECTIVE_DOF)],
            "GUM G.4",
            DEGREES_OF_FREEDOM,
        ),
        number("u", STANDARD, [r.standard_uncertainty for r in results], "unrounded"),
        BandColumn(
            FLAGS,
            ["".join(f"{flag}. " for flag in r.flags) for r in results],
            "flag",
            formulas=[_flags_formula(evaluation, placements, row) for row in rows],
            width=44.0,
        ),
        BandColumn(
            PLACES,
            [float(max(r.decimals, 0)) if r.value is not None else None for r in results],
            formulas=[_places_formula(home, row) for row in rows],
            number_format="0",
            width=9.0,
            remark="of value and U",
        ),
        *k_from_columns(evaluation, placements, RESULTS),
    )

    def letter(heading: str) -> str:
        return column_letters(COLUMNS.index(heading) + 1)

    band = Band(REPORTED_BAND, top, 1, columns, "Results")
    note = f"{document.measurand}, {document.basis}" if document.basis else document.measurand
    note += "".join(f"; {name}: {words}" for name, words in _derived_measurands(evaluation).items())
    below = ", or what the method says below its limits (sheet low levels)" if LOW_LEVELS in placements else ""
    cells = [
        *headline(RESULTS, f"Reported is value ± expanded uncertainty U = k·u{below}. Measurand: {note}."),
        *_what_is_included(evaluation),
    ]
    agreement = agreement_band(evaluation, placements, band.last_row + 4)
    sheet = Sheet(
        RESULTS,
        (band, agreement) if agreement else (band,),
        tuple(cells),
        freeze=f"D{band.first_row}",
        repeat_rows=(top, top + Band.HEADING_ROWS - 1),
        highlights=(
            Highlight(
                f"A{band.first_row}:{letter(FLAGS)}{band.last_row}",
                f'${letter(FLAGS)}{band.first_row}<>""',
                "attention",
            ),
            *(
                Highlight(
                    f"{letter('value')}{band.first_row}:{letter('U')}{band.last_row}",
                    f"${letter(PLACES)}{band.first_row}={decimals}",
                    "decimals",
                    _with_decimals(decimals),
                )
                for decimals in range(MOST_PLACES + 1)
            ),
        ),
    )
    return ResultsSheet(sheet, band)


def _derived_measurands(evaluation: Evaluation) -> dict[str, str]:
    """Measurand of each derived result, by its name."""
    return {
        row.definition.name: ", ".join(filter(None, (row.definition.measurand, row.definition.basis)))
        for row in evaluation.assembly.derived.values()
    }


def _what_is_included(evaluation: Evaluation) -> list[LooseCell]:
    document = evaluation.records.method.document
    left_out = document.not_included
    words = f"U does not include: {left_out}." if left_out else "The method names nothing that U leaves out."
    words = " ".join([words, *recovery_sentences(evaluation.results, evaluation.records.method)])
    return [LooseCell(3, 1, words, "note", across=8)]


def _usable(evaluation: Evaluation, column: str) -> list[tuple[float, bool]]:
    status = evaluation.column(STATUS)
    return [
        (value, code == 0 and math.isfinite(value))
        for value, code in zip(evaluation.column(column).tolist(), status.tolist(), strict=True)
    ]


def _with_decimals(decimals: int) -> str:
    """Format of a number with as many decimals; negative numbers of decimals show whole numbers."""
    return "0." + "0" * decimals if decimals > 0 else "0"


def _places_formula(home: Placement, row: int) -> str:
    status, decimals = home.cell(STATUS, row, RESULTS), home.cell(DECIMALS, row, RESULTS)
    return f'IF({status}>0,"",MAX({decimals},0))'


def _interval_formula(home: Placement, row: int) -> str:
    def cell(column: str) -> str:
        return home.cell(column, row, RESULTS)

    places = f"MAX({cell(DECIMALS)},0)"
    return (
        f'IF({cell(STATUS)}>0,"not available",FIXED({cell(REPORTED)},{places},TRUE)&" ± "'
        f"&FIXED({cell(REPORTED_U)},{places},TRUE))"
    )


def _flags_formula(evaluation: Evaluation, placements: Placements, row: int) -> str:
    """The words of `Evaluation.flags`, from the cells that they rest on."""
    home = placements["results"]
    status = home.cell(STATUS, row, RESULTS)
    parts = []
    failures = []
    if evaluation.assembly.structure is not None:
        known = STATUS_WORDS | (STATUS_OF_JOINED if evaluation.assembly.joined else {})
        for code in sorted(known, key=lambda code: -len(str(code))):
            unit = 10 ** (len(str(code)) - 1)
            digit = code // unit
            failures.append(f'IF(MOD(INT({status}/{unit}),10)={digit},"{known[code]}; ","")')
        where = home.cell(RANGE, row, RESULTS)
        parts.append(f'IF({where}=1,"above the highest standard. ",IF({where}=(-1),"below the lowest standard. ",""))')
    if RECOVERY in evaluation.graph.tables["results"].by_name:
        outside = home.cell(RECOVERY, row, RESULTS)
        parts += [f'IF({outside}=({code}),"{words}. ","")' for code, words in RECOVERY_WORDS.items()]
    if MINIMUM in evaluation.graph.tables["results"].by_name:
        parts.append(f'IF({home.cell(MINIMUM, row, RESULTS)}>0,"{MINIMUM_WORDS}. ","")')
    checked = rows_of_checks(evaluation.assembly, row)
    if checked:
        count = "+".join(placements[OF_LINES].cell(COUNT, line, RESULTS) for line in checked)
        parts.append(f'IF({count}>0,({count})&"{outside_words(0)[1:]}. ","")')
    if evaluation.assembly.lines_told:
        parts.append(f'IF({home.cell(APART, row, RESULTS)}>0,"{LINES_WORDS}. ","")')
    coverage = evaluation.records.method.coverage
    nu = home.cell(EFFECTIVE_DOF, row, RESULTS)
    if coverage.rule == "fixed":
        parts.append(_few_dof(nu, coverage.probability))
    parts += interval_flags(evaluation, placements, RESULTS, row)
    parts.append(f'IF({nu}+1E-6<1,"less than one effective degree of freedom. ","")')
    parts += _few_readings(evaluation, placements, row)
    words = "&".join(parts)
    if not failures:
        return words
    failed = "&".join(failures)
    return f'IF({status}>0,{failed}&"this result is not available. ",{words})'


def _few_dof(nu: str, probability: float) -> str:
    whole = f"MAX(1,INT({nu}+1E-6))"
    p = number_text(probability)
    factor = f"IF({whole}>={LARGE_DOF},NORMSINV((1+{p})/2),TINV(1-{p},{whole}))"
    return (
        f'IF({nu}+1E-6<{FEW_DOF},INT({nu}+1E-6)&" effective degrees of freedom under fixed k: the t factor at '
        f'{100 * probability:g} % is "&FIXED({factor},2,TRUE)&". ","")'
    )


def _few_readings(evaluation: Evaluation, placements: Placements, row: int) -> list[str]:
    measured = measured_rows(evaluation.assembly, row)
    if not measured:
        return []
    lines = placements["measured lines"]
    cells = ",".join(lines.cell("n", number, RESULTS) for number in measured)
    few = f"MIN({cells})<{FEW_READINGS}"
    return [f'IF({few},"own scatter from "&MIN({cells})&" readings (four or more are better). ","")']
