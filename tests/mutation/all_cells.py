"""Every cell of three workbooks changed, one after the other: `python -m tests.mutation.all_cells`.

Each formula is overwritten by its value, by another formula and by one that looks a row further down; something else is
typed into each open cell. Takes some minutes; the suite does every 20th or so of the same.
"""

from __future__ import annotations

import sys
import time
from collections import Counter

from tests.mutation.mutations import MUTATIONS, SUBJECTS, inputs, missed_formula, missed_input, subject


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
    missed = [each for each in missed if each]
    print(f"missed or told wrongly: {len(missed)}", *missed[:20], sep="\n")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
