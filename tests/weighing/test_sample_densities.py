"""Buoyancy with a density for each sample or matrix: against a calculation of its own, and in the workbook.

m = W (1 - rho_a/rho_c)/(1 - rho_a/rho_s) (OIML D 28:2004; EURAMET cg-18, version 4.0, 4.2), rho_c = 8000 kg/m³. All
figures are invented."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
from uncertainties import nominal_value, std_dev, ufloat

from tests.agreement.test_uncertainties import Walk, assert_walk_agrees
from tests.weighing.weighing_runs import READINGS, evaluation_of, result_of, weighing_run, written
from tests.workbooks.books import Written
from tests.workbooks.live_checks import assert_engines_agree_on_all, assert_open_numbers_move
from tests.workbooks.test_alive import numeric_cells
from ubudget.files.reading import read_records
from ubudget.files.workbook_reading import read_workbook

AIR = """
[symbols.m.buoyancy]
treatment = "applied"

[symbols.m.buoyancy.air_density]
estimate = "1.19 kg/m^3"
u = "0.02 kg/m^3"
"""
COLUMN = '\n[symbols.m.buoyancy.sample_density]\ncolumn = "density"\nu = "4 %"\n'
MATRICES = """
[[symbols.m.buoyancy.for]]
matrix = "silt"
estimate = "2.65 g/cm^3"
u = "3 %"

[[symbols.m.buoyancy.for]]
matrix = "peat"
estimate = "1400 kg/m^3"
half_width = "200 kg/m^3"
distribution = "rectangular"
source = "handbook, invented"
"""
SAMPLES = """sample,portion,kind,solution,matrix,density [g/cm^3],tare [g],gross [g],moisture [%]
SED-01,1,,SED-01,silt,2.61,12.0012,12.5034,3.1
SED-02,1,,SED-02,peat,1.38,12.1012,12.6001,2.9
SED-02,2,,SED-02b,peat,1.38,11.9044,12.1502,2.9
BL-1,,blank,BL-1,,,,,
BL-2,,blank,BL-2,,,,,
"""
READ = READINGS + "SED-02b,Zn,213.9,0.041,0.042,0.040\n"
MIXED = COLUMN + '\n[[symbols.m.buoyancy.for]]\nmatrix = "peat"\nu = "0.1 g/cm^3"\n'
WAYS = {"column": COLUMN, "matrices": MATRICES, "column and matrix": MIXED}
NET = (0.5022, 0.4989, 0.2458)


def run(folder: Path, densities: str, treatment: str = "applied", samples: str = SAMPLES) -> Path:
    air = AIR.replace('"applied"', f'"{treatment}"')
    return weighing_run(folder, more=air + densities, samples=samples, readings=READ)


def densities(way: str) -> list[Any]:
    """kg/m³ for each portion; the second and third are of one sample."""
    silt = {
        "column": ufloat(2610, 0.04 * 2610),
        "matrices": ufloat(2650, 0.03 * 2650),
        "column and matrix": ufloat(2610, 0.04 * 2610),
    }[way]
    peat = {
        "column": ufloat(1380, 0.04 * 1380),
        "matrices": ufloat(1400, 200 / math.sqrt(3)),
        "column and matrix": ufloat(1380, 100),
    }[way]
    return [silt, peat, peat]


def buoyant(way: str) -> list[Any]:
    """g before the deviations of the balance."""
    air = ufloat(1.19, 0.02)
    return [W * (1 - air / 8000) / (1 - air / rho) for W, rho in zip(NET, densities(way), strict=True)]


@pytest.mark.parametrize("way", WAYS)
def test_masses_and_the_part_of_buoyancy(way: str, tmp_path: Path) -> None:
    evaluation = evaluation_of(run(tmp_path, WAYS[way]))
    found = 1000 * evaluation.numbers.column("portions", "m")
    expected = buoyant(way)
    assert found == pytest.approx([nominal_value(m) for m in expected], rel=1e-12)
    result = evaluation.results[0]
    rows = {row.symbol: row for row in result.budget if row.group == "buoyancy"}
    assert set(rows) == {"m.rho_sample", "m.rho_air stated"}
    # w is inversely proportional to m: the relative contributions are those of m.
    relative = math.sqrt(sum(row.contribution**2 for row in rows.values())) / float(result.value or 0)
    assert relative == pytest.approx(std_dev(expected[0]) / nominal_value(expected[0]), rel=1e-9)
    assert_walk_agrees(evaluation, Walk(evaluation))


@pytest.mark.parametrize("way", WAYS)
def test_portions_of_one_sample_share_their_density(way: str, tmp_path: Path) -> None:
    """SED-02 is the mean of two portions, each inversely proportional to its mass, which share air and density."""
    evaluation = evaluation_of(run(tmp_path, WAYS[way]))
    w = evaluation.numbers.column("portion results", "w")[1:]
    masses = buoyant(way)[1:]
    mean = sum(value * nominal_value(m) / m for value, m in zip(w, masses, strict=True)) / 2
    result = result_of(evaluation)
    assert result.value == pytest.approx(nominal_value(mean), rel=1e-12)
    rows = [row for row in result.budget if row.group == "buoyancy"]
    assert math.sqrt(sum(row.contribution**2 for row in rows)) == pytest.approx(std_dev(mean), rel=1e-9)


@pytest.mark.parametrize("way", ["column", "matrices"])
def test_left_out_it_is_counted_by_the_size_of_each(way: str, tmp_path: Path) -> None:
    text = WAYS[way].replace('u = "4 %"\n', "").replace('u = "3 %"\n', "")
    text = text.replace('half_width = "200 kg/m^3"\ndistribution = "rectangular"\n', "")
    evaluation = evaluation_of(run(tmp_path, text, "left out"))
    assert 1000 * evaluation.numbers.column("portions", "m") == pytest.approx(NET, rel=1e-12)
    effects = [nominal_value(m) / W - 1 for m, W in zip(buoyant(way), NET, strict=True)]
    u = evaluation.numbers.column("portions", "u(m.buoyancy left out)")
    assert u == pytest.approx([abs(effect) / math.sqrt(3) for effect in effects], rel=1e-9)


# --- In the workbook ---


IN_BOOKS = ("matrices", "column and matrix")


@pytest.fixture(scope="module", params=IN_BOOKS)
def book(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Written:
    return written(run(tmp_path_factory.mktemp("densities"), WAYS[request.param]))


def test_both_engines_agree_with_the_library(tmp_path_factory: pytest.TempPathFactory, tmp_path: Path) -> None:
    runs = [run(tmp_path_factory.mktemp("densities"), WAYS[way]) for way in IN_BOOKS]
    assert_engines_agree_on_all(map(written, runs), tmp_path)


def test_every_open_number_moves_the_results_as_in_the_library(book: Written, tmp_path: Path) -> None:
    cells = [cell for cell in numeric_cells(book) if cell.sheet in ("samples", "input quantities")]
    assert [cell for cell in cells if "for" in cell.origin.path or "density" in cell.origin.path]
    assert_open_numbers_move(book, book.save(tmp_path / "book.xlsx"), cells)


def test_reading_back_gives_the_same_records(book: Written, tmp_path: Path) -> None:
    records, findings = read_workbook(book.save(tmp_path / "book.xlsx"))
    assert records == book.records, findings


# --- Bad input ---

BAD = {
    "no column density": (COLUMN, SAMPLES.replace("density [g/cm^3]", "rho [g/cm^3]")),
    "0 g/cm^3; accepted: a density above zero": (COLUMN, SAMPLES.replace("2.61", "0")),
    "2.61 g; accepted: a density above zero": (COLUMN, SAMPLES.replace("[g/cm^3]", "[g]")),
    "an estimate beside the column density": (COLUMN + 'estimate = "2650 kg/m^3"\n', SAMPLES),
    "no density for samples of: clay": (MATRICES, SAMPLES.replace("silt", "clay")),
    "no density for samples of: no matrix": (MATRICES, SAMPLES.replace("silt", "")),
    "no density with its uncertainty for samples of: silt": (MIXED.replace('u = "4 %"\n', ""), SAMPLES),
    "the matrix silt more than once": (MATRICES.replace('"peat"', '"silt"'), SAMPLES),
    "no uncertainty": (MATRICES.replace('u = "3 %"\n', ""), SAMPLES),
    "no estimate": (MATRICES.replace('estimate = "2.65 g/cm^3"\n', ""), SAMPLES),
    "2.65 g; accepted": (MATRICES.replace("2.65 g/cm^3", "2.65 g"), SAMPLES),
}


@pytest.mark.parametrize("words", BAD)
def test_bad_input_is_told(words: str, tmp_path: Path) -> None:
    text, samples = BAD[words]
    _, findings = read_records(run(tmp_path, text, samples=samples))
    assert any(words in finding.line() and finding.severity == "stop" for finding in findings), [
        finding.line() for finding in findings
    ]
