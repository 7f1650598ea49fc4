"""`import ubudget`: light, and all of it works."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import ubudget
from ubudget.errors import OutputExists, UnusableInput
from ubudget.files.shipped import shipped_folder

EXAMPLE = shipped_folder("worked_examples") / "harbour_sediment"


def test_all_names_what_there_is() -> None:
    assert ubudget.__all__ == sorted(ubudget.__all__)
    assert all(getattr(ubudget, name) is not None for name in ubudget.__all__)
    assert set(ubudget.__all__) <= set(dir(ubudget))


def test_another_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="simulated"):
        ubudget.simulated  # noqa: B018


def test_the_door_is_light() -> None:
    said = subprocess.run(
        [sys.executable, "-c", "import sys, ubudget; print('numpy' in sys.modules, ubudget.__version__)"],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=True,
        cwd=Path(__file__).resolve().parents[2],
    )
    assert said.stdout.split() == ["False", ubudget.__version__]


def test_the_verbs(tmp_path: Path) -> None:
    evaluation = ubudget.evaluate(ubudget.read_run(str(EXAMPLE)))
    assert len(evaluation.results) == 52
    ubudget.write_workbook(evaluation, tmp_path / "book.xlsx")
    with pytest.raises(OutputExists):
        ubudget.write_workbook(evaluation, tmp_path / "book.xlsx")
    ubudget.write_workbook(evaluation, tmp_path / "book.xlsx", force=True)


def test_unusable_input_carries_every_finding(tmp_path: Path) -> None:
    with pytest.raises(UnusableInput) as refused:
        ubudget.read_run(tmp_path / "nowhere")
    assert refused.value.findings[0].severity == "stop"
