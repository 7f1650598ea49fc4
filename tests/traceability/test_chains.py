"""Chains: that they hold what a result depends on and nothing else, on the certificate of the day."""

from __future__ import annotations

import math
import random
from pathlib import Path

import pytest

from tests.traceability.chain_run import write_chain_run
from ubudget.evaluation.evaluate import Evaluation, evaluate
from ubudget.evaluation.traceability import Chain, chain_of, chains
from ubudget.files.reading import read_records, records_from_texts
from ubudget.records.records import Edit

ROOT = Path(__file__).parents[2]
HARBOUR = ROOT / "worked_examples" / "harbour_sediment"
RIVER = ROOT / "worked_examples" / "river_manganese"
G, R = "register.toml", "run.toml"
PROPERTY = '\n[[reference_material.certificate.property]]\nvalue = "1001 mg/L"\nU = "4 mg/L"\nk = 2\nanalyte = "Zn"\n'


def _evaluated(path: Path) -> Evaluation:
    records, findings = read_records(path)
    assert records is not None, [finding.line() for finding in findings]
    evaluation, findings = evaluate(records)
    assert evaluation is not None
    return evaluation


def _items(chain: Chain) -> list[str]:
    return [link.evidence.item for link in chain.links]


def test_the_chain_of_a_diluted_zinc_result() -> None:
    """By hand from the files of the demonstration: samples.csv, solutions.csv, method.toml, register.toml."""
    evaluation = _evaluated(HARBOUR)
    row = next(n for n, key in enumerate(evaluation.keys) if (key.sample, key.analyte) == ("SED-07", "Zn"))
    chain = chain_of(evaluation, row)
    links = {link.evidence.item: link for link in chain.links}
    assert set(links) == {"STK-ZN", "F50", "TH-2", "F50-9", "P5-1", "BAL", "OV-1", "NS-MASS", "SI-KG"}
    assert {item: link.operations for item, link in links.items() if link.operations} == {
        "STK-ZN": ("c",),
        "F50": ("V", "V_blank"),
        "TH-2": ("V",),
        "F50-9": ("f",),
        "P5-1": ("f",),
        "BAL": ("m",),
        "OV-1": ("F_dry",),
    }
    assert links["NS-MASS"].lower == ("BAL",)
    assert links["SI-KG"].lower == ("NS-MASS",)
    stock = links["STK-ZN"].evidence
    assert (stock.value, stock.unit, stock.U, stock.k, stock.u, stock.lot) == (998, "mg/L", 3, 2, 1.5, "ZN-2504")
    assert [(use.step, use.day.isoformat()) for use in stock.uses] == [("preparation", "2026-03-17")]
    assert [(use.step, use.day.isoformat()) for use in links["BAL"].evidence.uses] == [("weighing", "2026-03-16")]
    assert {link.ending for link in chain.links if link.operations} == {"SI"}


@pytest.mark.parametrize("folder", [HARBOUR, RIVER], ids=["harbour", "river"])
def test_every_shipped_chain_ends(folder: Path) -> None:
    evaluation = _evaluated(folder)
    assert [finding for finding in evaluation.findings if finding.severity != "note"] == []
    for chain in chains(evaluation):
        assert chain.links
        assert {link.ending for link in chain.links if link.operations} == {"SI"}
        assert {link.evidence.status for link in chain.links} <= {"valid", "reference"}


@pytest.mark.parametrize("folder", [HARBOUR, RIVER], ids=["harbour", "river"])
def test_a_certificate_moves_exactly_the_results_that_name_it(folder: Path) -> None:
    """Doubling U of a certificate adds three times its variance, (2² - 1)(c·u)², and to no other result anything."""
    evaluation = _evaluated(folder)
    found = chains(evaluation)
    register = evaluation.records.register
    assert register is not None
    tables = {"equipment": register.equipment, "reference_material": register.reference_materials}
    cited = {"TH-2", "OV-1"}
    looked_at = 0
    for table, items in tables.items():
        for number, item in enumerate(items):
            certificate = item.certificates[0]
            if not certificate.properties or item.id in cited:
                continue
            for place, prop in enumerate(certificate.properties):
                path = (table, number, "certificate", 0, "property", place, "U")
                records, _ = records_from_texts(
                    evaluation.records.texts, [Edit("register", path, 2 * prop.U.value, prop.U.unit)]
                )
                assert records is not None
                changed, _ = evaluate(records)
                assert changed is not None
                for row, chain in enumerate(found):
                    named = any(
                        link.evidence.item == item.id and link.evidence.certified == prop for link in chain.links
                    )
                    old, new = (one.results[row].standard_uncertainty for one in (evaluation, changed))
                    assert old is not None and new is not None
                    assert (new > old) == named, (item.id, chain.sample, chain.analyte)
                    looked_at += named
    assert looked_at >= 80


def test_the_share_of_a_stock_is_what_its_certificate_adds() -> None:
    evaluation = _evaluated(HARBOUR)
    stocks = evaluation.records.register.reference_materials if evaluation.records.register else ()
    number = next(n for n, item in enumerate(stocks) if item.id == "STK-PB")
    path = ("reference_material", number, "certificate", 0, "property", 0, "U")
    records, _ = records_from_texts(evaluation.records.texts, [Edit("register", path, 8.0, "mg/L")])
    assert records is not None
    changed, _ = evaluate(records)
    assert changed is not None
    for row, chain in enumerate(chains(evaluation)):
        link = next((link for link in chain.links if link.evidence.item == "STK-PB"), None)
        if link is None:
            continue
        assert link.contribution is not None
        old, new = (one.results[row].standard_uncertainty or 0.0 for one in (evaluation, changed))
        assert math.isclose(new**2 - old**2, 3 * link.contribution**2, rel_tol=1e-6)


def _with_second(folder: Path, issued: str) -> Evaluation:
    """The clean run with a second certificate of the stock, 1 % higher."""
    second = (
        'number = "C-78"\nissuer = "Invented producer"\naccreditation = "X 2"\nroute = "accredited producer"\n'
        f'issued = {issued}\ndue = 2027-03-04\ntraceable_to = "PRIMARY"\n'
    )
    added = f"{PROPERTY}\n[[reference_material.certificate]]\n{second}{PROPERTY.replace('1001', '1011.01')}"
    return _evaluated(write_chain_run(folder, (G, PROPERTY, added)))


@pytest.mark.parametrize(
    ("issued", "number", "ratio"),
    [("2026-03-08", "C-78", 1.01), ("2026-03-09", "C-78", 1.01), ("2026-03-10", "C-77", 1.0)],
)
def test_the_newest_certificate_of_the_day_of_preparation_counts(
    issued: str, number: str, ratio: float, tmp_path: Path
) -> None:
    """Standards were prepared on 2026-03-09 and read on 2026-03-10; the factors differ by 1 % by construction."""
    (tmp_path / "a").mkdir()
    plain = _evaluated(write_chain_run(tmp_path / "a"))
    (tmp_path / "b").mkdir()
    two = _with_second(tmp_path / "b", issued)
    (chain, *_) = chains(two)
    stock = next(link.evidence for link in chain.links if link.evidence.item == "ST-ZN")
    assert stock.certificate is not None and stock.certificate.number == number
    assert stock.status == "valid"
    old, new = plain.results[0].value, two.results[0].value
    assert old is not None and new is not None
    assert math.isclose(new / old, ratio, rel_tol=1e-12)


def test_an_item_of_two_steps_has_its_first_day(tmp_path: Path) -> None:
    """The flask is filled at digestion (03-05) and again for a dilution at measurement (03-10)."""
    evaluation = _evaluated(write_chain_run(tmp_path))
    evidence = next(
        link.evidence for chain in chains(evaluation) for link in chain.links if link.evidence.item == "F50-2"
    )
    assert [use.day.day for use in evidence.uses] == [5, 10]


def test_standards_taken_as_exact_keep_their_stock(tmp_path: Path) -> None:
    exact = 'scatter = "own"\nstandards = "exact"\nstandards_exact = "tested against the scatter"\n'
    evaluation = _evaluated(write_chain_run(tmp_path, ("method.toml", 'scatter = "own"\n', exact)))
    assert all("ST-ZN" in _items(chain) for chain in chains(evaluation))


def test_no_k_is_limits(tmp_path: Path) -> None:
    """U without k as half-width of a rectangular distribution: u = U/√3 (GUM 4.3.7)."""
    change = (G, 'U = "4 mg/L"\nk = 2\n', 'U = "4 mg/L"\n')
    evaluation = _evaluated(write_chain_run(tmp_path, change))
    row = next(row for row in evaluation.results[0].budget if row.symbol == "c_stock")
    assert row.distribution == "rectangular"
    assert math.isclose(row.standard_uncertainty or 0.0, 4 / math.sqrt(3), rel_tol=1e-14)
    chain = chains(evaluation)[0]
    stock = next(link.evidence for link in chain.links if link.evidence.item == "ST-ZN")
    assert stock.k is None
    assert stock.u is not None and math.isclose(stock.u, 4 / math.sqrt(3), rel_tol=1e-14)


def test_references_in_any_order_are_walked_to_their_end(tmp_path: Path) -> None:
    """A chain of drawn length through references in drawn order, closed or not."""
    rng = random.Random(20260310)
    for trial in range(12):
        length, closed = rng.randint(1, 6), bool(trial % 2)
        names = [f"S{number}" for number in range(length)]
        tables = [
            f'[[reference]]\nid = "{name}"\ndescription = "x"\nkind = "national standard"\n'
            f'traceable_to = "{names[at + 1] if at + 1 < length else names[0] if closed else "KG"}"\n'
            for at, name in enumerate(names)
        ]
        rng.shuffle(tables)
        folder = tmp_path / str(trial)
        folder.mkdir()
        changes = ((G, 'traceable_to = "KG"\n', f'traceable_to = "S0"\n{"".join(tables)}'),)
        evaluation = _evaluated(write_chain_run(folder, *changes))
        link = next(link for link in chains(evaluation)[0].links if link.evidence.item == "BAL-1")
        assert link.ending == ("loops" if closed else "SI")
        walked = [name for name in _items(chains(evaluation)[0]) if name in names]
        assert walked == names
