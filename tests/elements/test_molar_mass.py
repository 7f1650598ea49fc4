"""Atomic weights, molar masses and conversion factors against published figures."""

from __future__ import annotations

from pathlib import Path

import pytest
from uncertainties import ufloat

from ubudget.evaluation.evaluate import Evaluation, evaluate
from ubudget.files.reading import read_records
from ubudget.quantity.atomic_weights import STANDARD_WEIGHTS, Interval, SingleValue
from ubudget.quantity.chemical_formula import FormulaError, atoms_of

HEAD = """
[method]
id = "MM"
title = "molar mass"
version = "1"
status = "approved"
measurand = "molar mass"
unit = "{unit}"
equation = "{equation}"
"""


def evaluated(folder: Path, equation: str, symbols: str, unit: str = "g/mol") -> Evaluation:
    file = folder / "method.toml"
    file.write_text(HEAD.format(unit=unit, equation=equation) + symbols, encoding="utf-8")
    records, findings = read_records(file)
    assert records is not None, findings
    evaluation, findings = evaluate(records)
    assert evaluation is not None, findings
    return evaluation


def molar_mass(folder: Path, formula: str, more: str = "") -> tuple[float, float]:
    symbols = f'[symbols.M]\noperation = "molar mass"\nquantity = "molar mass"\nformula = "{formula}"\n'
    (result,) = evaluated(folder, "y = M", symbols + more).results
    assert result.value is not None and result.standard_uncertainty is not None
    return result.value, result.standard_uncertainty


def conversion(folder: Path, source: str, target: str, more: str = "") -> tuple[float, float]:
    symbols = f'[symbols.F]\noperation = "conversion factor"\nquantity = "F"\nfrom = "{source}"\nto = "{target}"\n'
    (result,) = evaluated(folder, "y = F", symbols + more, "").results
    assert result.value is not None and result.standard_uncertainty is not None
    return result.value, result.standard_uncertainty


# -- formulas: counts by the rules of chemical nomenclature (IUPAC Red Book 2005, IR-4) ------------------------------


@pytest.mark.parametrize(
    ("formula", "atoms"),
    [
        ("K2Cr2O7", {"K": 2, "Cr": 2, "O": 7}),
        ("Mg(NO3)2", {"Mg": 1, "N": 2, "O": 6}),
        ("CuSO4·5H2O", {"Cu": 1, "S": 1, "O": 9, "H": 10}),
        ("CuSO4.5H2O", {"Cu": 1, "S": 1, "O": 9, "H": 10}),
        ("[Co(NH3)6]Cl3", {"Co": 1, "N": 6, "H": 18, "Cl": 3}),
        ("Co", {"Co": 1}),
        ("CO", {"C": 1, "O": 1}),
        ("H₂O", {"H": 2, "O": 1}),
        ("(NH4)2Fe(SO4)2·6H2O", {"N": 2, "H": 20, "Fe": 1, "S": 2, "O": 14}),
        ("((CH3)2CH)2O", {"C": 6, "H": 14, "O": 1}),
    ],
)
def test_atoms_are_counted(formula: str, atoms: dict[str, int]) -> None:
    assert atoms_of(formula) == atoms


@pytest.mark.parametrize(
    "formula",
    [
        "",
        "Xx2",
        "K2Cr2O7)",
        "(NH4",
        "(NH4]2",
        "2",
        "k2o",
        "Fe0.95O",
        "Fe--O",
        "()",
        "Tc2O7",
        "H02",
        "H0",
        "12345H",
        ".",
        "H2.",
        "A" * 300,
    ],
)
def test_what_is_no_formula_is_refused(formula: str) -> None:
    with pytest.raises(FormulaError):
        atoms_of(formula)


# -- molar masses ----------------------------------------------------------------------------------------------------

QUAM_WEIGHTS = "".join(
    f'[atomic_weights.{element}]\nvalue = "{value} g/mol"\nhalf_width = "{half} g/mol"\ndistribution = "rectangular"\n'
    for element, value, half in (
        ("C", 12.0107, 0.0008),
        ("H", 1.00794, 0.00007),
        ("O", 15.9994, 0.0003),
        ("K", 39.0983, 0.0001),
    )
)
"""Atomic weights of the 1997 table, as quoted in EURACHEM/CITAC CG 4, QUAM:2012.P1, Example A2."""


def test_the_printed_molar_mass_of_hydrogen_phthalate(tmp_path: Path) -> None:
    """QUAM:2012.P1, Example A2, Table A2.2: M = 204.2212 g/mol, u = 0.0038 g/mol, from the older weights."""
    value, u = molar_mass(tmp_path, "C8H5KO4", QUAM_WEIGHTS)
    assert f"{value:.4f}" == "204.2212"
    assert f"{u:.4f}" == "0.0038"


@pytest.mark.parametrize(
    ("formula", "value", "u"),
    [
        # From the intervals and single values of Pure Appl. Chem. 94 (2022) 573, by the rectangular rule; worked out
        # outside the program: sum of n A, root of the sum of (n u)².
        ("C8H5KO4", 204.220575, 0.004714),
        ("H2O", 18.01535, 0.000264),
        ("Pb", 207.04, 0.5196),
    ],
)
def test_molar_masses_of_the_present_table(formula: str, value: float, u: float, tmp_path: Path) -> None:
    found = molar_mass(tmp_path, formula)
    assert found[0] == pytest.approx(value, rel=1e-8)
    assert found[1] == pytest.approx(u, rel=3e-3)


def test_every_standard_weight_is_plausible_against_the_abridged_values() -> None:
    """Abridged standard atomic weights, Pure Appl. Chem. 94 (2022) 573, Table 2: a value within the interval."""
    abridged = {"H": 1.0080, "Li": 6.94, "B": 10.81, "C": 12.011, "N": 14.007, "O": 15.999, "Mg": 24.305}
    abridged |= {"Si": 28.085, "S": 32.06, "Cl": 35.45, "Ar": 39.95, "Br": 79.904, "Tl": 204.38, "Pb": 207.2}
    intervals = {element for element, weight in STANDARD_WEIGHTS.items() if isinstance(weight, Interval)}
    assert intervals == set(abridged)
    for element, value in abridged.items():
        weight = STANDARD_WEIGHTS[element]
        assert isinstance(weight, Interval)
        assert weight.lower - 0.006 < value < weight.upper + 0.006
    assert len(STANDARD_WEIGHTS) == 84
    changed = [element for element, weight in STANDARD_WEIGHTS.items() if "2024" in weight.source]
    assert changed == ["Zr", "Gd", "Lu"]
    assert all(w.U > 0 for w in STANDARD_WEIGHTS.values() if isinstance(w, SingleValue))


# -- conversion factors ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("source", "target", "printed"),
    [
        # Gravimetric factors as printed in handbooks, to four decimals (O = 15.9994).
        ("Al", "Al2O3", "1.8895"),
        ("Ca", "CaO", "1.3992"),
        ("Mg", "MgO", "1.6583"),
        ("Na", "Na2O", "1.3480"),
        ("K", "K2O", "1.2046"),
        ("Fe", "Fe2O3", "1.4297"),
        ("P", "P2O5", "2.2914"),
        ("Mn", "MnO", "1.2912"),
        ("Cr", "Cr2O3", "1.4616"),
        ("V", "V2O5", "1.7852"),
        ("Zn", "ZnO", "1.2447"),
        ("Ba", "BaO", "1.1165"),
        ("Sr", "SrO", "1.1826"),
        ("Zr", "ZrO2", "1.3508"),
    ],
)
def test_factors_of_handbooks(source: str, target: str, printed: str, tmp_path: Path) -> None:
    assert f"{conversion(tmp_path, source, target)[0]:.4f}" == printed


@pytest.mark.parametrize(
    ("source", "target", "u"),
    # Worked out outside the program from Pure Appl. Chem. 94 (2022) 573, the element above and below the line being
    # one quantity: u(F) = (m/n) u(O)/A and F's part from A.
    [("Al", "Al2O3", 1.2e-5), ("Pb", "PbO", 0.00019), ("Zn", "ZnO", 4.3e-5), ("Li", "Li2O", 0.0028)],
)
def test_the_element_above_and_below_the_line_is_one(source: str, target: str, u: float, tmp_path: Path) -> None:
    assert conversion(tmp_path, source, target)[1] == pytest.approx(u, rel=0.05)


def test_a_method_with_several_formulas_agrees_with_uncertainties(tmp_path: Path) -> None:
    """Two molar masses, a factor and a stated weight in one equation, walked by the package `uncertainties`."""
    symbols = "".join(
        f'[symbols.{name}]\noperation = "molar mass"\nquantity = "x"\nformula = "{formula}"\n'
        for name, formula in (("M1", "PbSO4"), ("M2", "BaSO4"))
    )
    symbols += (
        '[symbols.F]\noperation = "conversion factor"\nquantity = "F"\nfrom = "SO3"\nto = "BaSO4"\nelement = "S"\n'
    )
    symbols += '[atomic_weights.Pb]\nvalue = "207.21 g/mol"\nU = "0.02 g/mol"\nk = 2\n'
    evaluation = evaluated(tmp_path, "y = M1/M2*F", symbols, "")
    (result,) = evaluation.results
    Pb, Ba = ufloat(207.21, 0.01), ufloat(137.327, 0.007 / 3**0.5)
    S, O = ufloat(32.0675, 0.017 / 12**0.5), ufloat(15.9994, 0.00074 / 12**0.5)  # noqa: E741 - the element's symbol
    y = (Pb + S + 4 * O) / (Ba + S + 4 * O) * (Ba + S + 4 * O) / (S + 3 * O)
    assert result.value == pytest.approx(y.n, rel=1e-12)
    assert result.standard_uncertainty == pytest.approx(y.s, rel=1e-12)
    symbols_of_rows = [row.symbol for row in result.budget]
    assert sorted(symbols_of_rows) == sorted(["A(Pb)", "A(S)", "A(O)", "A(Ba)"])
