"""Additions by a pipette certified at several volumes: each volume is corrected, its u interpolated (numpy.interp)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.calibration_additions.addition_runs import sediment
from tests.workbooks.books import evaluated
from ubudget.files.reading import read_records

AT, VALUE, U = (0.05, 0.1, 0.3), (0.0504, 0.1001, 0.2991), (0.0004, 0.0006, 0.0012)
"""mL, invented."""
HEAD = '\n[[equipment.certificate]]\nnumber = "P-1"\nissuer = "invented"\nissued = 2026-01-10\ndue = 2028-01-10\n'


@pytest.mark.parametrize("form", ["constant volume", "volume change"])
def test_added_volumes_are_corrected(form: str, tmp_path: Path) -> None:
    folder = sediment(tmp_path, form)
    points = "".join(
        f'\n[[equipment.certificate.property]]\nat = "{at} mL"\nvalue = "{value} mL"\nU = "{u} mL"\nk = 2\n'
        for at, value, u in zip(AT, VALUE, U, strict=True)
    )
    register = (folder / "register.toml").read_text(encoding="utf-8")
    end = register.index("\n[[", register.index('id = "PP"'))
    (folder / "register.toml").write_text(register[:end] + HEAD + points + register[end:], encoding="utf-8")
    records, findings = read_records(folder)
    assert records is not None and records.run is not None, [finding.line() for finding in findings]
    evaluation = evaluated(records)
    delivered = [a.delivered.value for a in records.run.file.additions if a.delivered]
    assert delivered
    added = evaluation.numbers.column("added volumes", "c.added")
    assert added == pytest.approx(delivered + np.interp(delivered, AT, np.subtract(VALUE, AT)), rel=1e-12)
    ratio = evaluation.numbers.column("added volumes", "c.added.relative u")
    assert ratio == pytest.approx(np.interp(delivered, AT, U) / U[-1], rel=1e-12)
