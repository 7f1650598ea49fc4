"""Every worked example's workbook with ten open cells edited by hand: what LibreOffice then calculates in it is what
the library gives for the records read back from it.

The other side of the comparison is LibreOffice, which knows nothing of the library.
"""

from __future__ import annotations

import math
import random
from pathlib import Path

from tests.engines import compare, ironcalc_variants, libreoffice_saved, require_engine, stored_values
from tests.typed_cells import type_into
from tests.workbooks.books import EXAMPLES, HARBOUR, PUBLISHED, Written, edited, written
from tests.workbooks.test_alive import another, as_edit
from ubudget import evaluate, read_run
from ubudget.pages.record_sheet import OpenCell, open_cells

SEED = 20_260_318
"""Of the draw of cells; any will do, this one is kept so that the cells are the same at every run."""
EDITED = 10
FOLDERS = [
    HARBOUR,
    *(
        EXAMPLES / name
        for name in ("river_manganese", "well_arsenic", "gearbox_oil", "rinse_water", "spring_copper", "water_hardness")
    ),
    *sorted(path for path in (EXAMPLES / "patterns").iterdir() if path.is_dir()),
]
ALL = [*FOLDERS, *sorted((EXAMPLES / "zinc_standard").glob("*.toml")), *PUBLISHED]
FACTOR = """
[symbols.n]
operation = "input"
quantity = "factor between the units"
unit = "mg/g"
estimate = "1000 mg/g"
exact = true
"""
OIL = EXAMPLES / "patterns" / "oil-in-solvent"
TYPED = {"reason": "seen by the analyst", "who": "analyst 2", "when": "2026-03-18"}
"""What is typed in cells of text."""


def test_no_worked_example_is_left_out() -> None:
    # Calibrations of ware, studies, control charts and cases of validation are no runs.
    told = {path if path.is_dir() else path.parent for path in ALL}
    assert told >= {
        path.parent
        for path in EXAMPLES.rglob("*.toml")
        if path.parent.name != "ware_calibration" and path.name in ("run.toml", "method.toml")
    }
    assert {path.name for path in EXAMPLES.iterdir() if path.is_dir()} == {
        *(path.relative_to(EXAMPLES).parts[0] for path in ALL),
        "ware_calibration",
        "precision_studies",
        "control_charts",
        "validation",
    }


def drawn(example: Written, seed: int) -> list[OpenCell]:
    """Ten open cells, one of each kind in turn: by sheet, marks and texts apart."""
    kinds: dict[tuple[str, str], list[OpenCell]] = {}
    for cell in open_cells(example.book.sheets):
        marked = cell.origin.document == "run" and str(cell.origin.path[0]) in ("include", *TYPED)
        kinds.setdefault((cell.sheet, str(cell.origin.path[0]) if marked else "number"), []).append(cell)
    dice = random.Random(seed)
    for cells in kinds.values():
        dice.shuffle(cells)
    turns = [cells[turn] for turn in range(EDITED) for cells in kinds.values() if turn < len(cells)]
    # The first turn alone could be texts in the main.
    numbers = [cell for cell in turns if not isinstance(cell.value, str)]
    texts = [cell for cell in turns if isinstance(cell.value, str)]
    return [*numbers[: EDITED - min(2, len(texts))], *texts[:2]][:EDITED]


def typed(cell: OpenCell) -> float | str:
    return TYPED[str(cell.origin.path[0])] if isinstance(cell.value, str) else another(cell)


def test_what_an_edited_workbook_calculates_is_read_back(tmp_path: Path, seed: int = SEED) -> None:
    require_engine("libreoffice")
    examples = [written(path) for path in ALL]
    chosen = [drawn(example, seed) for example in examples]
    files = []
    for number, (example, cells) in enumerate(zip(examples, chosen, strict=True)):
        edits = [(cell.sheet, cell.address, typed(cell)) for cell in cells]
        files.append(type_into(example.save(tmp_path / f"edited{number}.xlsx"), edits))
    # Ten files a call, so that each call stays within its time on a busy machine.
    saved = [
        file
        for ten in range(0, len(files), 10)
        for file in libreoffice_saved(files[ten : ten + 10], tmp_path / f"saved{ten}")
    ]
    wrong = []
    for path, example, cells, file in zip(ALL, examples, chosen, saved, strict=True):
        records = read_run(file)
        assert len(records.edits) == len(cells) > 0, path
        assert len(cells) == min(EDITED, len(open_cells(example.book.sheets))), path
        library = Written(records, evaluate(records), example.book).result_numbers()
        ((_, calculated),) = stored_values(file, example.result_cells()).items()
        wrong += [
            (path.stem, address, value, number)
            for (address, value), number in zip(calculated.items(), library, strict=True)
            if not math.isclose(float(str(value)), number, rel_tol=1e-9, abs_tol=1e-15)
        ]
    assert wrong == []


def test_a_field_that_two_weighings_use_has_one_open_cell() -> None:
    for path in ALL:
        fields = [(cell.origin.document, cell.origin.path) for cell in open_cells(written(path).book.sheets)]
        assert len(fields) == len(set(fields)), path


def test_a_bottle_shown_in_two_units_is_edited_in_one_cell(tmp_path: Path) -> None:
    """The empty bottle of an oil and of its solution, one of them in milligrams: the workbook follows the one cell."""
    require_engine("ironcalc")
    for file in OIL.iterdir():
        text = file.read_text(encoding="utf-8")
        if file.name == "method.toml":
            text = text.replace('unit = "g"', 'unit = "mg"', 1).replace("m_total/m_oil", "m_total/m_oil/n")
            text += FACTOR
        (tmp_path / file.name).write_text(text, encoding="utf-8", newline="\n")
    example = written(tmp_path)
    (bottle, *_) = [cell for cell in open_cells(example.book.sheets) if cell.origin.path[-1] == "bottle"]
    wanted = example.result_cells()
    edits = [[(bottle.sheet, bottle.address, another(bottle))]]
    (found,) = ironcalc_variants(example.save(tmp_path / "book.xlsx"), edits, wanted)
    library = edited(example.records, [as_edit(bottle, another(bottle))])
    expected = dict(
        zip(wanted["computation"], Written(example.records, library, example.book).result_numbers(), strict=True)
    )
    assert compare({"computation": expected}, found) == []
