"""Plain words for the fields of records, where their names alone say little; a field that is not named here keeps
its own name."""

from __future__ import annotations

TABLE_WORDS: dict[str, str] = {
    "addition": "additions",
    "amendment": "amendments",
    "certificate": "certificates",
    "change": "changes",
    "check_solution": "check solutions",
    "component": "components",
    "correlation": "correlations",
    "data": "line data",
    "exclude_reading": "readings left out",
    "import": "imports",
    "level_function": "level functions",
    "for": "parameters",
    "property": "certified values",
    "reference_material": "reference materials",
    "standard": "standards",
    "tolerance_limit": "tolerance limits",
    "step": "preparation",
}
"""Names of tables by field."""

ENTRIES_WORDS: dict[str, str] = {
    "run": "What was measured, when and by whom.",
    "method": "Identity of the method, what is reported, and how the result is expressed.",
    "register": "Identity of the register of equipment and reference materials.",
}

TABLE_NOTES: dict[str, str] = {
    "analytes": "The elements of the method, each with its lines or masses.",
    "changes": "Values of the record that were changed afterwards.",
    "effects": "Each random effect of the work: counted, covered by a symbol (covered by d_r), or negligible: and why.",
    "equipment certificates": "Certificates of the equipment, one row each; the newest one issued by the day of the "
    "run is used.",
    "equipment certified values": "What the certificates of the equipment state, one row for each value.",
    "material certificates": "Certificates of the reference materials, one row each.",
    "material certified values": "What the certificates of the reference materials state, one row for each value.",
    "standard preparation": "Steps by which a standard was made, in their order: pipette and flask.",
    "symbols": "Every symbol of the equation, one row each. What its operation needs besides stands on the sheet of "
    "that operation, or in the tables not used so far.",
}
"""What a table is, where the docstring of its dataclass says nothing or speaks to programmers."""

_KEY_HEADINGS: dict[str, str] = {
    "analytes": "analyte",
    "data": "data",
    "effects": "effect",
    "reference_material": "material",
    "stocks": "analyte",
    "symbols": "symbol",
}
_HEADINGS: dict[str, str] = {
    "value of analytes": "lines",
    "value of effects": "treated how",
}

FIELD_WORDS: dict[str, str] = {
    "U": "expanded uncertainty, as the certificate states it",
    "accreditation": "number of the accreditation of who issued it",
    "analyst": "who measured",
    "analyte": "element",
    "approver": "who approved the method",
    "author": "who wrote the method",
    "balance": "id of the balance, from the sheet equipment",
    "basis": "what the mass fraction refers to, e.g. dry mass",
    "calculated_with": "concentration with which the standards were calculated",
    "coefficient": "correlation coefficient",
    "component": "part of the uncertainty",
    "concentration": "one column for each element, as calculated from the stock solution",
    "confidence": "level of confidence of U, where no k is stated",
    "constant": "constant part of the standard deviation",
    "distribution": "of the values within the half-width",
    "digits": "significant digits of u to which a simulation is to be stable",
    "dof": "degrees of freedom",
    "due": "day on which the certificate lapses",
    "effective": "day from which the method holds",
    "equation": "result equation, e.g. w = c*V/m",
    "estimate": "value of the quantity",
    "evaluation": "A: from repeated observations; B: from other knowledge",
    "exact": "no uncertainty",
    "expansion": "cubic expansion of the liquid per kelvin",
    "expiry": "day on which the lot expires",
    "from": "standard that was diluted further",
    "gross_column": "column of the sheet samples with the gross mass",
    "group": "contributions of one group stand together in the budget",
    "half_range": "largest deviation from the reference temperature",
    "half_width": "half-width of the interval that holds the value",
    "inexactness": "by how much the half-width itself may be off; curvilinear trapezoid only",
    "interval": "of a simulation: probabilistically symmetric, or the shortest",
    "issued": "day of issue",
    "issuer": "who issued the certificate",
    "item": "id of the stock solution, from the sheet reference materials",
    "k": "coverage factor of U",
    "level_from": "from this result on",
    "level_to": "below this result",
    "linearity": "largest error of the balance over its range",
    "lines": "lines or masses of the element",
    "measurand": "what is measured, in words",
    "nominal": "nominal volume",
    "operation": "how the quantity comes about",
    "part": "within run: new for each portion; between runs: one deviation of the run",
    "pooled_dof": "degrees of freedom of pooled s",
    "pooled_s": "standard deviation from earlier series of readings",
    "probability": "coverage probability, under every rule but fixed k",
    "quantity": "what the symbol stands for, in words",
    "readings": "repeated readings, separated by semicolons",
    "relative": "relative part of the standard deviation, in %",
    "reliability": "relative uncertainty of u itself; gives degrees of freedom",
    "repeatability": "standard deviation of one use",
    "repeatability_dof": "degrees of freedom of the repeatability",
    "resolution": "smallest step of the indication",
    "review": "day by which the method is reviewed",
    "seed": "whole number with which draws of a simulation begin",
    "source": "where the figure is from",
    "tare_column": "column of the sheet samples with the tare mass",
    "tolerance": "half-width of the maker's tolerance",
    "trials": "fixed number of trials of a simulation",
    "u": "standard uncertainty; % is relative to the value",
    "unit": "its unit, e.g. mg/kg",
    "use": "individual: a numbered piece; one of a set: a new deviation at each use",
    "ware": "id of the ware, from the sheet equipment",
    "ware_column": "column of the sheet samples that names the ware",
}
"""What a field is, where its dataclass has no docstring for it."""

POINTS_TO: dict[str, str] = {
    "aliquot": "equipment",
    "balance": "equipment",
    "data": "line data",
    "flask": "equipment",
    "item": "reference materials",
    "pipette": "equipment",
    "to": "equipment",
    "ware": "equipment",
}
"""Fields that hold the name of a row of another table; they offer a list of those names."""


def heading_words(path: tuple[str, ...]) -> str:
    """`half range` for `half_range`, `temperature: half range` for a field of a record within the record."""
    words = [_HEADINGS.get(step, step.removeprefix("value of ") if " of " in step else step) for step in path]
    return ": ".join(word.replace("_", " ") for word in words)


def key_heading(path: tuple[str, ...]) -> str:
    """Heading of the column that names what stands under a field."""
    return _KEY_HEADINGS.get(path[-1], path[-1].replace("_", " "))


GRID_WORDS: dict[str, str] = {
    "analyte": "element, as in the sheet analytes",
    "block": "calibration block, where standards were read more than once; then for every reading",
    "dilution": "pipette > flask, steps separated by semicolons, e.g. P5-1 > F50-2",
    "from": "the solution that was diluted further",
    "kind": "sample, blank or reference material; empty: sample",
    "line": "line or mass of the element, as in the sheet analytes",
    "material": "id of a reference material taken through the procedure",
    "matrix": "for parameters that differ by matrix",
    "mean": "mean of the readings",
    "n": "number of readings",
    "portion": "number of the test portion; empty: 1",
    "position": "place in the order of reading",
    "rerun": "why the solution was read again in a later block; this reading takes over",
    "reports": "elements or lines reported from this solution; empty: all that were read",
    "s": "standard deviation of one reading",
    "sample": "label of the sample",
    "solution": "label of the solution as it was read; empty: the sample's label",
}
"""Columns of the tables of samples, further dilutions and readings."""

GRID_TITLES: dict[str, str] = {
    "samples": "One row for each test portion, blanks and reference materials included. Columns of your own are "
    "welcome: a heading that says its unit in brackets holds numbers, e.g. tare [g].",
    "solutions": "One row for each further dilution of a sample's solution.",
    "readings": "One row for each solution and line. Replicates are r1, r2, ...; more columns may be added. A reading "
    "that is left out stays here and is named in the table readings left out.",
}
