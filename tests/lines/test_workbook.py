"""Values from several lines in the workbook and on the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from tests.derived.derived_runs import findings_of
from tests.lines.test_rules import APART, MEAN, SHARED, WEIGHTED
from tests.lines.two_lines import FIRST, SECOND, two_line_run
from tests.workbooks.books import written
from tests.workbooks.live_checks import assert_engines_agree_on_all, assert_open_numbers_move
from tests.workbooks.test_alive import numeric_cells
from ubudget.cli import app
from ubudget.files.converting import write_fill_in
from ubudget.files.verbs import read_run
from ubudget.files.workbook_reading import read_workbook

RULES = ['rule = "first line"', f'{MEAN}\n{SHARED}\ndisagreement = "widened"', f"{WEIGHTED}\n{SHARED}"]


def test_both_engines_agree_with_the_library(tmp_path_factory: pytest.TempPathFactory, tmp_path: Path) -> None:
    runs = [two_line_run(tmp_path_factory.mktemp("run"), rule, readings=APART) for rule in RULES]
    assert_engines_agree_on_all(map(written, runs), tmp_path, floor=1e-12)


def test_open_cells_move_the_reported_values(tmp_path: Path) -> None:
    """Weights and choice follow: a reading of either line, a certificate, the limit of agreement."""
    example = written(two_line_run(tmp_path, f"{WEIGHTED}\n{SHARED}", readings=APART))
    cells = numeric_cells(example)
    (limit,) = [cell for cell in cells if cell.origin.path == ("several_lines", "limit")]
    others = [cell for cell in cells if cell.origin.document == "readings"][::25]
    others += [cell for cell in cells if cell.origin.document == "register"][:6]
    file = example.save(tmp_path / "book.xlsx")
    # The lines of OUT-1 disagree by far, those of the others agree: a limit a little larger decides the same.
    assert_open_numbers_move(example, file, [limit, *others], unmoved=lambda cell: cell is limit)


def test_read_back_and_by_way_of_a_fill_in_workbook(tmp_path: Path) -> None:
    place = two_line_run(tmp_path, f"{MEAN}\n{SHARED}")
    example = written(place)
    records, findings = read_workbook(example.save(tmp_path / "book.xlsx"))
    assert records == example.records, findings
    write_fill_in(example.records, tmp_path / "fill.xlsx", force=False)
    assert read_run(tmp_path / "fill.xlsx").method == example.records.method


def test_json_and_explain_name_the_value_without_line(tmp_path: Path) -> None:
    place = str(two_line_run(tmp_path, f"{MEAN}\n{SHARED}"))
    report = json.loads(CliRunner().invoke(app, ["evaluate", place, "--json", "-"]).stdout)
    lines = [r["line"] for r in report["results"] if (r["sample"], r["analyte"]) == ("OUT-1", "Zn")]
    assert lines == [FIRST, SECOND, None]
    (whole,) = [r for r in report["results"] if (r["sample"], r["analyte"], r["line"]) == ("OUT-1", "Zn", None)]
    assert "by the method's rule: mean of agreeing lines" in whole["statement"]
    for chosen in (["--result", "OUT-1/Zn"], ["--sample", "OUT-1", "--analyte", "Zn"]):
        text = CliRunner().invoke(app, ["explain", place, *chosen]).stdout
        assert "Values reported from several lines" in text
    assert CliRunner().invoke(app, ["trace", place]).exit_code == 0


@pytest.mark.parametrize(
    ("rule", "severity", "words"),
    [
        (MEAN, "attend", "no word on d_L"),
        (f'{MEAN}\nshared = ["c"]\nown = ["d_L"]', "stop", "the symbol c"),
        (f'{MEAN}\nshared = ["d_L"]\nown = ["d_L"]', "stop", "both shared and own"),
        ('rule = "best line"', "stop", "first line"),
        ('rule = "first line"\nlimit = 0', "stop", "limit"),
    ],
)
def test_defects_of_the_rule_are_findings(rule: str, severity: str, words: str, tmp_path: Path) -> None:
    findings = findings_of(two_line_run(tmp_path, rule))
    assert any(f.severity == severity and words in f.line() for f in findings), [f.line() for f in findings]
