"""Bad balances, weights, weighings, air and minimum rules: each a clear finding, and never an exception."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import pytest

from tests.findings.test_bad_input import JARGON
from tests.weighing.weighing_runs import (
    AIR,
    BALANCES,
    BY_LOAD,
    CERTIFICATE,
    CERTIFIED_WEIGHT,
    CG18,
    CHECKED,
    CONDITIONS,
    DIFFERENCE,
    DIRECT,
    ERROR,
    FORMS,
    IN_USE,
    NET_SAMPLES,
    SAMPLE_DENSITY,
    SIMPLE,
    TARED,
    USP,
    WEIGHT,
    weighing_run,
)
from ubudget.evaluation.evaluate import evaluate
from ubudget.files.reading import read_records
from ubudget.records.finding import stops


class Bad(NamedTuple):
    options: dict[str, str]
    severity: str
    place: str
    words: str
    """Words that the finding's line holds, separated by `|`."""


def balance(text: str, **more: str) -> dict[str, str]:
    return {"balance": text, **more}


def points(*loads: str) -> str:
    return "".join(f'\n[[equipment.repeatability_at]]\nload = "{load}"\ns = "0.1 mg"\n' for load in loads)


def air(text: str) -> dict[str, str]:
    return {"more": f"\n[symbols.m.buoyancy]\n{text}"}


TEMPERATURE = 'estimate = "21.5 degC"\nhalf_width = "2 K"\ndistribution = "rectangular"\n'
APPLIED = 'treatment = "applied"\n'
B, M = "equipment 1 (BAL-1)", "symbol m"
BAD = {
    # balances
    "repeatability in two ways": Bad(balance(SIMPLE + points("1 g")), "stop", B, "repeatability and repeatability_at"),
    "loads unsorted": Bad(
        balance('resolution = "0.1 mg"\n' + points("1 g", "50 g", "20 g")),
        "stop",
        f"{B}, repeatability_at 3, load",
        "a load of 20 g after 50 g|rise",
    ),
    "a load twice": Bad(balance('resolution = "0.1 mg"\n' + points("1 g", "1000 mg")), "stop", B, "1000 mg after 1 g"),
    "load in another unit": Bad(balance(points("1 mL")), "stop", f"{B}, repeatability_at 1, load", "1 mL|a mass"),
    "eccentricity in another unit": Bad(
        balance(SIMPLE + 'eccentricity = "0.1 mL"\n'), "stop", f"{B}, eccentricity", "0.1 mL|a mass, e.g. 0.1 mg"
    ),
    "temperature coefficient without kelvin": Bad(
        balance(SIMPLE + 'temperature_coefficient = "2e-6"\ntemperature_half_range = "3 K"\n'),
        "stop",
        f"{B}, temperature_coefficient",
        "2e-6|1/K",
    ),
    "drift as a mass": Bad(balance(SIMPLE + 'adjustment_drift = "0.1 mg"\n'), "stop", B, "a relative number"),
    "temperature without range": Bad(
        balance(SIMPLE + 'temperature_coefficient = "2e-6 1/K"\n'), "stop", B, "without temperature_half_range"
    ),
    "range without coefficient": Bad(
        balance(SIMPLE + 'temperature_half_range = "2 K"\n'), "stop", B, "without temperature_coefficient"
    ),
    "load of no eccentricity": Bad(
        balance(SIMPLE + 'eccentricity_load = "50 g"\n'), "stop", B, "eccentricity_load without eccentricity"
    ),
    "one check weighing": Bad(
        balance('check_weighings = ["50 g"]\n'), "stop", f"{B}, check_weighings", "gives no scatter"
    ),
    "check weighing in another unit": Bad(
        balance('check_weighings = ["50 g", "50 mL"]\n'), "stop", f"{B}, check_weighings 2", "50 mL|a mass"
    ),
    "check weight without readings": Bad(
        balance(SIMPLE + 'check_weight = "W-50"\n', register=WEIGHT), "stop", f"{B}, check_weight", "without readings"
    ),
    "unknown check weight": Bad(balance(CHECKED), "stop", f"{B}, check_weight", "W-50, which is not in the register"),
    "check weight that is a flask": Bad(
        balance(CHECKED.replace("W-50", "F50-2")), "stop", f"{B}, check_weight", "which is a flask"
    ),
    "check weight of unknown error": Bad(
        balance(CHECKED, register=WEIGHT.replace('accuracy_class = "F1"\n', "")),
        "stop",
        f"{B}, check_weight",
        "whose error is unknown",
    ),
    "check weight beside linearity": Bad(
        balance(CHECKED + 'linearity = "0.2 mg"\n', register=WEIGHT),
        "attend",
        f"{B}, check_weight",
        "W-50 beside linearity",
    ),
    "unknown distribution": Bad(
        balance(SIMPLE + 'eccentricity = "0.1 mg"\neccentricity_distribution = "normal"\n'),
        "stop",
        f"{B}, eccentricity_distribution",
        '"normal"|rectangular',
    ),
    "limits of a balance on a flask": Bad(
        balance(SIMPLE, register='\n[[equipment]]\nid = "X"\nkind = "oven"\ndescription = "x"\nlinearity = "1 mg"\n'),
        "attend",
        "equipment 2 (X)",
        "linearity with the kind oven",
    ),
    # certificates
    "both forms of certificate": Bad(
        balance(CERTIFICATE + ERROR + IN_USE), "attend", B, "in_use|beside a certified value|take away the property"
    ),
    "U in use beside components": Bad(
        balance(SIMPLE + CERTIFICATE + IN_USE),
        "attend",
        B,
        "beside resolution, linearity, repeatability|take away resolution, linearity, repeatability, or in_use",
    ),
    "alpha as a volume": Bad(
        balance(CERTIFICATE + IN_USE.replace("0.24 mg", "0.24 mL")), "stop", B, "in_use, alpha|0.24 mL|a mass"
    ),
    "beta as a mass": Bad(
        balance(CERTIFICATE + IN_USE.replace("3.1e-6", "3.1 mg")), "stop", B, "in_use, beta|3.1 mg|relative"
    ),
    "U in use of nothing": Bad(
        balance(CERTIFICATE + IN_USE.replace("0.24 mg", "0 mg").replace("3.1e-6", "0")), "stop", B, "alpha and beta of"
    ),
    "U in use without k": Bad(balance(CERTIFICATE + IN_USE.replace("k = 2\n", "")), "stop", B, "in_use, k|add k"),
    "certified value beside linearity": Bad(
        balance('linearity = "0.2 mg"\n' + CERTIFICATE + ERROR), "attend", B, "counted twice|keep one"
    ),
    # weights
    "class that is none": Bad(
        balance(CHECKED, register=WEIGHT.replace('"F1"', '"F3"')),
        "stop",
        "equipment 2 (W-50), accuracy_class",
        '"F3"|"E1", "E2", "F1", "F2", "M1", "M2" or "M3"',
    ),
    "weight that the table lacks": Bad(
        balance(CHECKED, register=WEIGHT.replace('"50 g"', '"60 g"')),
        "stop",
        "equipment 2 (W-50), nominal",
        "a weight of 60 g in class F1|OIML R 111-1:2004, Table 1",
    ),
    "class without nominal": Bad(
        balance(CHECKED, register=WEIGHT.replace('nominal = "50 g"\n', "")), "stop", "equipment 2", "without nominal"
    ),
    "nominal as a volume": Bad(
        balance(CHECKED, register=WEIGHT.replace('"50 g"', '"50 mL"')), "stop", "equipment 2 (W-50), nominal", "50 mL"
    ),
    "class and tolerance": Bad(
        balance(CHECKED, register=WEIGHT + 'tolerance = "0.1 mg"\n'), "stop", "equipment 2", "together|one of them"
    ),
    "class of a balance": Bad(
        balance(SIMPLE + 'accuracy_class = "E2"\n'),
        "stop",
        f"{B}, accuracy_class",
        "an accuracy_class with the kind balance",
    ),
    # form
    "net under by difference": Bad(
        {"form": DIFFERENCE + 'net_column = "net"\n'}, "stop", f"{M}, net_column", 'net_column under reading = "by diff'
    ),
    "gross under tared": Bad(
        {"form": TARED + 'gross_column = "gross"\n'}, "stop", f"{M}, gross_column", 'under reading = "tared"|net for'
    ),
    "direct without its reading": Bad(
        {"form": 'reading = "direct"\n'}, "stop", M, '"direct" without its reading|net_column, or net'
    ),
    "vessel of a direct reading": Bad({"form": DIRECT + 'vessel = "3 g"\n'}, "stop", f"{M}, vessel", "vessel under"),
    "unknown form": Bad({"form": DIRECT.replace("direct", "tarred")}, "stop", f"{M}, reading", '"tarred"|"tared"'),
    "no column net": Bad({"form": DIRECT.replace('"net"', '"mass"')}, "stop", "headings", "no column mass"),
    "tared without vessel": Bad(
        {"form": TARED.replace('vessel = "12 g"\n', ""), "balance": BY_LOAD}, "attend", f"{M}, vessel", "vessel"
    ),
    "limits beside the balance": Bad(
        {"form": DIFFERENCE + 'linearity = "0.1 mg"\n'}, "attend", M, "linearity beside the balance BAL-1"
    ),
    "negative net mass": Bad(
        {"form": TARED, "samples": NET_SAMPLES.replace("0.4989", "-0.4989")},
        "stop",
        "row 2 (SED-02), net",
        "a net mass of -0.4989|above zero",
    ),
    "net mass of zero": Bad(
        {"form": DIRECT, "samples": NET_SAMPLES.replace("0.5022", "0")}, "stop", "row 1 (SED-01), net", "net mass of 0"
    ),
    "gross below tare": Bad(
        {"samples": "sample,kind,tare [g],gross [g],moisture [%]\nSED-01,,12.5,12.1,3\nSED-02,,12,12.5,3\n"},
        "stop",
        "row 1 (SED-01), gross",
        "no mass above zero|exchanged",
    ),
    # buoyancy
    "no densities": Bad(air(APPLIED), "stop", f"{M}, buoyancy", "no density of air|air_density; formula"),
    "no density of the sample": Bad(
        {"more": AIR["stated"].replace(SAMPLE_DENSITY, "")}, "stop", f"{M}, buoyancy", "no density of the sample"
    ),
    "air in two ways": Bad(
        {"more": AIR["stated"].replace(APPLIED, APPLIED + 'formula = "CIPM-2007"\n')},
        "stop",
        f"{M}, buoyancy",
        "air_density and formula together",
    ),
    "conditions without formula": Bad(
        air(APPLIED + CONDITIONS + SAMPLE_DENSITY), "stop", f"{M}, buoyancy", "calculated without formula"
    ),
    "formula without pressure": Bad(
        {"more": AIR["simplified"].replace("pressure", "carbon_dioxide").replace('"1008 hPa"', '"400 ppm"')},
        "stop",
        f"{M}, buoyancy",
        "calculated without pressure",
    ),
    "carbon dioxide in the short formula": Bad(
        {"more": AIR["CIPM-2007"].replace('"CIPM-2007"', '"simplified"')}, "stop", M, "does not know"
    ),
    "temperature in kelvin": Bad(
        {"more": AIR["CIPM-2007"].replace("21.5 degC", "294.65 K")},
        "stop",
        f"{M}, buoyancy, temperature",
        "294.65 K|degC",
    ),
    "one reading of the temperature in kelvin": Bad(
        {"more": AIR["CIPM-2007"].replace(TEMPERATURE, 'readings = ["21.4 degC", "294.7 K"]\n')},
        "stop",
        f"{M}, buoyancy, temperature",
        "294.7 K|degC",
    ),
    "pressure as a density": Bad(
        {"more": AIR["CIPM-2007"].replace("1008 hPa", "1008 kg/m^3")}, "stop", f"{M}, buoyancy, pressure", "hPa"
    ),
    "pressure out of range": Bad(
        {"more": AIR["CIPM-2007"].replace("1008 hPa", "1008 mbar").replace("1008", "580")},
        "attend",
        f"{M}, buoyancy, pressure",
        "600 hPa to 1100 hPa|CIPM-2007",
    ),
    "density of zero": Bad({"more": AIR["stated"].replace("2650", "0")}, "stop", M, "above zero"),
    "density without uncertainty": Bad(
        {"more": AIR["stated"].replace('u = "0.02 kg/m^3"\n', "")},
        "stop",
        f"{M}, buoyancy, air_density",
        "no uncertainty",
    ),
    "density without estimate": Bad(
        {"more": AIR["stated"].replace('estimate = "1.19 kg/m^3"\n', "")}, "stop", M, "no estimate"
    ),
    "density of the weights in another unit": Bad(
        {"more": AIR["simplified"].replace("8.0 g/cm^3", "8.0 g")}, "stop", f"{M}, buoyancy, weights_density", "8.0 g"
    ),
    "left out without a word": Bad(
        air('treatment = "left out"\n'), "stop", f"{M}, buoyancy", "no density of air|bound"
    ),
    "bound where it is applied": Bad(air(APPLIED + 'bound = "0.1 %"\n'), "stop", f"{M}, buoyancy, bound", "is applied"),
    "bound beside densities": Bad(
        {"more": AIR["left out"].replace("left out", 'left out"\nbound = "0.1 %', 1)},
        "stop",
        f"{M}, buoyancy, bound",
        "beside densities",
    ),
    "bound as a mass": Bad(air('treatment = "left out"\nbound = "1 mg"\n'), "stop", M, "1 mg|relative"),
    "unknown treatment": Bad(
        air('treatment = "ignored"\n'), "stop", f"{M}, buoyancy, treatment", '"ignored"|"applied"'
    ),
    "air of itself": Bad(
        air(APPLIED + 'air_of = "m"\n' + SAMPLE_DENSITY), "stop", f"{M}, buoyancy, air_of", "no density of air"
    ),
    "air of an unknown symbol": Bad(
        air(APPLIED + 'air_of = "m9"\n' + SAMPLE_DENSITY), "stop", f"{M}, buoyancy, air_of", "m9|states its air"
    ),
    # minimum
    "rule without factor": Bad(
        {"more": USP.replace("factor = 2\n", "")}, "stop", f"{M}, minimum", "USP <41> without factor|add factor"
    ),
    "rule without requirement": Bad(
        {"more": CG18.replace('requirement = "0.1 %"\n', ""), "balance": BALANCES["in use"]},
        "stop",
        f"{M}, minimum",
        "cg-18 without requirement",
    ),
    "parameter of the other rule": Bad({"more": USP + "safety_factor = 2\n"}, "stop", M, "safety_factor under"),
    "requirement as a mass": Bad({"more": USP.replace("0.10 %", "1 mg")}, "stop", f"{M}, minimum, requirement", "1 mg"),
    "rule without repeatability": Bad(
        {"more": USP, "balance": 'resolution = "0.1 mg"\nlinearity = "0.2 mg"\n'}, "stop", M, "without repeatability"
    ),
    "rule without resolution": Bad(
        {"more": USP, "balance": 'repeatability = "0.1 mg"\n'}, "stop", M, "without resolution"
    ),
    "U in use of a certificate after the run": Bad(
        {"more": CG18, "balance": SIMPLE + CERTIFICATE.replace("issued = 2025", "issued = 2026") + IN_USE},
        "stop",
        f"{M}, minimum",
        "without U in use",
    ),
    "negative net mass in the method": Bad(
        {"form": 'reading = "direct"\nnet = "-0.5 g"\n', "samples": NET_SAMPLES},
        "stop",
        f"{M}, net",
        "a net mass of -0.5 g",
    ),
    "rule without U in use": Bad({"more": CG18}, "stop", f"{M}, minimum", "without U in use"),
    "requirement that no mass meets": Bad(
        {"more": CG18.replace("0.1 %", "0.0005 %"), "balance": BALANCES["in use"]}, "stop", M, "that no mass meets"
    ),
    "unknown rule": Bad({"more": USP.replace("USP <41>", "USP 41")}, "stop", f"{M}, minimum, rule", "USP 41"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_weighings_are_told(name: str, tmp_path: Path) -> None:
    options, severity, place, words = BAD[name]
    records, findings = read_records(weighing_run(tmp_path, **options))
    lines = [finding.line() for finding in findings]
    fitting = [
        finding
        for finding in findings
        if finding.severity == severity
        and finding.place.startswith(place)
        and all(word in finding.line() for word in words.split("|"))
    ]
    assert fitting, lines
    assert all(finding.found and finding.accepted and finding.remedy for finding in findings)
    assert not any(JARGON.search(line) for line in lines)
    assert (records is None) == bool(stops(findings))
    if records is not None:
        assert evaluate(records)[0] is not None


GOOD = {
    **{
        f"{balance} {form}": {"balance": BALANCES[balance], "form": FORMS[form]}
        for balance in BALANCES
        for form in FORMS
    },
    **{f"air {name}": {"more": more} for name, more in AIR.items()},
    "U in use and what USP <41> needs": {
        "balance": 'resolution = "0.1 mg"\nrepeatability = "0.1 mg"\n' + CERTIFICATE + IN_USE,
        "more": USP,
    },
    "a weight with a certificate": {"balance": CHECKED, "register": CERTIFIED_WEIGHT},
}


@pytest.mark.parametrize("name", GOOD)
def test_good_weighings_have_no_finding(name: str, tmp_path: Path) -> None:
    options = GOOD[name]
    register = options.get("register", WEIGHT)
    records, findings = read_records(weighing_run(tmp_path, **(options | {"register": register})))
    assert records is not None and findings == []


def test_u_in_use_beside_a_covered_repeatability(tmp_path: Path) -> None:
    folder = weighing_run(tmp_path, balance=BALANCES["in use"])
    text = (folder / "method.toml").read_text(encoding="utf-8")
    (folder / "method.toml").write_text(
        text.replace('"weighing repeatability" = "counted"', '"weighing repeatability" = "covered by R"'),
        encoding="utf-8",
    )
    _, findings = read_records(folder)
    (finding,) = findings
    assert finding.severity == "attend" and "counted twice" in finding.found and "in_use" in finding.remedy


def test_one_weighing_of_the_method_for_several_portions(tmp_path: Path) -> None:
    """What was weighed once is one deviation, not a new one in each portion (JCGM 100:2008, 5.2.4)."""
    form = 'tare = "12.1 g"\ngross = "12.6 g"\n'
    samples = "sample,portion,kind,moisture [%]\nSED-01,1,,3.1\nSED-02,1,,2.9\nBL-1,1,blank,\nBL-2,1,blank,\n"
    _, findings = read_records(weighing_run(tmp_path, form=form, samples=samples))
    (finding,) = findings
    assert finding.severity == "attend" and finding.place == "symbol m, tare"
    assert "one weighing for 2 portions" in finding.found and "input" in finding.accepted


def test_many_faults_are_told_at_once(tmp_path: Path) -> None:
    bad = SIMPLE + 'eccentricity = "0.1 mL"\n' + points("5 g", "2 g")
    _, findings = read_records(weighing_run(tmp_path, balance=bad, more=USP.replace("factor = 2\n", "")))
    assert len(stops(findings)) == 4
