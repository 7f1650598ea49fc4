"""Why a result cannot be calculated, in words: the status of a row is a number whose digits name the reasons."""

from __future__ import annotations

from ubudget.evaluation.joined_words import STATUS_OF_JOINED

STATUS_WORDS = {
    1: "no reading left",
    2: "no concentration on the curve gives this reading",
    4: "the rule of weights gives no weight for this reading",
    6: "no concentration on the curve and no weight for this reading",
    10: "too few standards' readings for the line",
    20: "all standards at one concentration",
    30: "the calibration curve has no slope",
    40: "the calibration curve turns within its range",
    50: "the calibration curve has a pole in or near its range",
    60: "the calibration curve has not converged",
    70: "the readings do not rise with the addition",
    80: "the rule of weights gives no weight for a standard",
    100: "no procedural blank left",
    1000: "no concentration of an interferent",
}


def status_words(status: int) -> str:
    """A status in words; several at once are joined."""
    parts = []
    for unit in (1000, 100, 10, 1):
        digit = status // unit % 10
        if digit:
            parts.append((STATUS_WORDS | STATUS_OF_JOINED)[digit * unit])
    return "; ".join(parts)
