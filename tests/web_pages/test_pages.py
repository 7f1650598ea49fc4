"""The page of a result and the dossier of a run: in a real browser, against the JSON, and cell by cell."""

from __future__ import annotations

import base64
import json
import shutil
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pytest
from typer.testing import CliRunner

from tests.engines import pdf_page_texts, stored_values
from tests.web_pages.browser import asked_for, opened, violations
from ubudget.cli import app
from ubudget.evaluation.decisions import decisions_of
from ubudget.evaluation.evaluate import Evaluation
from ubudget.files.verbs import evaluate, read_run, write_workbook
from ubudget.pages.derivation import derivation_parts
from ubudget.pages.dossier import dossier
from ubudget.pages.figures import plain
from ubudget.pages.result_page import result_page
from ubudget.pages.told import Equation, Inside, Part

WORKED = Path(__file__).parents[2] / "worked_examples"


@cache
def evaluated(name: str) -> Evaluation:
    return evaluate(read_run(WORKED / name))


class Tables(HTMLParser):
    """Rows of all tables by caption."""

    def __init__(self) -> None:
        super().__init__()
        self.found: dict[str, list[list[str]]] = {}
        self._text, self._rows, self._caption = "", list[list[str]](), ""

    def handle_starttag(self, tag: str, attrs: object) -> None:
        if tag == "table":
            self._rows = []
        if tag == "tr":
            self._rows.append([])
        if tag in ("th", "td", "caption"):
            self._text = ""

    def handle_data(self, data: str) -> None:
        self._text += data

    def handle_endtag(self, tag: str) -> None:
        if tag == "caption":
            self._caption = self._text
        if tag in ("th", "td"):
            self._rows[-1].append(self._text)
        if tag == "table":
            self.found[self._caption] = self._rows


def tables(page: str) -> dict[str, list[list[str]]]:
    parser = Tables()
    parser.feed(page)
    return parser.found


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("page") / "result.html"
    path.write_text(result_page(evaluated("harbour_sediment"), 4, "0" * 64, "ubudget"), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def filed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("dossier") / "dossier.html"
    evaluation = evaluated("harbour_sediment")
    path.write_text(dossier(evaluation, [0, 14], "0" * 64, "ubudget"), encoding="utf-8")
    return path


@pytest.mark.parametrize("dark", [False, True])
def test_the_page_is_whole_and_accessible(page: Path, dark: bool) -> None:
    """No message on the console, nothing asked of a network, no serious violation of WCAG 2 by axe-core."""
    with opened(page, dark=dark) as browser:
        assert browser.get_log("browser") == []
        assert asked_for(browser) == []
        assert violations(browser) == []
        shown = browser.execute_script("return getComputedStyle(document.body).backgroundColor")
        assert (shown == "rgb(255, 255, 255)") is not dark


def test_the_dossier_is_whole_accessible_and_prints(filed: Path, tmp_path: Path) -> None:
    with opened(filed) as browser:
        assert browser.get_log("browser") == []
        assert asked_for(browser) == []
        assert violations(browser) == []
        printed = browser.execute_cdp_cmd("Page.printToPDF", {"paperWidth": 8.27, "paperHeight": 11.69})
    if shutil.which("pdftotext") is None:
        pytest.skip("poppler is not installed")
    (tmp_path / "d.pdf").write_bytes(base64.b64decode(printed["data"]))
    texts = pdf_page_texts(tmp_path / "d.pdf")
    whole = "\n".join(texts)
    for words in (
        "Dossier of SED-2026-0317",
        "Reported results",
        "Uncertainty budget",
        "Traceability",
        "Random effects",
    ):
        assert words in whole
    # Each result begins on a page of its own.
    for row in (0, 14):
        result = evaluated("harbour_sediment").results[row]
        assert any(text.lstrip().startswith(f"{result.sample}, {result.analyte}") for text in texts)


def test_numbers_of_the_page_are_those_of_the_json(page: Path) -> None:
    done = CliRunner().invoke(app, ["evaluate", str(WORKED / "harbour_sediment"), "--json", "-"])
    result = json.loads(done.stdout)["results"][4]
    rows = tables(page.read_text("utf-8"))["Uncertainty budget"]
    by_symbol = {row[0]: row for row in rows[1:]}
    assert len(by_symbol) == len(result["budget"])
    for entry in result["budget"]:
        row = by_symbol[entry["symbol"].replace("_", "")]
        assert row[2] == plain(entry["estimate"])
        assert float(row[3]) == pytest.approx(entry["standard_uncertainty"], rel=5e-4)
        assert float(row[6].replace("E", "e")) == pytest.approx(entry["sensitivity_coefficient"], rel=5e-5)
        assert float(row[7].replace("E", "e")) == pytest.approx(entry["contribution"], rel=5e-4)
    assert result["statement"] in page.read_text("utf-8").replace("&#x27;", "'")


def equations(parts: object) -> list[Equation]:
    found: list[Equation] = []
    for part in parts:  # type: ignore[attr-defined]  # an iterable of parts
        inner: Part = part
        if isinstance(inner, Inside):
            found += equations(inner.parts)
        elif isinstance(inner, Equation):
            found.append(inner)
    return found


@pytest.mark.parametrize("name", ["harbour_sediment", "rinse_water", "published/gum_h1.toml"])
def test_each_cell_that_is_named_holds_the_number_told(name: str, tmp_path: Path) -> None:
    evaluation = evaluated(name)
    write_workbook(evaluation, tmp_path / "book.xlsx")
    told = [one for one in equations(derivation_parts(evaluation, len(evaluation.results) - 1)) if one.cell]
    assert len(told) > 10
    wanted: dict[str, list[str]] = {}
    for one in told:
        sheet, address = one.cell.rsplit("!", 1)
        wanted.setdefault(sheet.strip("'"), []).append(address)
    stored = stored_values(tmp_path / "book.xlsx", wanted)
    for one in told:
        sheet, address = one.cell.rsplit("!", 1)
        value = stored[sheet.strip("'")][address]
        assert isinstance(value, (int, float))
        assert one.rights[-1].split()[0] == plain(float(value)), one


def test_text_of_the_records_is_text(tmp_path: Path) -> None:
    for file in (WORKED / "harbour_sediment").iterdir():
        if file.suffix in (".toml", ".csv"):
            text = file.read_text("utf-8").replace("SED-05", "<script>alert(1)</script>")
            (tmp_path / file.name).write_text(
                text.replace("mass of the test portion", "an 'apostrophe' & <b>"), "utf-8"
            )
    out = tmp_path / "page.html"
    label = "<script>alert(1)</script>"
    done = CliRunner().invoke(app, ["explain", str(tmp_path), "--sample", label, "--analyte", "Pb", "--page", str(out)])
    assert out.is_file(), done.stderr
    text = out.read_text("utf-8")
    assert "<script>" not in text and "<b>" not in text
    assert "&lt;script&gt;" in text and "&#x27;apostrophe&#x27; &amp; &lt;b&gt;" in text


def test_commands_write_pages_and_text(tmp_path: Path) -> None:
    run = str(WORKED / "harbour_sediment")
    page, text, filed = (tmp_path / name for name in ("page.html", "derivation.txt", "dossier.html"))
    named = ["explain", run, "--result", "SED-05/Pb", "--page", str(page), "--text", str(text)]
    done = CliRunner().invoke(app, named)
    assert done.stdout.split() == [str(page), str(text)]
    assert text.read_text("utf-8").startswith("SED-05, Pb 220.353")
    assert CliRunner().invoke(app, named).exit_code == 2
    done = CliRunner().invoke(app, ["dossier", run, str(filed), "--result", "SED-05/Pb", "--result", "SED-07/Zn"])
    assert done.exit_code in (0, 1)
    assert filed.read_text("utf-8").count('class="result"') == 2
    done = CliRunner().invoke(app, ["dossier", run, str(tmp_path / "dossier.pdf")])
    assert done.exit_code == 2 and "ends with .html" in done.stderr


def test_the_dossier_shows_decisions_beside_the_results() -> None:
    """What `decide` says of each result, and the caution, stand before the findings and not in a paragraph alone."""
    evaluation = evaluated("river_manganese")
    expected = [one.words for each in decisions_of(evaluation) for one in each]
    text = dossier(evaluation, range(len(evaluation.results)), "0" * 64, "ubudget")
    tables = Tables()
    tables.feed(text)
    _, *rows = tables.found["Results beside their limits"]
    assert [row[5] for row in rows] == expected and expected.count("fail") == 3
    assert "safety or compliance" in text.partition("Decisions on conformity")[2].partition("Findings")[0]
    assert "Decisions on conformity" not in dossier(evaluated("spring_copper"), [0], "0" * 64, "ubudget")
