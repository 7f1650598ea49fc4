"""Lazily spelled columns: they are what a plain list is, and blocks leave no trace in the file."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.benchmarks.big_run import write_run
from ubudget.files import sheet_xml, workbook_writer
from ubudget.files.verbs import evaluate, read_run
from ubudget.files.workbook_writer import book_bytes
from ubudget.pages import spelled
from ubudget.pages.plan import plan_book
from ubudget.pages.spelled import Spelled, Wording, figures, formula_texts

NUMBERS = st.none() | st.integers(-50, 50)


@given(st.lists(st.integers()), NUMBERS, NUMBERS, st.none() | st.integers(-3, 3).filter(bool))
def test_a_spelled_sequence_behaves_as_a_list(
    plain: list[int], start: int | None, stop: int | None, step: int | None
) -> None:
    lazy = Spelled(len(plain), lambda first, last: plain[first:last])
    assert list(lazy) == plain
    assert lazy == plain
    assert len(lazy) == len(plain)
    assert lazy[start:stop:step] == plain[start:stop:step]
    assert lazy != [*plain, 1]
    if plain:
        assert (lazy[0], lazy[-1]) == (plain[0], plain[-1])
    for beyond in (len(plain), -len(plain) - 1):
        with pytest.raises(IndexError):
            lazy[beyond]


def test_nothing_is_kept() -> None:
    """A million entries are asked for a block at a time."""
    asked: list[int] = []

    def spell(start: int, stop: int) -> list[int]:
        asked.append(stop - start)
        return list(range(start, stop))

    assert sum(Spelled(1_000_000, spell)) == 499_999_500_000
    assert max(asked) == spelled.BLOCK


def test_formulas_and_figures() -> None:
    """Rows 10 to 13 of a sheet: two ways, one row without formula, one row of another sheet that stands elsewhere."""
    other = np.array([3, 2, -1, 0])
    wordings = [Wording("A{r}*B{r}", {}), Wording("IF(A{r}>0,samples!C{p0},{r})", {"p0": (other, 20)})]
    texts = formula_texts(wordings, np.array([0, 1, -1, 1], dtype=np.int16), 10)
    assert list(texts) == ["A10*B10", "IF(A11>0,samples!C22,11)", None, "IF(A13>0,samples!C20,13)"]
    apart = formula_texts(wordings[:1], np.zeros(3, dtype=np.int16), 10, apart=True)
    assert list(apart) == ["A10*B10", "(A11*B11)", "A12*B12"]
    shown = figures(np.array([1.5, 2.5, np.nan, 0.0]), np.array([True, True, False, True]))
    assert list(shown) == [1.5, 2.5, None, 0.0]
    assert all(type(value) is float for value in shown if value is not None)


def test_blocks_leave_no_trace_in_the_file(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same bytes, whether a sheet is written in one block or in many."""
    book = plan_book(evaluate(read_run(write_run(tmp_path_factory.mktemp("run"), 5, 4))))
    files = []
    for block in (7, 100_000):
        for module in (spelled, sheet_xml, workbook_writer):
            monkeypatch.setattr(module, "BLOCK", block)
        files.append(book_bytes(book))
    assert files[0] == files[1]
