"""What is said of a target, on the sheet, in the terminal and in JSON alike."""

from __future__ import annotations

NO_RESULT, NO_TARGET = "no result", "no target at this level"
MET, MISSED = "met", "not met"
ALREADY, NOT_ALONE = "it is met", "cannot: the rest alone exceeds the target"


def verdict_of(status: float, target: float, met: float) -> str:
    """Whether a target is met, in words."""
    if status > 0:
        return NO_RESULT
    if target == 0:
        return NO_TARGET
    return MET if met > 0 else MISSED


def shrunk_words(verdict: str, factor: float | None) -> str:
    """To what part of itself an u would have to come down; factor None or 0 = the rest alone exceeds the target."""
    if verdict in (NO_RESULT, NO_TARGET):
        return ""
    if verdict == MET:
        return ALREADY
    return f"{100 * factor:.1f} % of it" if factor else NOT_ALONE
