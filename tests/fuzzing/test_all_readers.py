"""Two thousand damaged files: records, findings or one line; `python -m tests.fuzzing.all_readers` reads many more."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.fuzzing.all_readers import Outcomes, fuzz

SHARE = 500


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("damaged")


@pytest.mark.parametrize("start", range(0, 2_000, SHARE))
def test_damaged_files(start: int, home: Path) -> None:
    outcomes: Outcomes = fuzz(SHARE, 1, home, texts=10, start=start)
    assert outcomes.faults == [], "\n".join(outcomes.faults)
    kinds = {kind for _, kind in outcomes.counts}
    assert kinds == {"read", "refused"} and outcomes.counts.total() == SHARE
