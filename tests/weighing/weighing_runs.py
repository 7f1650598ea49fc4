"""Invented runs for weighings: the small run of the findings, with other balances, forms of weighing, air and rules."""

from __future__ import annotations

from pathlib import Path

from tests.findings.small_run import METHOD, READINGS, REGISTER, SAMPLES, write_run
from tests.workbooks.books import Written, evaluated
from ubudget.evaluation.evaluate import BudgetRow, Evaluation, Result
from ubudget.files.reading import read_records
from ubudget.pages.plan import plan_book

BALANCE = REGISTER[REGISTER.index("[[equipment]]") : REGISTER.index('[[equipment]]\nid = "F50-2"')]
WEIGHING = METHOD[METHOD.index("[symbols.m]") : METHOD.index("[symbols.F]")]
NET_SAMPLES = "\n".join(
    ",".join(cells)
    for cells in (
        ["sample", "kind", "net [g]", "moisture [%]"],
        ["SED-01", "", "0.5022", "3.1"],
        ["SED-02", "", "0.4989", "2.9"],
        ["BL-1", "blank", "", ""],
        ["BL-2", "blank", "", ""],
    )
)
TWO_PORTIONS = """sample,portion,kind,solution,tare [g],gross [g],moisture [%]
SED-01,1,,SED-01,12.0012,12.5034,3.1
SED-02,1,,SED-02,12.1012,12.6001,2.9
SED-02,2,,SED-02b,11.9044,12.1502,2.9
BL-1,,blank,BL-1,,,
BL-2,,blank,BL-2,,,
"""
TWO_PORTIONS_READ = READINGS + "SED-02b,Zn,213.9,0.041,0.042,0.040\n"
DIFFERENCE = 'tare_column = "tare"\ngross_column = "gross"\n'
TARED = 'reading = "tared"\nnet_column = "net"\nvessel = "12 g"\n'
DIRECT = 'reading = "direct"\nnet_column = "net"\n'
FORMS = {"by difference": DIFFERENCE, "tared": TARED, "direct": DIRECT}

SIMPLE = 'resolution = "0.1 mg"\nlinearity = "0.2 mg"\nrepeatability = "0.1 mg"\n'
BY_LOAD = """resolution = "0.1 mg"
resolution_at_zero = "0.05 mg"
linearity = "0.2 mg"
eccentricity = "0.3 mg"
eccentricity_load = "50 g"
temperature_coefficient = "2e-6 1/K"
temperature_half_range = "3 K"
adjustment_drift = "0.0004 %"

[[equipment.repeatability_at]]
load = "10 g"
s = "0.1 mg"
dof = 7

[[equipment.repeatability_at]]
load = "100 g"
s = "0.25 mg"
"""
CHECKED = """resolution = "0.1 mg"
eccentricity = "0.15 mg"
eccentricity_distribution = "triangular"
check_weighings = ["50.0003 g", "50.0001 g", "50.0002 g", "50.0004 g", "50.0002 g", "50.0001 g"]
check_weight = "W-50"
"""
WEIGHT = """
[[equipment]]
id = "W-50"
kind = "weight"
description = "weight 50 g (invented)"
nominal = "50 g"
accuracy_class = "F1"
"""
CERTIFIED_WEIGHT = (
    WEIGHT
    + """
[[equipment.certificate]]
number = "W-1"
issuer = "Invented laboratory"
issued = 2025-05-05
due = 2027-05-05

[[equipment.certificate.property]]
value = "50.00005 g"
U = "0.06 mg"
k = 2
"""
)
CERTIFICATE = """
[[equipment.certificate]]
number = "B-9"
issuer = "Invented laboratory"
issued = 2025-05-05
due = 2027-05-05
"""
ERROR = '\n[[equipment.certificate.property]]\nvalue = "0.3 mg"\nU = "0.2 mg"\nk = 2\n'
IN_USE = '\n[equipment.certificate.in_use]\nalpha = "0.24 mg"\nbeta = "3.1e-6"\nk = 2\n'
BALANCES = {
    "components": SIMPLE,
    "by load": BY_LOAD,
    "check weighings": CHECKED,
    "certificate": 'resolution = "0.1 mg"\nrepeatability = "0.1 mg"\nrepeatability_dof = 9\n' + CERTIFICATE + ERROR,
    "in use": CERTIFICATE + IN_USE,
}

CONDITIONS = """
[symbols.m.buoyancy.temperature]
estimate = "21.5 degC"
half_width = "2 K"
distribution = "rectangular"

[symbols.m.buoyancy.pressure]
estimate = "1008 hPa"
u = "3 hPa"

[symbols.m.buoyancy.humidity]
estimate = "45 %"
U = "10 %"
k = 2
"""
SAMPLE_DENSITY = """
[symbols.m.buoyancy.sample_density]
estimate = "2650 kg/m^3"
half_width = "200 kg/m^3"
distribution = "triangular"
"""
AIR = {
    "CIPM-2007": '\n[symbols.m.buoyancy]\ntreatment = "applied"\nformula = "CIPM-2007"\n'
    + CONDITIONS
    + '\n[symbols.m.buoyancy.carbon_dioxide]\nestimate = "900 ppm"\nu = "400 ppm"\n'
    + SAMPLE_DENSITY,
    "simplified": '\n[symbols.m.buoyancy]\ntreatment = "applied"\nformula = "simplified"\n'
    + 'weights_density = "8.0 g/cm^3"\n'
    + CONDITIONS
    + SAMPLE_DENSITY,
    "stated": '\n[symbols.m.buoyancy]\ntreatment = "applied"\n\n[symbols.m.buoyancy.air_density]\n'
    + 'estimate = "1.19 kg/m^3"\nu = "0.02 kg/m^3"\n'
    + SAMPLE_DENSITY,
    "left out": '\n[symbols.m.buoyancy]\ntreatment = "left out"\n\n[symbols.m.buoyancy.air_density]\n'
    + 'estimate = "1.2 kg/m^3"\n\n[symbols.m.buoyancy.sample_density]\nestimate = "2650 kg/m^3"\n',
    "bound": '\n[symbols.m.buoyancy]\ntreatment = "left out"\nbound = "0.03 %"\n',
}
USP = '\n[symbols.m.minimum]\nrule = "USP <41>"\nfactor = 2\nrequirement = "0.10 %"\n'
CG18 = '\n[symbols.m.minimum]\nrule = "EURAMET cg-18"\nrequirement = "0.1 %"\nsafety_factor = 2\n'


def weighing_run(
    folder: Path,
    *,
    form: str = DIFFERENCE,
    balance: str = SIMPLE,
    register: str = "",
    more: str = "",
    **changed: str,
) -> Path:
    """The run in `folder`: lines of the weighing symbol and of its balance, further items and tables."""
    weighing = WEIGHING.replace(DIFFERENCE, form) + more + "\n"
    own = BALANCE[: BALANCE.index("resolution")] + balance + register + "\n"
    assert weighing != WEIGHING or form == DIFFERENCE
    texts = {
        "method": METHOD.replace(WEIGHING, weighing),
        "register": REGISTER.replace(BALANCE, own),
        "samples": SAMPLES if form == DIFFERENCE else NET_SAMPLES + "\n",
    }
    return write_run(folder, **(texts | changed))


def three_balances(folder: Path) -> Path:
    """One run on three balances, each known in another way: by load, in use, and by check weighings."""
    second = BALANCE[: BALANCE.index("resolution")].replace("BAL-1", "BAL-2") + BALANCES["in use"]
    third = BALANCE[: BALANCE.index("resolution")].replace("BAL-1", "BAL-3") + CHECKED
    more = "".join(
        f'\n[symbols.{name}]\noperation = "weighing"\nquantity = "mass"\nunit = "g"\nbalance = "{item}"\n{form}'
        for name, item, form in (("m2", "BAL-2", TARED), ("m3", "BAL-3", DIRECT.replace('"net"', '"other"')))
    )
    samples = SAMPLES.replace("moisture [%]", "net [g],other [g],moisture [%]")
    for moisture in ("3.1", "2.9"):
        samples = samples.replace(f",{moisture}\n", f",1.2{moisture[0]},0.8{moisture[2]},{moisture}\n")
    register = second + third + WEIGHT
    more = AIR["stated"] + USP + more
    path = weighing_run(folder, balance=BALANCES["by load"], register=register, more=more, samples=samples)
    text = (path / "method.toml").read_text(encoding="utf-8").replace("/m*F*R", "/m*F*R*(m2/m3)")
    (path / "method.toml").write_text(text, encoding="utf-8")
    return path


def evaluation_of(folder: Path) -> Evaluation:
    records, findings = read_records(folder)
    assert records is not None, [finding.line() for finding in findings]
    return evaluated(records)


def written(folder: Path) -> Written:
    records, findings = read_records(folder)
    assert records is not None, [finding.line() for finding in findings]
    evaluation = evaluated(records)
    return Written(records, evaluation, plan_book(evaluation))


def result_of(evaluation: Evaluation, sample: str = "SED-02") -> Result:
    (result,) = [result for result in evaluation.results if result.sample == sample]
    return result


def mass_rows(result: Result) -> dict[str, BudgetRow]:
    """Rows of the weighing, its balance, and air."""
    return {row.symbol: row for row in result.budget if row.group in ("weighing", "buoyancy")}
