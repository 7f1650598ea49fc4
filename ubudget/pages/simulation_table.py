"""Simulated results for a terminal: both intervals side by side, and which results need that of the simulation."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ubudget.evaluation.simulated_results import SimulatedResult, SimulatedResults
from ubudget.evaluation.trial_statistics import SHORTEST
from ubudget.pages.figures import plain
from ubudget.pages.listing import WIDTH, TextColumn, table_lines, wrapped
from ubudget.pages.results_table import result_label
from ubudget.pages.wording import fixed

NONE = "none"
NAMED = 12
"""Results that are named before the others are only counted."""


def simulation_lines(simulated: SimulatedResults, width: int = WIDTH) -> Iterator[str]:
    """Table, which first-order intervals are not accepted, notes, and how it was simulated."""
    notes = list(dict.fromkeys(one.reason for one in simulated.results if one is not None and one.reason))
    yield from table_lines(list(_columns(simulated, notes)), width=width)
    yield ""
    yield from wrapped(_verdict(simulated), width=width)
    if notes:
        yield ""
        for number, note in enumerate(notes, start=1):
            yield from wrapped(note, f"{number}: ", "   ", width)
    yield ""
    yield from wrapped(_how(simulated), width=width)


def _columns(simulated: SimulatedResults, notes: Sequence[str]) -> Iterator[TextColumn]:
    results = [simulated.evaluation.results[row] for row in simulated.rows]
    pairs = list(zip(results, simulated.results, strict=True))
    yield TextColumn("result", [result_label(result) for result in results])
    first = [_interval(None if one is None else one.first_order_interval, result.decimals) for result, one in pairs]
    yield TextColumn("first order", first, "right")
    found = [_interval(None if one is None else one.interval, result.decimals) for result, one in pairs]
    yield TextColumn("simulated", found, "right")
    yield TextColumn("u", [_figure(result.standard_uncertainty) for result in results], "right")
    again = [_figure(None if one is None else one.standard_uncertainty) for one in simulated.results]
    yield TextColumn("u sim.", again, "right")
    yield TextColumn("agree", [_agree(one) for one in simulated.results], "right")
    if notes:
        yield TextColumn("note", [_note(one, notes) for one in simulated.results], "right")


def _interval(ends: tuple[float, float] | None, decimals: int) -> str:
    return NONE if ends is None else " to ".join(fixed(end, decimals) for end in ends)


def _figure(number: float | None) -> str:
    return NONE if number is None else plain(number, 3)


def _agree(one: SimulatedResult | None) -> str:
    return "" if one is None else "yes" if one.first_order_valid else "no"


def _note(one: SimulatedResult | None, notes: Sequence[str]) -> str:
    return "" if one is None or not one.reason else str(notes.index(one.reason) + 1)


def _verdict(simulated: SimulatedResults) -> str:
    refused = [result_label(one.result) for one in simulated.to_look_at]
    sound = sum(one is not None for one in simulated.results)
    if not refused:
        return (
            f"The first-order interval y ± U is accepted for all {sound} results."
            if sound > 1
            else ("The first-order interval y ± U is accepted." if sound else "No result has a value to simulate.")
        )
    more = f" and {len(refused) - NAMED} more" if len(refused) > NAMED else ""
    named = "all results" if len(refused) == sound > 1 else f"{', '.join(refused[:NAMED])}{more}"
    return f"The simulated interval is needed for {named}: y ± U differs from it by more than the tolerance of u."


def _how(simulated: SimulatedResults) -> str:
    settings = simulated.settings
    trials = [one.trials for one in simulated.results if one is not None]
    low, high = min(trials, default=0), max(trials, default=0)
    number = f"{low:,}" if low == high else f"{low:,} to {high:,}"
    kind = "shortest" if settings.interval == SHORTEST else "probabilistically symmetric"
    until = (
        "as fixed"
        if settings.trials is not None
        else f"until stable to {settings.digits} significant digit{'s' if settings.digits > 1 else ''} of u"
    )
    return (
        f"Intervals of {100 * settings.probability:g} %, {kind}; {number} trials, {until}, seed {settings.seed} "
        f"(JCGM 101:2008, 7.7, 7.9 and 8, with the stopping rule of two stages)."
    )
