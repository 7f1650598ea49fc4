"""Rounding as spreadsheets and laboratories do it: half away from zero, judged on 15 significant digits."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


def to_digits(x: npt.ArrayLike, digits: int = 15) -> Array:
    """`x` brought to that many significant digits. Shape of `x`."""
    x = np.asarray(x, float)
    magnitude = np.floor(np.log10(np.abs(x), where=x != 0, out=np.zeros_like(x)))
    # The logarithm of 999999999999998 is 15 in binary: one digit too many would be taken off.
    magnitude = magnitude - (np.abs(x) < np.power(10.0, magnitude)) * (x != 0)
    # A quotient, not a product with a negative power of ten: powers of ten up to 1e22 are exact.
    shift = digits - 1 - magnitude
    up = np.power(10.0, np.clip(shift, 0, 300))
    down = np.power(10.0, np.clip(-shift, 0, 300))
    rounded: Array = np.rint(x / down * up) / up * down
    return rounded


def round_half_up(x: npt.ArrayLike, decimals: npt.ArrayLike) -> Array:
    """`x` rounded to `decimals` places (negative: tens, hundreds …), halves away from zero.

    A value that is a half in its first 15 digits counts as a half, as in the ROUND of spreadsheets."""
    x, decimals = np.broadcast_arrays(np.asarray(x, float), np.asarray(decimals, float))
    up = np.power(10.0, np.clip(decimals, 0, 300))
    down = np.power(10.0, np.clip(-decimals, 0, 300))
    scaled = to_digits(np.abs(x) / down * up)
    rounded: Array = np.sign(x) * np.floor(scaled + 0.5) / up * down
    return rounded
