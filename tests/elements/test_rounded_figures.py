"""A figure that was rounded before: half its last place to either side, rectangular."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.elements.test_molar_mass import evaluated
from ubudget.files.reading import read_records

INPUT = (
    '[symbols.x]\noperation = "input"\nquantity = "concentration as reported"\nunit = "mg/L"\nestimate = "2.31 mg/L"\n'
)


def test_the_last_place_as_an_interval(tmp_path: Path) -> None:
    """GUM F.2.2.1: a resolution of δx has u = 0.29 δx, rectangular."""
    (result,) = evaluated(tmp_path, "y = x", INPUT + 'rounded_to = "0.01 mg/L"\n', "mg/L").results
    assert result.standard_uncertainty == pytest.approx(0.29 * 0.01, rel=5e-3)
    assert result.standard_uncertainty == pytest.approx(0.005 / 3**0.5, rel=1e-12)
    assert result.budget[0].distribution == "rectangular"


def test_as_one_part_of_an_input(tmp_path: Path) -> None:
    """Beside another part, in another unit: sqrt(0.02² + (0.05/sqrt(12))²) mg/L."""
    parts = '[[symbols.x.component]]\nname = "rounding"\nrounded_to = "50 ug/L"\n'
    (result,) = evaluated(tmp_path, "y = x", INPUT + 'u = "0.02 mg/L"\n' + parts, "mg/L").results
    assert result.standard_uncertainty == pytest.approx((0.02**2 + 0.05**2 / 12) ** 0.5, rel=1e-12)


def test_beside_another_statement_it_is_refused(tmp_path: Path) -> None:
    text = '[method]\nid = "M"\ntitle = "t"\nversion = "1"\nstatus = "approved"\nmeasurand = "c"\nunit = "mg/L"\n'
    text += 'equation = "y = x"\n' + INPUT + 'rounded_to = "0.01 mg/L"\nu = "0.02 mg/L"\n'
    (tmp_path / "method.toml").write_text(text, encoding="utf-8")
    records, findings = read_records(tmp_path / "method.toml")
    assert records is None
    assert "u and rounded_to together" in findings[0].line()
