"""Control charts through the command: the shipped ones, appended checks, the live workbook, bad input."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from typer.testing import CliRunner

from tests.engines import compare, formula_cells, ironcalc_values, libreoffice_values, require_engine, stored_values
from tests.safe_formulas import assert_safe_formulas
from ubudget.cli import app

WORKED = Path(__file__).parents[2] / "worked_examples"
SHIPPED = WORKED / "control_charts"
RUN = WORKED / "harbour_sediment"


def run(*words: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, ["chart", *words])
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("charts.toml", "history.csv"):
        shutil.copy(SHIPPED / name, tmp_path / name)
    return tmp_path


def test_shipped_charts_by_numpy() -> None:
    """Limits of the reference material from the first year, mean ± 3 s of its values, by numpy from the table."""
    code, out, _ = run(str(SHIPPED / "charts.toml"), "--json", "-")
    assert code == 1
    material, duplicates, recovery = json.loads(out)
    with (SHIPPED / "history.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["chart"] == "RM-SED Cu" and row["date"] <= "2025-01-31"]
    base = np.array([float(row["r1"]) for row in rows])
    assert material["action"] == pytest.approx([base.mean() - 3 * base.std(ddof=1), base.mean() + 3 * base.std(ddof=1)])
    # Nordtest TR 569: action limit of a range of two 3.686 s, and s = U/4 of a target.
    assert duplicates["action"][1] == pytest.approx(3.686 * 1.5, rel=2e-4)
    assert recovery["action"] == [91, 109]


def test_the_workbook_is_live(folder: Path) -> None:
    """Both engines give the stored values; a value that is changed moves limits and patterns."""
    book = folder / "charts.xlsx"
    assert run(str(folder / "charts.toml"), "--workbook", str(book))[0] == 1
    assert_safe_formulas(book)
    wanted = formula_cells(book)
    assert len(wanted) == 3
    stored = stored_values(book, wanted)
    require_engine("ironcalc")
    assert compare(stored, ironcalc_values([book])[0], rel=1e-9) == []
    if shutil.which("soffice"):
        assert compare(stored, libreoffice_values([book])[0], rel=1e-9) == []
    edited = openpyxl.load_workbook(book)
    sheet = edited["chart 1"]
    place = next(cell for row in sheet.iter_rows(min_row=25) for cell in row if cell.value == 85.1)
    place.value = 95.1
    edited.save(folder / "edited.xlsx")
    text = (folder / "history.csv").read_text("utf-8").replace(",85.1,", ",95.1,", 1)
    (folder / "history.csv").write_text(text, "utf-8")
    (one, *_) = json.loads(run(str(folder / "charts.toml"), "--json", "-")[1])
    moved = ironcalc_values([folder / "edited.xlsx"])[0]["chart 1"]
    assert [moved[f"B{row}"] for row in (4, 5, 8, 9)] == pytest.approx([one["centre"], one["s"], *one["action"]])
    flagged = {signal["point"] for signal in one["signals"]}
    letter = next(cell.column_letter for cell in sheet[22] if cell.value == "patterns that end here")
    assert {row - 24 for row in range(25, 25 + len(one["points"])) if moved[f"{letter}{row}"]} == flagged


def test_pictures(folder: Path) -> None:
    run(str(folder / "charts.toml"), "--pictures", str(folder / "drawn"))
    texts = {path.name: path.read_text("utf-8") for path in (folder / "drawn").iterdir()}
    assert sorted(texts) == ["RM-SED-Cu.svg", "duplicates-Cu.svg", "recovery-Pb.svg"]
    assert texts["RM-SED-Cu.svg"].count('r="2.6"') == 52


def test_a_run_is_appended_once_and_only_when_asked(folder: Path) -> None:
    history, record = folder / "history.csv", str(folder / "charts.toml")
    before = history.read_bytes()
    code, _, err = run(record, "--append", str(RUN), "--by", "N. N.", "--try")
    assert (code, history.read_bytes()) == (1, before)
    assert "would append: RM-SED Cu, 2026-03-17, SED-2026-0317: 83.8" in err
    run(record, "--append", str(RUN), "--by", "N. N.")
    added = history.read_text("utf-8").splitlines()
    assert added[: len(before.splitlines())] == before.decode().splitlines()
    assert added[-1].startswith("RM-SED Cu,2026-03-17,83.8") and len(added) == len(before.splitlines()) + 1
    code, out, err = run(record, "--append", str(RUN), "--by", "N. N.")
    assert (code, out) == (2, "") and "run SED-2026-0317 already" in err
    assert history.read_text("utf-8").splitlines() == added


def test_history_changed_behind_an_appended_row_is_told(folder: Path) -> None:
    history, record = folder / "history.csv", str(folder / "charts.toml")
    run(record, "--append", str(RUN), "--by", "N. N.")
    text = history.read_text("utf-8")
    assert "does not fit" not in run(record)[2]
    history.write_text(text.replace(",85.1,", ",85.10,", 1), "utf-8")
    assert "does not fit" not in run(record)[2]
    history.write_text(text.replace(",85.1,", ",85.2,", 1), "utf-8")
    code, _, err = run(record)
    assert code == 1 and "a mark that does not fit" in err


HEAD = 'kind = "control charts"\nhistory = "h.csv"\n[[chart]]\nid = "A"\nunit = "mg/kg"\n'


@pytest.mark.parametrize(
    ("more", "history", "words"),
    [
        ('limits = "fixed"', "chart,date,r1\n", "accepted: centre and s"),
        ('limits = "fixed"\ncentre = "1 mg/L"\ns = "1 mg/kg"', "chart,date,r1\nA,2025-01-01,1\n", "converts to mg/kg"),
        ("", "chart,date,value\nA,2025-01-01,1\n", "no column r1"),
        ("", "chart,date,r1\nB,2025-01-01,1\n", "found B; accepted: A"),
        ("", "chart,date,r1\nA,1.1.2025,1\n", "a date, year-month-day"),
        ("", "chart,date,r1\nA,2025-01-01,1\nA,2025-01-01,2\n", "the day and run of row 1 again"),
        ("", "chart,date,r1\nA,2025-01-02,1\nA,2025-01-01,2\n", "a day before that of row 1"),
        ("", "chart,date,r1,r2\nA,2025-01-02,1,2\n", "accepted: one result on a chart of kind individual"),
        ('chart = "range"', "chart,date,r1,r2\nA,2025-01-02,1,\n", "two results or more"),
        ("", "chart,date,r1\nA,2025-01-01,1\n", "found 1 value"),
        ("", "chart,date,r1\nA,2025-01-01,\n", "no result"),
        ("rules = [99]", "chart,date,r1\nA,2025-01-01,1\nA,2025-01-02,2\n", "99; accepted: 1, 2"),
    ],
)
def test_bad_input(tmp_path: Path, more: str, history: str, words: str) -> None:
    (tmp_path / "charts.toml").write_text(HEAD + more, "utf-8")
    (tmp_path / "h.csv").write_text(history, "utf-8")
    code, out, err = run(str(tmp_path / "charts.toml"))
    assert (code, out) == (2, "")
    assert words in err and "Traceback" not in err
