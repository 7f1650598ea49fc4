"""Each fault of the evidence, planted alone in a clean chain, has its finding and no other.

What each is checked against: ISO/IEC 17025:2017, 6.4.7 (due on the day), 6.5 (unbroken chain), 6.5.3 (measurand that a
procedure defines), 7.8.4.1 (U of certificates received); ILAC P10:07/2020 (routes); VIM 2.40 (u along a chain).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.traceability.chain_run import write_chain_run
from ubudget.evaluation.evaluate import evaluate
from ubudget.files.reading import read_records
from ubudget.records.finding import Finding

G, M, R = "register.toml", "method.toml", "run.toml"
BALANCE = 'number = "E-1"\nissuer = "Invented service"\naccreditation = "X 1"\nroute = "accredited laboratory"\n'
BALANCE_DATES = BALANCE + "issued = 2025-03-04\ndue = 2027-03-04\n"
STOCK = "reference_material 1 (ST-ZN), certificate 1 (C-77)"
SPARE = '[[equipment]]\nid = "SPARE"\nkind = "other"\ndescription = "x"\n'
SECOND = '[[reference]]\nid = "NS-2"\ndescription = "x"\nkind = "national standard"\ntraceable_to = "NS-MASS"\n'
BAL = "equipment 1 (BAL-1), certificate 1 (E-1)"


@dataclass(frozen=True)
class Fault:
    name: str
    changes: tuple[tuple[str, str, str], ...]
    file: str
    place: str
    words: str


def _dates(issued: str, due: str) -> tuple[tuple[str, str, str], ...]:
    return ((G, BALANCE_DATES, BALANCE + f"issued = {issued}\ndue = {due}\n"),)


FAULTS = (
    Fault(
        "expired on the day of weighing",
        _dates("2025-03-04", "2026-03-03"),
        G,
        f"{BAL}, due",
        "before use on 2026-03-04 (weighing)",
    ),
    Fault(
        "not yet valid", _dates("2026-03-05", "2027-03-05"), G, f"{BAL}, issued", "after use on 2026-03-04 (weighing)"
    ),
    Fault(
        "lot expired",
        ((G, 'lot = "L1"\n', 'lot = "L1"\nexpiry = 2026-03-08\n'),),
        G,
        f"{STOCK}, expiry",
        "before use on 2026-03-09 (preparation)",
    ),
    Fault(
        "missing certificate",
        (
            (
                G,
                '[[equipment.certificate]]\nnumber = "E-2"',
                f'{SPARE}[[equipment.certificate]]\nnumber = "E-2"',
            ),
        ),
        G,
        "equipment 2 (F50-2)",
        "no certificate",
    ),
    Fault("U without k", ((G, 'U = "4 mg/L"\nk = 2\n', 'U = "4 mg/L"\n'),), G, STOCK, "without k"),
    Fault(
        "smaller than its reference",
        ((G, 'U = "4 mg/L"', 'U = "1 mg/L"'),),
        G,
        STOCK,
        "relative u 0.05 %, smaller than that of its reference PRIMARY, 0.1 %",
    ),
    Fault("no lot", ((G, 'lot = "L1"\n', ""),), G, STOCK, "no lot"),
    Fault(
        "same lot for the check",
        ((G, 'lot = "L2"', 'lot = "L1"'),),
        "samples.csv",
        "row 5 (CHK), material",
        "no independent check",
    ),
    Fault(
        "no route",
        ((G, BALANCE, BALANCE.replace('route = "accredited laboratory"\n', "")),),
        G,
        f"{BAL}, route",
        "no route",
    ),
    Fault(
        "route without evidence",
        ((G, BALANCE, BALANCE.replace("accredited laboratory", "other with evidence")),),
        G,
        f"{BAL}, evidence",
        "without evidence",
    ),
    Fault(
        "accredited by nobody",
        ((G, BALANCE, BALANCE.replace('accreditation = "X 1"\n', "")),),
        G,
        f"{BAL}, accreditation",
        "without accreditation",
    ),
    Fault(
        "words only",
        ((G, 'traceable_to = "kilogram"\nends_at = "SI"\n', 'traceable_to = "kilogram"\n'),),
        G,
        "equipment 2 (F50-2), certificate 1 (E-2)",
        'stops at "kilogram"',
    ),
    Fault("national standard of nothing", ((G, 'traceable_to = "KG"\n', ""),), G, "reference 1 (NS-MASS)", "stops"),
    Fault(
        "chain in a circle",
        (
            (
                G,
                'traceable_to = "KG"\n',
                f'traceable_to = "NS-2"\n{SECOND}',
            ),
        ),
        G,
        "reference 2 (NS-2)",
        "BAL-1 > NS-MASS > NS-2 > NS-MASS",
    ),
    Fault(
        "load above the range",
        ((G, BALANCE, BALANCE + 'range_to = "12.55 g"\n'),),
        G,
        f"{BAL}, range",
        "SED-02 12.6001 g",
    ),
    Fault("figure of the method differs", ((M, "U = 0.02\n", "U = 0.021\n"),), M, "symbol R", "certified u = 0.01"),
    Fault(
        "figure of the superseded certificate",
        ((M, "U = 0.02\n", "U = 0.03\n"),),
        M,
        "symbol R",
        "superseded certificate F-1",
    ),
    Fault("estimate differs", ((M, "estimate = 1.01\n", "estimate = 1.02\n"),), M, "symbol R", "certified 1.01"),
    Fault(
        "method-defined measurand",
        ((M, '"mass fraction of zinc"', '"mass fraction of leachable zinc"'),),
        M,
        "method, defined_by",
        "leach",
    ),
)


def _findings(folder: Path, *changes: tuple[str, str, str]) -> list[Finding]:
    records, findings = read_records(write_chain_run(folder, *changes))
    assert records is not None, [finding.line() for finding in findings]
    evaluation, findings = evaluate(records)
    assert evaluation is not None
    return findings


def test_a_clean_chain_has_no_finding(tmp_path: Path) -> None:
    assert _findings(tmp_path) == []


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_a_planted_fault_has_its_finding(fault: Fault, tmp_path: Path) -> None:
    findings = _findings(tmp_path, *fault.changes)
    assert [(f.severity, f.file, f.place) for f in findings] == [("attend", fault.file, fault.place)], [
        f.line() for f in findings
    ]
    assert fault.words in findings[0].found


BY_BALANCE = """
[symbols.m_w]
operation = "input"
quantity = "mass of a weight on the balance"
unit = "g"
estimate = "0.5 g"
STATED
item = "BAL-1"

[symbols.m_n]
operation = "input"
quantity = "its nominal mass"
unit = "g"
estimate = "0.5 g"
exact = true

[symbols.R]
"""


@pytest.mark.parametrize(
    ("stated", "told"),
    [
        ('U = "0.2 mg"\nk = 2', None),
        ('u = "0.15 mg"', None),
        ('U = "0.4 mg"\nk = 2', "certified u = 0.1 mg"),
    ],
)
def test_a_mass_weighed_is_not_the_certified_error_of_the_balance(
    stated: str, told: str | None, tmp_path: Path
) -> None:
    """Certified: error of indication 0 mg, U = 0.2 mg with k = 2 (what a calibration of a balance states: EURAMET
    cg-18, section 7.1, from memory). A mass of 0.5 g is no other figure of it; U quoted with k is, and may differ."""
    findings = _findings(
        tmp_path,
        (M, "\n[symbols.R]\n", BY_BALANCE.replace("STATED", stated)),
        (M, "/m*F*R", "/m*F*R*m_w/m_n"),
    )
    found = [(f.place, f.found) for f in findings if f.severity == "attend"]
    assert [place for place, _ in found] == ([] if told is None else ["symbol m_w"])
    assert all(told is not None and told in words for _, words in found)


def test_ware_by_its_class_is_a_note(tmp_path: Path) -> None:
    ware = 'tolerance = "0.06 mL"\n'
    findings = _findings(tmp_path, (G, ware, f'{ware}tolerance_source = "ISO 1042, class A"\n{SPARE}'))
    assert [(f.severity, f.place) for f in findings] == [("note", "equipment")]
    assert "F50-2" in findings[0].found
