"""Gravimetric calibration of ware: Z factors and densities as printed, the sum against `uncertainties`, the command."""

from __future__ import annotations

import csv
import math
import tomllib
from pathlib import Path

import pytest
from uncertainties import ufloat, umath

from tests.commands.running import run
from tests.engines import (
    assert_safe_formulas,
    compare,
    ironcalc_values,
    libreoffice_values,
    require_engine,
    stored_values,
)
from tests.volumes.titration import METHOD, REGISTER, SAMPLES, evaluated, titration
from tests.workbooks.books import EXAMPLES, Written
from tests.workbooks.live_checks import assert_open_numbers_move
from tests.workbooks.test_alive import numeric_cells
from ubudget import calibrate_ware
from ubudget.errors import UnusableInput
from ubudget.evaluation.ware_calibration import CalibratedWare
from ubudget.files.workbook_reading import read_workbook
from ubudget.pages.plan import plan_book
from ubudget.pages.ware_certificate import certificate_text

FLASK = EXAMPLES / "ware_calibration" / "flask.toml"
TEXT = FLASK.read_text(encoding="utf-8")
DATA = Path(__file__).parent / "data"


def calibrated(folder: Path, text: str) -> CalibratedWare:
    path = folder / "ware.toml"
    path.write_text(text, encoding="utf-8")
    return calibrate_ware(path)


def at(folder: Path, t: str, p: str = "1013", humidity: str = "50 %") -> CalibratedWare:
    """The example at other conditions, air and water at one temperature, without evaporation."""
    text = TEXT.replace("21.4 °C", f"{t} °C").replace("21.9 °C", f"{t} °C").replace("1009 hPa", f"{p} hPa")
    return calibrated(folder, text.replace("45 %", humidity).replace('evaporation = "0.5 mg"\n', ""))


def number(ware: CalibratedWare, symbol: str) -> float:
    return float(ware.evaluation.numbers.symbol("results", symbol)[0])


def printed_factors() -> list[tuple[str, str, str]]:
    lines = [line for line in (DATA / "z_factors.csv").read_text(encoding="utf-8").splitlines() if line[0] != "#"]
    return [(row["t_C"], row["p_hPa"], row["Z"]) for row in csv.DictReader(lines)]


def test_z_factors_to_the_printed_digit(tmp_path: Path) -> None:
    """ISO 8655-6:2002, Annex A: four decimals. At rounding borders the printed tables themselves differ from one
    another by one digit; half a unit and 1e-5 more is accepted."""
    factors = printed_factors()
    assert len(factors) > 80
    for t, p, printed in factors:
        ware = at(tmp_path, t, p)
        # The factor stands for the volume at the water's own temperature: no expansion of the ware.
        z = number(ware, "V_w") / number(ware, "m_b")
        assert abs(z - float(printed)) <= 0.5e-4 + 1e-5, (t, p, z)


@pytest.mark.parametrize(
    ("t", "printed"),
    # Tanaka et al., Metrologia 38 (2001) 301-309, Table 1, in kg/m³
    [("0", 999.8428), ("4", 999.9749), ("20", 998.2067), ("25", 997.0470), ("40", 992.2152)],
)
def test_density_of_water(t: str, printed: float, tmp_path: Path) -> None:
    assert number(at(tmp_path, t), "rho_w") == pytest.approx(printed, abs=6e-5)


@pytest.mark.parametrize(
    ("t", "iapws"),
    # IAPWS-95 (Wagner, Pruss, J. Phys. Chem. Ref. Data 31 (2002) 387), evaluated at 101325 Pa, in kg/m³
    [("5", 999.9666), ("10", 999.7025), ("15", 999.1026), ("18", 998.5986), ("22", 997.7735), ("30", 995.6495)],
)
def test_density_of_water_by_another_formulation(t: str, iapws: float, tmp_path: Path) -> None:
    assert number(at(tmp_path, t), "rho_w") == pytest.approx(iapws, abs=1e-3)


def test_density_of_air(tmp_path: Path) -> None:
    """CIPM-2007 (Picard et al., Metrologia 45 (2008) 149): 1.199 kg/m³ at 20 °C, 1013.25 hPa and 50 %."""
    assert number(at(tmp_path, "20", "1013.25"), "rho_a") == pytest.approx(1.199, abs=5e-4)


@pytest.fixture(scope="module")
def flask() -> CalibratedWare:
    return calibrate_ware(FLASK)


def test_volume_and_u_against_uncertainties(flask: CalibratedWare) -> None:
    """The equation of ISO 4787 written anew, for a package that differentiates on its own."""
    masses = [float(mass.split()[0]) for mass in tomllib.loads(TEXT)["weighings"]]
    mean = sum(masses) / 10
    s = math.sqrt(sum((mass - mean) ** 2 for mass in masses) / 9)
    half = math.sqrt(3)
    m = ufloat(mean, s / math.sqrt(10)) + ufloat(0, 0.0006) + ufloat(0.0005, 0.0005 / half)
    t, ta = ufloat(21.4, 0.05), ufloat(21.9, 0.5 / half)
    p, h = ufloat(1009, 2 / half), ufloat(45, 10 / half)
    gamma, setting = ufloat(9.9e-6, 9.9e-6 * 0.05), ufloat(0, 0.02 / half)
    water = 999.97495 * (1 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881))) + ufloat(0, 0.01 / half)
    air = (0.34848 * p - 0.009 * h * umath.exp(0.061 * ta)) / (273.15 + ta) * ufloat(1, 2e-4)
    volume = 1000 * m / (water - air) * (1 - air / 8000) * (1 - gamma * (t - 20)) + setting
    result = flask.result
    assert result.value == pytest.approx(volume.nominal_value, rel=1e-12)
    assert result.standard_uncertainty == pytest.approx(volume.std_dev, rel=1e-10)
    assert flask.random.value == pytest.approx(s * result.value / mean, rel=1e-4)
    assert flask.systematic.value == pytest.approx(volume.nominal_value - 100, abs=1e-10)


def test_sensitivity_to_the_temperature(flask: CalibratedWare) -> None:
    """About 2.1e-4 of the volume in each kelvin near 20 °C, less the expansion of the ware (ISO 4787)."""
    (row,) = [row for row in flask.result.budget if row.symbol == "t_w"]
    assert row.sensitivity_coefficient == pytest.approx(100 * (2.2e-4 - 9.9e-6), rel=0.02)


def test_errors_beside_the_limits_of_a_piston_pipette(tmp_path: Path) -> None:
    """ISO 8655-2:2002, Table 1: 8 µL systematic and 3 µL random at 1000 µL, also where it is set to less."""
    text = TEXT.replace('ware = "flask"', 'ware = "piston pipette"').replace('accuracy_class = "A"\n', "")
    text = (
        text.replace('"100 mL"', '"1000 uL"')
        .replace("to contain", "to deliver")
        .replace("borosilicate 3.3", "polypropylene")
    )
    text = (
        text[: text.index("weighings")]
        + 'weighings = ["0.9865 g", "0.9891 g", "0.9878 g", "0.9930 g"]\n'
        + (text[text.index("remarks") : text.index("[meniscus]")])
    )
    ware = calibrated(tmp_path, text)
    assert (ware.systematic.limit, ware.random.limit) == (8, 3)
    assert ware.limits_source == "ISO 8655-2:2002"
    # By hand: mean 0.9891 g, s = 2.80 mg, Z = 1.0032 µL/mg (its last decimal is 0.1 µL), plastic 1.4 K above 20 °C.
    assert ware.systematic.value == pytest.approx(989.1 * 1.0032 * (1 - 240e-6 * 1.4) - 1000, abs=0.1)
    assert ware.random.value == pytest.approx(2.80 * 1.0032, abs=0.01)
    assert (ware.systematic.within, ware.random.within) == (False, True)
    part = calibrated(tmp_path, text.replace('"1000 uL"', '"1000 uL"\nset_to = "990 uL"'))
    assert part.systematic.value == pytest.approx(ware.systematic.value + 10)
    assert (part.systematic.limit, part.systematic.within) == (8, True)
    # The register takes the value at the volume it is of.
    told = {
        name: tomllib.loads(certificate_text(one, number="1", issuer="x", due=one.record.date))
        for name, one in (("part", part), ("whole", ware))
    }
    (of_part,), (of_whole,) = (told[name]["equipment"]["certificate"][0]["property"] for name in ("part", "whole"))
    assert of_part["at"] == "990 uL"
    assert "at" not in of_whole


def test_the_command_and_its_certificate_in_a_register(tmp_path: Path) -> None:
    """What the command prints goes into the register as it is, and the certified volume into the budget."""
    words = ["--number", "V-26-7", "--issuer", "own laboratory (invented)", "--due", "2028-02-11"]
    done = run("ware", str(FLASK), *words, "--workbook", "flask.xlsx", folder=tmp_path)
    assert (done.status, done.err) == (0, "")
    assert "volume at 20 °C    100.013 mL ± 0.024 mL (k = 2.00" in done.out
    assert "inside the limit of 0.1 mL (ISO 1042:1998, class A)" in done.out
    assert (tmp_path / "flask.xlsx").stat().st_size > 0
    start = done.out.index("repeatability =")
    printed = done.out[start : done.out.index("workbook  ")]
    item = f'\n[[equipment]]\nid = "F100-07"\nkind = "flask"\ndescription = "x"\nnominal = "100 mL"\n{printed}'
    method = METHOD.replace('ware = "F250"', 'ware = "F100-07"')
    budget = evaluated(titration(tmp_path, method=method, register=REGISTER + item, samples=SAMPLES)).results[0].budget
    rows = {row.symbol: row for row in budget}
    assert rows["V_f.calibration"].standard_uncertainty == pytest.approx(0.012)
    assert "certificate V-26-7" in rows["V_f.calibration"].source
    assert rows["V_f.filling"].degrees_of_freedom == 9


def test_without_options_the_certificate_says_what_is_missing(tmp_path: Path) -> None:
    done = run("ware", str(FLASK), folder=tmp_path)
    assert [line for line in done.out.splitlines() if line.startswith("#")] == [
        "# number = to be filled in",
        "# issuer = to be filled in",
        "# due = to be filled in, year-month-day",
    ]
    assert run("ware", str(FLASK), "--due", "soon", folder=tmp_path).status == 2


def test_the_workbook_in_both_engines(flask: CalibratedWare, tmp_path: Path) -> None:
    require_engine("ironcalc")
    example = Written(flask.evaluation.records, flask.evaluation, plan_book(flask.evaluation))
    file = example.save(tmp_path / "book.xlsx")
    assert_safe_formulas(file)
    assert compare(stored_values(file), ironcalc_values([file], timeout=120)[0]) == []
    records, findings = read_workbook(file)
    assert records == example.records, findings
    require_engine("libreoffice")
    assert compare(stored_values(file), libreoffice_values([file])[0]) == []


def test_every_open_number_of_the_workbook(flask: CalibratedWare, tmp_path: Path) -> None:
    require_engine("ironcalc")
    example = Written(flask.evaluation.records, flask.evaluation, plan_book(flask.evaluation))
    cells = numeric_cells(example)
    assert len([cell for cell in cells if "readings" in cell.origin.path]) == 10
    assert_open_numbers_move(example, example.save(tmp_path / "book.xlsx"), cells)


BAD = [
    ("another kind", "calibration of ware", "calibration", "kind", '"calibration of ware"'),
    (
        "one weighing",
        TEXT[TEXT.index("weighings") : TEXT.index("evaporation")],
        'weighings = ["1 g"]\n',
        "weighings",
        "2",
    ),
    ("weighing in mL", "99.6905 g", "99.6905 mL", "weighings 2", "99.6905 mL|g"),
    ("temperature in kelvin", "21.4 °C", "294.55 K", "water_temperature, value", "294.55 K|°C"),
    ("water too warm", "21.4 °C", "45 °C", "water_temperature, value", "45 °C|0 °C to 40 °C|Tanaka"),
    ("pressure in %", "1009 hPa", "100 %", "pressure, value", "100 %|hPa"),
    ("no uncertainty", 'U = "1.2 mg"\nk = 2\n', "", "balance", "no uncertainty"),
    ("balance in %", '"1.2 mg"', '"0.1 %"', "balance, U", "0.1 %|g"),
    ("thermometer in %", '"0.1 K"', '"1 %"', "water_temperature, U", "1 %|K"),
    ("meniscus in %", '"0.02 mL"', '"1 %"', "meniscus, half_width", "1 %|mL"),
    ("unknown material", "borosilicate 3.3", "oak", "material", "oak|soda-lime glass"),
    ("nominal that the table lacks", '"100 mL"', '"75 mL"', "item F100-07, nominal", "75 mL|ISO 1042:1998"),
    ("unknown key", "capacity", "capacitance", "capacitance", "did you mean capacity?"),
]


@pytest.mark.parametrize(("old", "new", "place", "words"), [bad[1:] for bad in BAD], ids=[bad[0] for bad in BAD])
def test_a_bad_record(old: str, new: str, place: str, words: str, tmp_path: Path) -> None:
    assert old in TEXT
    with pytest.raises(UnusableInput) as raised:
        calibrated(tmp_path, TEXT.replace(old, new, 1))
    found = [finding for finding in raised.value.findings if finding.place == place]
    assert found, [finding.line() for finding in raised.value.findings]
    assert not [word for word in words.split("|") if word not in found[0].line()], found[0].line()


def test_air_outside_the_range_of_its_formula_is_told(tmp_path: Path) -> None:
    """OIML R 111-1:2004, E.3: 900 hPa to 1100 hPa."""
    ware = calibrated(tmp_path, TEXT.replace("1009 hPa", "870 hPa"))
    assert [(finding.severity, finding.place) for finding in ware.findings] == [("attend", "pressure, value")]
    path = tmp_path / "ware.toml"
    assert run("ware", str(path), folder=tmp_path).status == 1
