"""A calibration of ware for a terminal, and as a certificate for the register."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator

from ubudget.evaluation.ware_calibration import CalibratedWare, Error
from ubudget.pages.figures import dof_text, plain
from ubudget.pages.wording import fixed
from ubudget.records.certified_points import BY_POINT

DIGITS = 4
"""Significant digits of the repeatability in the register."""


def calibration_lines(calibrated: CalibratedWare) -> Iterator[str]:
    """Volume with U and k, systematic and random error beside the limits."""
    result, record = calibrated.result, calibrated.record
    value, U = _reported(calibrated)
    nu = dof_text(result.effective_degrees_of_freedom)
    k = f"{result.coverage_factor or 0.0:.2f}"
    set_to = f", set to {record.set_to.text}" if record.set_to else ""
    yield f"{record.item}: {record.ware}, {record.nominal.text} {record.capacity}{set_to}"
    yield f"calibrated         {record.date}, {record.who}"
    yield f"volume at 20 °C    {value} {result.unit} ± {U} {result.unit} (k = {k}, ν = {nu})"
    source = calibrated.limits_source
    for words, error in (("systematic error", calibrated.systematic), ("random error, s", calibrated.random)):
        figure = f"{fixed(error.value, result.decimals + 1)} {result.unit}"
        yield f"{words:<18} {figure}{_beside(error, result.unit, source)}"
    if source:
        yield "Inside or outside is judged on the figures as they are, without regard to U."


def _reported(calibrated: CalibratedWare) -> tuple[str, str]:
    """Value and U as rounded for the report."""
    result = calibrated.result
    assert result.reported_value is not None and result.reported_expanded_uncertainty is not None
    return fixed(result.reported_value, result.decimals), fixed(result.reported_expanded_uncertainty, result.decimals)


def _beside(error: Error, unit: str, source: str) -> str:
    if error.limit is None:
        return ""
    return f", {'inside' if error.within else 'outside'} the limit of {plain(error.limit)} {unit} ({source})"


def certificate_text(calibrated: CalibratedWare, *, number: str, issuer: str, due: dt.date | None) -> str:
    """The certificate and the repeatability as TOML for the register; what is not given is left to be filled in."""
    result, record = calibrated.result, calibrated.record
    unit = result.unit
    value, U = _reported(calibrated)
    lines = [
        f'repeatability = "{plain(calibrated.random.value, DIGITS)} {unit}"',
        f"repeatability_dof = {len(record.weighings) - 1}",
        "",
        "[[equipment.certificate]]",
        _given("number", number),
        _given("issuer", issuer),
        f"issued = {record.date}",
        f"due = {due}" if due else "# due = to be filled in, year-month-day",
        'traceable_to = "kilogram and kelvin, through balance and thermometer of the calibration"',
        "",
        "[[equipment.certificate.property]]",
        *([f'at = "{record.set_to.text}"'] if record.set_to and record.ware in BY_POINT else []),
        f'value = "{value} {unit}"',
        f'U = "{U} {unit}"',
        f"k = {result.coverage_factor or 0.0:.3g}",
    ]
    return "\n".join(lines)


def _given(key: str, text: str) -> str:
    return f"{key} = {json.dumps(text, ensure_ascii=False)}" if text else f"# {key} = to be filled in"
