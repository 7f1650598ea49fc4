"""The chain as command, drawing and sheet."""

from __future__ import annotations

import json
import math
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import pytest

from tests.commands.running import run, widest
from tests.engines import compare, ironcalc_values, ironcalc_variants, require_engine, stored_values
from tests.traceability.chain_run import write_chain_run
from tests.workbooks.books import HARBOUR, written
from ubudget.pages.book import Band, BandColumn

ROOT = Path(__file__).parents[2]
RIVER = ROOT / "worked_examples" / "river_manganese"
G = "register.toml"
BALANCE_DATES = 'route = "accredited laboratory"\nissued = 2025-03-04\ndue = 2027-03-04\n'
LAST_DAY = (G, BALANCE_DATES, BALANCE_DATES.replace("2027", "2026"))
EXPIRED = (G, BALANCE_DATES, BALANCE_DATES.replace("2027-03-04", "2026-03-03"))
LINK = {
    "item", "certificate", "lot", "issuer", "accreditation", "value", "unit", "expanded_uncertainty",
    "coverage_factor", "standard_uncertainty", "issued", "due", "route", "status", "traceable_to",
}  # fmt: skip


@pytest.mark.parametrize("folder", [HARBOUR, RIVER], ids=["harbour", "river"])
def test_the_tree_fits_80_columns(folder: Path, tmp_path: Path) -> None:
    done = run("trace", folder, folder=tmp_path)
    assert (done.status, done.faults) == (0, "")
    assert widest(done.out) <= 80
    assert "[!" not in done.out


def test_one_result_as_json(tmp_path: Path) -> None:
    done = run("trace", HARBOUR, "--result", "SED-05/Pb", "--json", "-", folder=tmp_path)
    told = json.loads(done.out)
    assert done.status == 0 and not [f for f in told["findings"] if f["severity"] != "note"]
    (chain,) = told["chains"]
    assert (chain["sample"], chain["analyte"], chain["line"]) == ("SED-05", "Pb", "220.353")
    assert all(link.keys() >= LINK for link in chain["links"])
    stock = next(link for link in chain["links"] if link["item"] == "STK-PB")
    # As the register of the demonstration has it.
    assert (stock["lot"], stock["certificate"], stock["route"]) == ("PB-2508", "RS-25-PB-2508", "accredited producer")
    assert (stock["value"], stock["unit"], stock["expanded_uncertainty"]) == (1003, "mg/L", 4)
    assert (stock["coverage_factor"], stock["standard_uncertainty"], stock["status"]) == (2, 2, "valid")
    assert (stock["issued"], stock["due"]) == ("2025-07-21", "2027-01-31")
    total = sum(link["share"] or 0 for link in chain["links"]) + sum(part["share"] for part in chain["without_item"])
    assert math.isclose(total, 1, rel_tol=1e-9)


def test_a_fault_shows_and_asks_for_a_look(tmp_path: Path) -> None:
    """The last day of a certificate is a day on which it holds."""
    (tmp_path / "last").mkdir()
    assert run("trace", write_chain_run(tmp_path / "last", LAST_DAY), folder=tmp_path).status == 0
    write_chain_run(tmp_path, EXPIRED)
    done = run("trace", ".", folder=tmp_path)
    assert done.status == 1
    assert "[! expired]" in done.out and "(weighing): expired" in done.out


def test_a_due_date_before_use_is_told_by_both_commands(tmp_path: Path) -> None:
    write_chain_run(tmp_path, EXPIRED)
    for command in ("trace", "evaluate"):
        done = run(command, ".", folder=tmp_path)
        assert done.status == 1
        assert "due 2026-03-03, before use on 2026-03-04" in " ".join((done.out + done.err).split())


def test_the_drawing_is_sound(tmp_path: Path) -> None:
    """Well-formed, every box apart from every other, text of the records escaped, a fault in words and in its frame."""
    hostile = (G, 'description = "flask 50 mL"', "description = '<script>&\"flask'")
    write_chain_run(tmp_path, EXPIRED, hostile)
    assert run("trace", ".", "--picture", "chain.svg", folder=tmp_path).status == 1
    root = ElementTree.fromstring((tmp_path / "chain.svg").read_text(encoding="utf-8"))
    space = "{http://www.w3.org/2000/svg}"
    texts = [text.text or "" for text in root.iter(f"{space}text")]
    assert any('<script>&"flask' in text for text in texts)
    assert not list(root.iter(f"{space}script"))
    assert "! expired" in texts
    frames = [box for box in root.iter(f"{space}rect") if box.get("stroke")]
    assert sum(1 for box in frames if box.get("stroke-dasharray")) == texts.count("! expired")
    edges = [tuple(float(box.get(name, "0")) for name in ("x", "y", "width", "height")) for box in frames]
    for (x1, y1, w1, h1), (x2, y2, w2, h2) in combinations(edges, 2):
        assert x1 + w1 <= x2 or x2 + w2 <= x1 or y1 + h1 <= y2 or y2 + h2 <= y1
    width, height = float(root.get("width", "0")), float(root.get("height", "0"))
    assert all(x >= 0 and y >= 0 and x + w <= width and y + h <= height for x, y, w, h in edges)


def test_an_existing_picture_is_kept(tmp_path: Path) -> None:
    (tmp_path / "chain.svg").write_text("mine", encoding="utf-8")
    done = run("trace", HARBOUR, "--picture", "chain.svg", folder=tmp_path)
    assert done.status == 2 and "exists already" in done.err
    assert (tmp_path / "chain.svg").read_text(encoding="utf-8") == "mine"


def test_a_new_value_of_a_stock_is_carried_through(tmp_path: Path) -> None:
    """The curve's standards are proportional to their stock; blank, line and samples read on it move alike."""
    done = run("trace", HARBOUR, RIVER, "--used", "STK-PB", "--value", "1013.03 mg/L", "--json", "-", folder=tmp_path)
    told = json.loads(done.out)
    assert {one["analyte"] for one in told["results"]} == {"Pb"}
    assert len(told["results"]) == 13
    for one in told["results"]:
        assert math.isclose(one["new_value"] / one["value"], 1.01, rel_tol=1e-9)


def test_the_contribution_of_an_item_is_that_of_the_budget(tmp_path: Path) -> None:
    used = json.loads(run("trace", HARBOUR, "--used", "STK-PB", "--json", "-", folder=tmp_path).out)["results"]
    results = json.loads(run("evaluate", HARBOUR, "--json", "-", folder=tmp_path).out)["results"]
    rows = {
        (result["sample"], result["line"]): row
        for result in results
        for row in result["budget"]
        if row["symbol"] == "c_stock" and result["analyte"] == "Pb"
    }
    assert len(used) == len(rows) == 13
    for one in used:
        row = rows[one["sample"], one["line"]]
        assert math.isclose(one["contribution"], abs(row["contribution"]), rel_tol=1e-12)
        assert math.isclose(one["share"], row["share"], rel_tol=1e-12)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--used", "STK-XX"), "STK-PB"),
        (("--used", "F50", "--U", "1 mL"), "no certified value"),
        (("--used", "STK-PB", "--value", "1,003 mg/L"), "decimal comma"),
        (("--used", "STK-PB", "--value", "1003 K"), "mg/L"),
        (("--value", "3 mg/L"), "--used"),
        (("--used", "STK-PB", "--result", "SED-05/Pb"), "--result"),
        (("--result", "SED-99/Pb"), "no such result"),
    ],
)
def test_what_cannot_be_done_is_told(words: tuple[str, ...], said: str, tmp_path: Path) -> None:
    done = run("trace", HARBOUR, *words, folder=tmp_path)
    assert done.status == 2
    assert said in " ".join(done.err.split())


def test_several_values_ask_for_the_analyte(tmp_path: Path) -> None:
    done = run("trace", RIVER, "--used", "STK-MNFE", "--value", "1000 mg/L", folder=tmp_path)
    assert done.status == 2 and "Mn, Fe" in done.err
    done = run("trace", RIVER, "--used", "STK-MNFE", "--value", "1000 mg/L", "--analyte", "Fe", folder=tmp_path)
    assert done.status == 0 and "Mn" not in done.out.partition("\n\n")[2]


def _band(name: str) -> Band:
    sheet = next(sheet for sheet in written(HARBOUR).book.sheets if sheet.name == "traceability")
    return next(band for band in sheet.bands if band.name == name)


def _column(band: Band, heading: str) -> tuple[int, BandColumn]:
    return next((n, column) for n, column in enumerate(band.columns, band.left) if column.heading == heading)


def test_the_sheet_lists_each_item_once_and_takes_its_figures_from_their_cells() -> None:
    band = _band("items in the results")
    items = list(_column(band, "item")[1].values)
    assert sorted(map(str, items)) == ["BAL", "F50", "F50-9", "P5-1", "STK-CU", "STK-PB", "STK-ZN"]
    for heading in ("value", "U", "k", "u"):
        column = _column(band, heading)[1]
        assert column.formulas is not None
        for formula, value in zip(column.formulas, column.values, strict=True):
            assert (formula is None) == (value is None)
            assert formula is None or formula.startswith(("equipment!", "standards!"))
    users = dict(zip(items, _column(band, "used for")[1].values, strict=True))
    assert (users["BAL"], users["STK-ZN"], users["F50-9"]) == ("Cu, Zn, Pb", "Zn", "Zn")


def test_status_and_figures_of_the_sheet_are_live(tmp_path: Path) -> None:
    require_engine("ironcalc")
    from ubudget.quantity.spelling import column_letters

    band = _band("items in the results")
    row = band.first_row + list(_column(band, "item")[1].values).index("BAL")
    cells = {name: f"{column_letters(_column(band, name)[0])}{row}" for name in ("issued", "due", "status", "U", "u")}
    file = written(HARBOUR).save(tmp_path / "book.xlsx")
    day = 46097.0
    """2026-03-16, the day of weighing, as a day number (days since 1899-12-30)."""
    variants = [
        [("traceability", cells["due"], day - 1)],
        [("traceability", cells["due"], day)],
        [("traceability", cells["issued"], day + 1)],
        [("equipment", "F9", 0.4)],
    ]
    wanted = {"traceability": [cells["status"], cells["U"], cells["u"]]}
    found = [answer["traceability"] for answer in ironcalc_variants(file, variants, wanted, timeout=120)]
    assert [answer[cells["status"]] for answer in found] == ["expired", "valid", "not yet valid", "valid"]
    assert math.isclose(float(str(found[3][cells["U"]])), 0.4)
    assert math.isclose(float(str(found[3][cells["u"]])), 0.2)


def test_a_workbook_of_faults_recalculates_and_traces_like_its_files(tmp_path: Path) -> None:
    """U without k of a stock and of a check, an expired balance, a reference with u stated."""
    require_engine("ironcalc")
    changes = (
        EXPIRED,
        (G, 'U = "4 mg/L"\nk = 2\n', 'U = "4 mg/L"\n'),
        (G, 'U = "20 mg/kg"\nk = 2\n', 'U = "20 mg/kg"\n'),
    )
    folder = tmp_path / "run"
    folder.mkdir()
    write_chain_run(folder, *changes)
    assert run("workbook", "run", "book.xlsx", folder=tmp_path).status == 1
    book = tmp_path / "book.xlsx"
    (found,) = ironcalc_values([book], timeout=120)
    assert compare(stored_values(book), found) == []
    # CHECK stands in no other table of the workbook: u = 20/√3 (GUM 4.3.7).
    assert any(
        isinstance(value, float) and math.isclose(value, 20 / math.sqrt(3), rel_tol=1e-12)
        for value in found["traceability"].values()
    )
    assert run("trace", "book.xlsx", folder=tmp_path).out == run("trace", "run", folder=tmp_path).out
