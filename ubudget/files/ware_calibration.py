"""From the record of a calibration of ware to its evaluation."""

from __future__ import annotations

import os
from functools import cache
from pathlib import Path

from pydantic import TypeAdapter

from ubudget.errors import UnusableInput
from ubudget.evaluation.dominance_findings import COVERAGE
from ubudget.evaluation.evaluate import evaluate
from ubudget.evaluation.ware_calibration import CalibratedWare
from ubudget.files.fault_words import validate_document
from ubudget.files.reading import records_from_texts
from ubudget.files.toml_text import parse_toml
from ubudget.files.ware_form import read_ware_record
from ubudget.pages.ware_method import method_text
from ubudget.records.finding import Finding, stops
from ubudget.records.records import SourceText
from ubudget.records.ware_calibration import WareCalibration, calibration_findings


def calibrate_ware(path: str | os.PathLike[str]) -> CalibratedWare:
    """Volume of a piece of ware at 20 °C from weighings of water, ISO 4787 and ISO 8655-6, evaluated like any method.

    `path`: the TOML record, `kind = "calibration of ware"`, or its fill-in workbook. Raises `UnusableInput`
    with every finding that stops."""
    text, findings, told = read_ware_record(Path(path))
    # What was unreadable in a cell is told as such, and not as an entry that is missing.
    on_record: list[Finding] = []
    record = _record(text, on_record) if text is not None and not stops(findings) else None
    findings += told(on_record)
    if text is None or record is None or stops(findings):
        raise UnusableInput(findings)
    method = method_text(record)
    records, faults = records_from_texts([SourceText("method", text.name, method)])
    findings += faults
    evaluation, faults = evaluate(records) if records is not None else (None, [])
    # The record of a calibration has no say in the rule for k.
    findings += [fault for fault in faults if fault.place != COVERAGE]
    if evaluation is None or evaluation.results[0].value is None:
        raise UnusableInput(findings)
    return CalibratedWare(record, evaluation, method, tuple(dict.fromkeys(findings)))


def _record(text: SourceText, findings: list[Finding]) -> WareCalibration | None:
    document, faults = parse_toml(text.text, text.name)
    findings += faults
    if document is None:
        return None
    record = validate_document(_adapter(), document, text.name, findings)
    if record is not None:
        findings += calibration_findings(record, text.name)
    return record


@cache
def _adapter() -> TypeAdapter[WareCalibration]:
    return TypeAdapter(WareCalibration)
