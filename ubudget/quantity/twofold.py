"""Sums and products that carry twice the digits of a double, on whole arrays.

A long double is no longer than a double on some platforms; pairs of doubles are the same everywhere. Error-free
transformations after Knuth (sum) and Dekker (product); the sum of products is as accurate as one computed in twice the
working precision and then rounded (Ogita, Rump and Oishi, SIAM J. Sci. Comput. 26 (2005) 1955, algorithm 5.3).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

_SPLITTER = 2.0**27 + 1.0
"""Cuts the 53 bits of a double into two halves whose products are exact."""


def two_sum(a: Array, b: Array) -> tuple[Array, Array]:
    """a + b as the rounded sum and what the rounding lost; shapes broadcast."""
    total = a + b
    part = total - a
    return total, (a - (total - part)) + (b - part)


def two_product(a: Array, b: Array) -> tuple[Array, Array]:
    """a·b as the rounded product and what the rounding lost; shapes broadcast, magnitudes below 1e300."""
    product = a * b
    a_high, a_low = _split(a)
    b_high, b_low = _split(b)
    return product, ((a_high * b_high - product) + a_high * b_low + a_low * b_high) + a_low * b_low


def _split(a: Array) -> tuple[Array, Array]:
    scaled = _SPLITTER * a
    high = scaled - (scaled - a)
    return high, a - high


def sum_twofold(terms: Array, losses: Array | float = 0.0) -> Array:
    """Sum of terms + losses over the last axis; the losses are small corrections of the terms."""
    low = np.broadcast_to(np.asarray(losses, float), terms.shape)
    while (count := terms.shape[-1]) > 1:
        half = count // 2
        high, lost = two_sum(terms[..., :half], terms[..., half : 2 * half])
        lost = lost + (low[..., :half] + low[..., half : 2 * half])
        # An odd one out waits for the next round.
        terms = np.concatenate([high, terms[..., 2 * half :]], axis=-1) if count % 2 else high
        low = np.concatenate([lost, low[..., 2 * half :]], axis=-1) if count % 2 else lost
    total: Array = (terms + low).sum(axis=-1)
    return total


def sum_products(a: Array, b: Array) -> Array:
    """Sum of a·b over the last axis; shapes broadcast."""
    return sum_twofold(*two_product(a, b))
