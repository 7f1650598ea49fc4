"""Numbers in print."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ubudget.pages.figures import as_written, percent, plain


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0"),
        (1.0, "1"),
        (50_000_838.0, "50000838"),
        (0.5672, "0.5672"),
        (1 / 3, "0.3333333"),
        (-2.5e-6, "-2.5E-06"),
        (6.02214076e23, "6.022141E+23"),
        (1e99, "infinite"),
        (math.nan, "none"),
    ],
)
def test_plain(value: float, text: str) -> None:
    assert plain(value) == text


@given(st.floats(min_value=1e-30, max_value=1e30), st.sampled_from([1, -1]))
def test_plain_keeps_seven_digits(size: float, sign: int) -> None:
    assert float(plain(sign * size)) == pytest.approx(sign * size, rel=5.0001e-7)


@given(st.decimals(min_value="-99999999", max_value="99999999", places=5))
def test_as_written_keeps_what_was_written(written: object) -> None:
    assert float(as_written(float(str(written)))) == float(str(written))


@pytest.mark.parametrize(("share", "text"), [(0.0, "0.0 %"), (0.0001, "< 0.1 %"), (0.434, "43.4 %"), (-0.2, "-20.0 %")])
def test_percent(share: float, text: str) -> None:
    assert percent(share) == text
