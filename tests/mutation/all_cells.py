"""Every cell of three workbooks changed, one after the other: `python -m tests.mutation.all_cells`.

Each formula is overwritten by its value, by another formula and by one that looks a row further down; something else is
typed into each open cell; 200 such changes are made in real files. Takes some four minutes of one core; the suite
does every 20th of them.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from tests.mutation.mutations import MUTATIONS, SUBJECTS, inputs, missed_formula, missed_input, subject
from tests.mutation.real_files import missed_in_files
from tests.workbooks.books import written

FILES = 200


def main() -> int:
    missed = []
    for path in SUBJECTS:
        book, counts, start = subject(path), Counter[str](), time.process_time()
        if not book.check(book.found).unchanged:
            missed.append(f"{book.name}: a finding on the untouched workbook")
        for name, mutate in MUTATIONS.items():
            for sheet, address, cell in book.formulas():
                counts[name] += mutate(cell) is not None
                missed.append(missed_formula(book, sheet, address, cell, mutate))
        middle = time.process_time()
        for sheet, address, cell in inputs(book):
            counts["input"] += 1
            missed.append(missed_input(book, sheet, address, cell))
        end = time.process_time()
        told = ", ".join(f"{name} {count}" for name, count in counts.items())
        print(f"{book.name}: {told}; {middle - start:.0f} s and {end - middle:.0f} s", flush=True)
    with tempfile.TemporaryDirectory() as name:
        folder, small = Path(name), SUBJECTS[-1]
        issued = written(small).save(folder / "issued.xlsx")
        missed += missed_in_files(subject(small), issued, folder, FILES)
        print(f"{small.stem}: {FILES} files with one cell changed", flush=True)
    missed = [each for each in missed if each]
    print(f"missed or told wrongly: {len(missed)}", *missed[:20], sep="\n")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
