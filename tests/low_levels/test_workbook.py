"""Limits in the workbook: both engines, edits that move the reported text, reading back."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.engines import compare, ironcalc_values, ironcalc_variants, require_engine, stored_values
from tests.findings.small_run import READINGS, SAMPLES
from tests.low_levels.low_runs import THIRD_BLANK, THIRD_READING, mean_run, zinc_run
from tests.workbooks.books import Written, edited, written
from tests.workbooks.live_checks import assert_engines_agree
from tests.workbooks.test_alive import as_edit
from ubudget.files.workbook_reading import read_workbook
from ubudget.pages.layout import LOW_LEVELS, RESULTS
from ubudget.pages.plan import placements_of
from ubudget.pages.record_sheet import open_cells


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> Written:
    more = {"samples": SAMPLES.replace(*THIRD_BLANK), "readings": READINGS.replace(*THIRD_READING)}
    return written(zinc_run(tmp_path_factory.mktemp("zinc"), **more))


def reported_cells(book: Written) -> list[str]:
    (band,) = [sheet.bands[0] for sheet in book.book.sheets if sheet.name == RESULTS]
    return [f"D{row}" for row in range(band.first_row, band.last_row + 1)]


def test_both_engines_and_reading_back(example: Written, tmp_path: Path) -> None:
    assert_engines_agree(example, tmp_path)
    records, findings = read_workbook(example.save(tmp_path / "book.xlsx"))
    assert records == example.records, findings


def test_an_edit_of_a_limit_moves_the_reported_text_as_in_the_library(example: Written, tmp_path: Path) -> None:
    require_engine("ironcalc")
    cells = {cell.origin.path[-1]: cell for cell in open_cells(example.book.sheets) if cell.sheet == LOW_LEVELS}
    assert set(cells) == {"decision", "detection", "quantification", "alpha", "beta", "dof", "m", "V", "f", "F"}
    changes = {"quantification": 90.0, "detection": 103.0, "decision": 1.0, "m": 0.3, "V": 100.0, "f": 2.0, "F": 1.5}
    changes["alpha"] = 0.01
    file = example.save(tmp_path / "book.xlsx")
    wanted = {RESULTS: reported_cells(example), LOW_LEVELS: [_cell(example, "detection blanks")]}
    variants = [[(cells[key].sheet, cells[key].address, value)] for key, value in changes.items()]
    seen = set()
    for (key, value), found in zip(
        changes.items(), ironcalc_variants(file, variants, wanted, timeout=120), strict=True
    ):
        library = edited(example.records, [as_edit(cells[key], value)])
        texts = [str(found[RESULTS][address]) for address in wanted[RESULTS]]
        for text, result in zip(texts, library.results, strict=True):
            assert text == (result.reported_as or text) and ("±" in text) == (not result.reported_as), (key, text)
        (number,) = found[LOW_LEVELS].values()
        assert float(str(number)) == pytest.approx(library.column("detection blanks", "limits of the run")[0], rel=1e-9)
        seen.add(tuple(texts))
    assert len(seen) > 4


def _cell(book: Written, column: str) -> str:
    return placements_of(book.evaluation)["limits of the run"].cell(column, 0, LOW_LEVELS)


def test_a_mean_by_rule_in_the_cells(tmp_path: Path) -> None:
    """Half the limit counts for a value below it; a larger limit takes one more value."""
    require_engine("ironcalc")
    example = written(mean_run(tmp_path / "run", (0.12, 0.03, 0.08, 0.01), "half the limit", True))
    cell = next(cell for cell in open_cells(example.book.sheets) if cell.origin.path[-1] == "quantification")
    address = reported_cells(example)[4]
    file = example.save(tmp_path / "mean.xlsx")
    assert compare(stored_values(file), ironcalc_values([file], timeout=60)[0], floor=1e-15) == []
    variants = [[(cell.sheet, cell.address, limit)] for limit in (0.06, 0.1, 0.3, 0.001)]
    found = ironcalc_variants(file, variants, {RESULTS: [address]}, timeout=60)
    # (0.12 + 0.03 + 0.08 + 0.03)/4; (0.12 + 3·0.05)/4 below 0.1; all below 0.3; none below 0.001.
    assert [sheets[RESULTS][address] for sheets in found][:3] == ["0.0650", "< 0.1", "< 0.3"]
    assert str(found[3][RESULTS][address]).startswith("0.0600 ±")
