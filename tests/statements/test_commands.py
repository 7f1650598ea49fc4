"""`statement` with its forms and files, and `schema`, through the real entry point."""

from __future__ import annotations

import csv
import io
import json
import shutil
from pathlib import Path
from xml.etree import ElementTree

import pytest

from tests.commands.running import run, run_apart, widest
from tests.statements.examples import SEDIMENT


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """A copy of the demonstration whose method has a form of its own."""
    folder = tmp_path / "own"
    shutil.copytree(SEDIMENT, folder)
    with (folder / "method.toml").open("a", encoding="utf-8", newline="\n") as file:
        file.write('\n[statement]\nlayout = "concise"\ndecimal_mark = "comma"\n')
    return folder


def test_three_files_at_once_and_none_where_one_is_there(tmp_path: Path) -> None:
    words = ("--layout", "table", "--text", "report.txt", "--csv", "lims.csv", "--xml", "results.xml")
    done = run("statement", SEDIMENT, *words, folder=tmp_path)
    assert (done.status, done.err) == (0, "")
    assert done.out.splitlines() == ["written: report.txt", "written: lims.csv", "written: results.xml"]
    text = (tmp_path / "report.txt").read_text(encoding="utf-8")
    assert (
        widest(text) <= 80
        and text.endswith("\n")
        and "column U holds the expanded uncertainty" in " ".join(text.split())
    )
    assert len(ElementTree.parse(tmp_path / "results.xml").getroot()) == 1 + 52
    (tmp_path / "results.xml").write_text("mine", encoding="utf-8")
    (tmp_path / "report.txt").unlink()
    again = run("statement", SEDIMENT, *words[:4], "--xml", "results.xml", folder=tmp_path)
    assert (again.status, again.out) == (2, "") and "results.xml" in again.err
    assert not (tmp_path / "report.txt").exists()
    assert run("statement", SEDIMENT, "--xml", "results.xml", "--force", folder=tmp_path).status == 0


def test_standard_output_holds_one_text_alone(tmp_path: Path) -> None:
    done = run_apart(
        "statement", SEDIMENT, "--csv", "-", "--separator", "tab", folder=tmp_path, PYTHONIOENCODING="ascii"
    )
    assert (done.status, done.err) == (0, "")
    assert len(list(csv.DictReader(io.StringIO(done.out), delimiter="\t"))) == 52
    assert run("statement", SEDIMENT, "--csv", "-", "--json", folder=tmp_path).status == 2


def test_the_form_of_the_method_and_that_of_the_call(own: Path, tmp_path: Path) -> None:
    said = run("statement", own, folder=tmp_path).out
    assert "46,8(13) mg/kg" in said and "324.754" in said
    assert "(46,8 ± 2,7) mg/kg" in run("statement", own, "--layout", "interval", folder=tmp_path).out
    relative = run("statement", own, "--uncertainty", "relative", folder=tmp_path).out
    assert "46,8 mg/kg ± 5,8 % of the value" in " ".join(relative.split())
    (row, *_) = csv.DictReader(io.StringIO(run("statement", own, "--csv", "-", folder=tmp_path).out), delimiter=";")
    assert row["reported_value"] == "83,9"
    (entry, *_) = json.loads(run("statement", own, "--json", "--decimal-mark", "point", folder=tmp_path).out)
    assert entry["reported"] == "83.9(23) mg/kg"


def test_the_form_goes_through_a_fill_in_workbook(own: Path, tmp_path: Path) -> None:
    assert run("convert", own, "filled.xlsx", folder=tmp_path).status == 0
    assert "46,8(13) mg/kg" in run("statement", "filled.xlsx", folder=tmp_path).out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--layout", "poem"), "interval, concise, table, paragraph"),
        (("--decimal-mark", ","), "point, comma"),
        (("--layout", "concise", "--uncertainty", "relative"), "does not go with"),
        (("--separator", "tab"), "belongs to --csv"),
        (("--csv", "out", "--xml", "out"), "one name"),
        (("--csv", "x.csv", "--separator", "|"), "comma, semicolon, tab"),
    ],
)
def test_what_is_not_known_is_refused(tmp_path: Path, words: tuple[str, ...], told: str) -> None:
    done = run("statement", SEDIMENT, *words, folder=tmp_path)
    assert done.status == 2 and told in " ".join(done.err.replace("│", " ").split())
    assert list(tmp_path.iterdir()) == []


def test_a_form_that_contradicts_itself_is_a_finding(own: Path, tmp_path: Path) -> None:
    with (own / "method.toml").open("a", encoding="utf-8", newline="\n") as file:
        file.write('uncertainty = "relative"\n')
    done = run("statement", own, folder=tmp_path)
    assert done.status == 2 and "Traceback" not in done.err
    assert "statement" in done.err and 'layout = "concise"' in done.err and "one of the two" in done.err


def test_a_unit_without_a_name_in_d_si_writes_nothing(tmp_path: Path) -> None:
    method = tmp_path / "method.toml"
    method.write_text(
        '[method]\nid = "M"\ntitle = "Part"\nversion = "1"\nstatus = "approved"\nmeasurand = "part"\nunit = "ppm"\n'
        'equation = "w = x"\n\n[symbols.x]\noperation = "input"\nquantity = "part"\nunit = "ppm"\n'
        'estimate = "12 ppm"\nu = "1 ppm"\n',
        encoding="utf-8",
    )
    done = run("statement", method, "--xml", "out.xml", "--text", "out.txt", folder=tmp_path)
    assert done.status == 2 and "the unit ppm" in done.err and len(done.err.splitlines()) == 1
    assert [path.name for path in tmp_path.iterdir()] == ["method.toml"]
    assert run("statement", method, folder=tmp_path).status == 0


def test_the_schema_is_printed(tmp_path: Path) -> None:
    for name in ("evaluate", "statement"):
        assert json.loads(run("schema", name, folder=tmp_path).out)["title"] == f"ubudget {name} --json"
    refused = run("schema", "workbook", folder=tmp_path)
    assert refused.status == 2 and "evaluate or statement" in " ".join(refused.err.split())
