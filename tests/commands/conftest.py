"""What tests of commands share."""

from __future__ import annotations

import signal
from collections.abc import Iterator

import pytest


@pytest.fixture
def ctrl_c_as_in_a_terminal() -> Iterator[None]:
    """What a shell starts in the background ignores SIGINT, and so would its children: here it is heard."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)
