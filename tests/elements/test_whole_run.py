"""Overlap, recovery, conversion and molar mass together: against `uncertainties`, and in two engines."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.agreement.test_uncertainties import Walk, assert_walk_agrees, evaluated
from tests.elements.whole_run import METHOD, REGISTER, SOLUTIONS, K, readings_text, whole_run
from tests.engines import (
    compare,
    ironcalc_values,
    ironcalc_variants,
    libreoffice_values,
    require_engine,
    stored_values,
)
from tests.workbooks.books import Written, edited, written
from tests.workbooks.live_checks import assert_engines_agree, assert_open_numbers_move
from tests.workbooks.test_alive import as_edit, differs, numeric_cells
from ubudget.evaluation.evaluate import evaluate
from ubudget.files.reading import read_records
from ubudget.files.workbook_reading import read_workbook


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> Written:
    return written(whole_run(tmp_path_factory.mktemp("run")))


def test_walk_of_uncertainties_agrees(example: Written) -> None:
    evaluation = example.evaluation
    walk = Walk(evaluation)
    assert_walk_agrees(evaluation, walk)


def test_the_overlaps_give_back_what_went_in(example: Written) -> None:
    """The readings were made from known contents: the corrected concentrations are these, but for the scatter."""
    table = example.evaluation.graph.tables["spectral overlaps"]
    corrected = example.evaluation.column("corrected", "spectral overlaps")
    read = example.evaluation.column("c", "spectral overlaps")
    for row, (solution, analyte) in enumerate(zip(table.texts("solution"), table.texts("analyte"), strict=True)):
        true = SOLUTIONS[solution]
        more = sum(k * true[other] for (on, other), k in K.items() if on == analyte)
        assert corrected[row] == pytest.approx(true[analyte], abs=0.02)
        assert read[row] == pytest.approx(true[analyte] + more, abs=0.02)


def test_oxygen_cancels_between_factor_and_molar_mass(example: Written) -> None:
    """M(As2O3)/(2 A(As) M(As2O3)) = 1/(2 A(As)): oxygen has no part in it."""
    budget = example.evaluation.results[0].budget
    (oxygen,) = [row for row in budget if row.symbol == "A(O)"]
    (arsenic,) = [row for row in budget if row.symbol == "A(As)"]
    value = example.evaluation.results[0].value
    assert value is not None
    assert abs(oxygen.contribution) < 1e-14 * value
    assert arsenic.sensitivity_coefficient == pytest.approx(-value / 74.921595, rel=1e-9)


def test_both_engines_agree_with_the_library(example: Written, tmp_path: Path) -> None:
    assert_engines_agree(example, tmp_path, floor=1e-13)


def test_every_open_number_changed_or_struck(example: Written, tmp_path: Path) -> None:
    require_engine("ironcalc")
    cells = numeric_cells(example)
    paths = {cell.origin.path[:1] + cell.origin.path[2:] for cell in cells}
    assert {("overlap", "factor"), ("overlap", "u"), ("atomic_weights", "U")} <= paths
    assert any(cell.origin.document == "register" for cell in cells)
    assert any(cell.origin.path[:3] == ("symbols", "R", "spike") for cell in cells)
    file = example.save(tmp_path / "book.xlsx")
    # Oxygen cancels between the factor and the molar mass.
    oxygen = ("atomic_weights", "O")
    assert_open_numbers_move(example, file, cells, unmoved=lambda cell: cell.origin.path[:2] == oxygen)


def test_reading_back_gives_the_same_records(example: Written, tmp_path: Path) -> None:
    records, findings = read_workbook(example.save(tmp_path / "book.xlsx"))
    assert records == example.records, findings


def test_an_interferent_without_readings_makes_the_result_unavailable(example: Written, tmp_path: Path) -> None:
    """All iron readings of one solution struck: arsenic, aluminium and iron of it are lost, in the sheet as here."""
    require_engine("ironcalc")
    struck = [c for c in numeric_cells(example) if c.origin.path[:3] == ("include", "SLAG-1", "Fe")]
    assert len(struck) == 3
    file = example.save(tmp_path / "book.xlsx")
    (found,) = ironcalc_variants(file, [[(cell.sheet, cell.address, 0.0) for cell in struck]])
    assert [v for cells in found.values() for v in cells.values() if str(v).startswith("#")] == []
    library = edited(example.records, [as_edit(cell, 0.0) for cell in struck])
    lost = {(result.sample, result.analyte) for result in library.results if result.value is None}
    assert lost == {("SLAG-1", "As"), ("SLAG-1", "Al"), ("SLAG-1", "Fe")}
    said = [str(v) for v in found["results"].values() if "no concentration of an interferent" in str(v)]
    assert len(said) == 2


def test_a_certified_value_shared_by_two_studies_is_one_cell(tmp_path: Path) -> None:
    """A number appears once: changed in its one cell, both recoveries follow, as they do in the records."""
    require_engine("ironcalc")
    second = '[[symbols.R.reference_material]]\nitem = "RM-1"\nanalyte = "Al"\nmeasured = "7.7 mg/kg"\nu = "2 %"\n\n'
    at = METHOD.index("[[symbols.R.spike]]")
    register = REGISTER.replace('analyte = "As"\n', "")
    shared = written(whole_run(tmp_path, method=METHOD[:at] + second + METHOD[at:], register=register))
    cells = [cell for cell in numeric_cells(shared) if cell.origin.document == "register"]
    assert sorted(cell.origin.path[-1] for cell in cells) == ["U", "k", "value"]
    file = shared.save(tmp_path / "book.xlsx")
    # Slag has a u without degrees of freedom here: infinite ones in sums and quotients, in both programs.
    assert compare(stored_values(file), ironcalc_values([file], timeout=120)[0], floor=1e-13) == []
    require_engine("libreoffice")
    assert compare(stored_values(file), libreoffice_values([file])[0], floor=1e-13) == []
    (cell,) = [cell for cell in cells if cell.origin.path[-1] == "value"]
    (found,) = ironcalc_variants(file, [[(cell.sheet, cell.address, 8.6)]], shared.result_cells())
    ((_, numbers),) = found.items()
    after = [float(str(numbers[address])) for (addresses,) in [shared.result_cells().values()] for address in addresses]
    library = edited(shared.records, [as_edit(cell, 8.6)])
    again = Written(shared.records, library, shared.book).result_numbers()
    assert not [(a, b) for a, b in zip(after, again, strict=True) if differs(a, b, 1e-9)]
    moved = [differs(a, b, 1e-6) for a, b in zip(after, shared.result_numbers(), strict=True)]
    # Values come first: arsenic is corrected; aluminium is not, its u is widened (six results, then their u).
    assert moved[:6] == [True, False, False, True, False, False]
    assert moved[6:12] == [True, True, False, True, True, False]


# -- findings --------------------------------------------------------------------------------------------------------

AL_ON_AS = (
    'analyte = "As"\nline = "193.7"\ninterferent = "Al"\ninterferent_line = "396.2"\nfactor = 0.004\nu = "10 %"\n'
)
LOOP = (
    '[[overlap]]\nanalyte = "Fe"\nline = "259.9"\ninterferent = "As"\ninterferent_line = "193.7"\nfactor = 1\nu = 0.1\n'
)
BAD = {
    "unknown line": ('interferent_line = "396.2"', 'interferent_line = "309.3"', "stop", "the unknown line Al 309.3"),
    "loop": ("[symbols.F]", f"{LOOP}[symbols.F]", "stop", "corrected by itself"),
    "overlap twice": ("[symbols.F]", f"[[overlap]]\n{AL_ON_AS}[symbols.F]", "stop", "the same overlap a second time"),
    "no uncertainty": ('factor = 0.004\nu = "10 %"\n', "factor = 0.004\n", "stop", "no uncertainty"),
    "factor with unit": ("factor = 0.004", 'factor = "0.004 mg/L"', "stop", "a factor in mg/L"),
    "of nothing": ('of = "c"', 'of = "F"', "stop", "calibration or blank"),
    "another unit": (
        'quantity = "concentration, less overlaps"\nunit = "mg/L"',
        'quantity = "x"\nunit = "ug/L"',
        "stop",
        "while c has mg/L",
    ),
    "blank uncorrected": ("cb_net)*F", "cb)*F", "attend", "a blank with its overlap"),
    "overlaps unused": ("(c_net - cb_net)", "(c - cb)", "attend", "overlaps that no symbol corrects for"),
    "unknown element": ('formula = "As2O3"', 'formula = "Xx2O3"', "stop", "the unknown element Xx"),
    "open bracket": ('formula = "As2O3"', 'formula = "(As2O3"', "stop", "not closed"),
    "radioactive": ('formula = "As2O3"', 'formula = "Tc2O3"', "stop", "radioactive element without standard"),
    "nothing shared": ('to = "As2O3"', 'to = "Al2O3"', "stop", "share no element"),
    "two shared": ('from = "As"\n', 'from = "As2O5"\n', "stop", "share As and O"),
    "atomic weight of nothing": ("[atomic_weights.O]", "[atomic_weights.Oo]", "stop", "the unknown element Oo"),
    "atomic weight without unit": ('value = "15.9995 g/mol"', "value = 15.9995", "stop", "atomic weight O, value"),
    "atomic weight unused": ("[atomic_weights.O]", "[atomic_weights.Na]", "attend", "which no formula holds"),
    "band in a formula": ('formula = "As2O3"', 'formula = "As2O3"\nlevel_from = "1 mg/L"', "stop", "level_from"),
    "treatment by matrix": (
        'treatment = "not significant"',
        'matrix = "slag"\ntreatment = "not significant"',
        "stop",
        "by analyte or line",
    ),
    "one end": (
        '[[symbols.F.for]]\nanalyte = "As"\nfrom = "As"\n',
        '[[symbols.F.for]]\nanalyte = "As"\n',
        "stop",
        "from",
    ),
    "lead": (
        "[symbols.F]",
        '[symbols.Pb]\noperation = "molar mass"\nquantity = "x"\nformula = "Pb"\n[symbols.F]',
        "note",
        "the standard atomic weight of lead",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_input_is_told(name: str, tmp_path: Path) -> None:
    old, new, severity, words = BAD[name]
    assert old in METHOD
    method = METHOD.replace(old, new, 1)
    if name == "blank uncorrected" or name == "overlaps unused":
        symbols = ["cb_net"] if name == "blank uncorrected" else ["c_net", "cb_net"]
        for symbol in symbols:
            start = method.index(f"[symbols.{symbol}]")
            method = method[:start] + method[method.index("\n\n", start) + 2 :]
    records, findings = read_records(whole_run(tmp_path, method=method))
    lines = [f"{finding.severity} {finding.line()}" for finding in findings]
    assert any(line.startswith(severity) and words in line for line in lines), lines
    assert (records is None) == (severity == "stop")
    assert all(finding.found and finding.accepted and finding.remedy for finding in findings)


def test_an_interferent_not_read_is_told(tmp_path: Path) -> None:
    rows = readings_text().splitlines()
    less = "\n".join(row for row in rows if not row.startswith("SLAG-1,Fe")) + "\n"
    records, _ = read_records(whole_run(tmp_path, readings=less))
    assert records is not None
    evaluation, findings = evaluate(records)
    assert evaluation is None
    stops = [finding.line() for finding in findings if finding.severity == "stop"]
    assert len(stops) == 2
    assert all("no reading of the interferent Fe 259.9 in the same solution" in line for line in stops)


def test_an_interferent_above_its_standards_is_told(tmp_path: Path) -> None:
    rows = [
        row if not row.startswith("SLAG-1,Fe") else "SLAG-1,Fe,259.9,81500,81510,81490"
        for row in readings_text().splitlines()
    ]
    evaluation = evaluated(whole_run(tmp_path, readings="\n".join(rows) + "\n"))
    told = [finding for finding in evaluation.findings if "above its highest standard" in finding.found]
    assert [finding.place for finding in told] == ["SLAG-1, Fe 259.9"]


@pytest.mark.parametrize(
    ("key", "text", "told"),
    [
        ("basis", "dry  Mass", False),
        ("basis", "dried at 105 °C", False),
        ("basis", "as received", True),
        ("basis", "per leaf", True),
        ("measurand", "total mass fraction", False),
        ("measurand", "mass fraction", False),
        ("measurand", "acid-extractable mass fraction", True),
        ("measurand", "mass concentration of the dissolved element", True),
    ],
)
def test_materials_on_another_basis_are_told(key: str, text: str, told: bool, tmp_path: Path) -> None:
    """A reference material speaks for its own basis and measurand only (ISO/IEC 17025:2017, 7.7.1; ISO Guide 33)."""
    old = {"basis": "dry  Mass", "measurand": "total mass fraction"}[key]
    register = REGISTER.replace(f'{key} = "{old}"', f'{key} = "{text}"')
    _, findings = read_records(whole_run(tmp_path, register=register))
    found = [finding for finding in findings if finding.place == f"reference_material RM-1, {key}"]
    assert bool(found) == told
    assert all(finding.severity == "attend" for finding in found)
