"""Settings of the whole test run."""

import gc
import os

import pytest
from hypothesis import settings

# Drawn examples are the same at every run in CI: a change is judged by what it changes, not by luck.
# No deadline: a slow machine is not a defect of the code.
settings.register_profile("desk", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True, database=None, print_blob=True)
settings.load_profile("ci" if os.environ.get("CI") else "desk")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest tests first: at the end one of them would leave the other workers without work."""
    items.sort(key=lambda item: "tests/workbooks/" not in item.nodeid)


def pytest_collection_finish() -> None:
    """What was imported stays to the end: the collector of garbage need not walk through it again and again."""
    gc.collect()
    gc.freeze()
