"""A plain table of spiked samples and method blanks, for the method detection limit of 40 CFR 136, appendix B."""

from __future__ import annotations

from pathlib import Path

from ubudget.errors import UbudgetError, UnusableInput
from ubudget.evaluation.method_detection_limit import MethodDetectionLimit, method_detection_limit
from ubudget.files.csv_text import parse_csv, row_place
from ubudget.records.amount import parse_number
from ubudget.records.finding import Finding, stops

KINDS = ("spike", "blank")
NO_RESULT = ("", "nd", "none")
"""What stands for a blank without numerical result."""


def limits_of_table(path: Path) -> tuple[dict[str, MethodDetectionLimit], str]:
    """The limit of each analyte, and the unit of the heading `result [unit]`.

    Headings `kind` (spike or blank), `result`, and `analyte` where there are several. Raises `UnusableInput` for
    faults of the table, `UbudgetError` where the figures of an analyte give no limit."""
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise UbudgetError(f"{path.name}: found text that is not UTF-8; accepted: CSV in UTF-8; save it anew") from None
    table, findings = parse_csv(text, path.name)
    if table is not None:
        for key in ("kind", "result"):
            if table.position(key) is None:
                accepted = "the headings kind and result, and analyte where there are several"
                findings.append(Finding("stop", path.name, "headings", f"no {key}", accepted, "add the heading"))
    if table is None or stops(findings):
        raise UnusableInput(findings)
    found: dict[str, tuple[list[float], list[float | None]]] = {}
    for row in range(len(table.rows)):
        kind, cell = table.cell(row, "kind"), table.cell(row, "result")
        spikes, blanks = found.setdefault(table.cell(row, "analyte"), ([], []))
        place = row_place(row, kind)
        if kind not in KINDS:
            findings.append(Finding("stop", path.name, place, f"the kind {kind}", "spike or blank", "correct it"))
        elif kind == "blank" and cell.lower() in NO_RESULT:
            blanks.append(None)
        else:
            try:
                number = parse_number(cell)
            except ValueError:
                accepted = "a number" + (", or nd for a blank without result" if kind == "blank" else "")
                findings.append(Finding("stop", path.name, place, f"the result {cell}", accepted, "correct it"))
                continue
            (spikes if kind == "spike" else blanks).append(number)
    if stops(findings):
        raise UnusableInput(findings)
    at = table.position("result")
    assert at is not None
    limits = {}
    for analyte, (spikes, blanks) in found.items():
        try:
            limits[analyte] = method_detection_limit(spikes, blanks)
        except UbudgetError as error:
            raise UbudgetError(f"{path.name}: {analyte + ', ' if analyte else ''}{error}") from None
    return limits, table.headings[at].unit or ""
