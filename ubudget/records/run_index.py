"""The tables of a run looked up by solution: made from what, read on which lines, what was left out."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from ubudget.records.run import Portion, Reading, Run, Solution

ReadingKey = tuple[str, str, str]
"""Solution, analyte, line."""
ReadingInBlock = tuple[str, str, str, str]
"""Solution, analyte, line, calibration block."""

LONGEST_CHAIN = 50
"""Dilutions one after another; serial dilutions have ten."""


@dataclass(frozen=True)
class RunIndex:
    portions: dict[str, Portion]
    """By the label of the solution made from it."""
    dilutions: dict[str, Solution]
    readings: dict[str, list[Reading]]
    left_out: dict[ReadingInBlock, set[int]]
    """Replicates left out, 1-based."""

    def chain(self, label: str) -> tuple[Solution, ...] | None:
        """Further dilutions from a portion's solution to the solution `label`, in order; `None` for a broken
        chain, a circle, and one longer than `LONGEST_CHAIN`."""
        steps: list[Solution] = []
        while label not in self.portions:
            solution = self.dilutions.get(label)
            if solution is None or len(steps) == LONGEST_CHAIN:
                return None
            steps.append(solution)
            label = solution.source
        return tuple(reversed(steps))

    def root(self, label: str) -> Portion | None:
        """The portion from which a solution was made."""
        steps = self.chain(label)
        if steps is None:
            return None
        return self.portions.get(steps[0].source if steps else label)

    def included(self, reading: Reading) -> int:
        """How many readings of a row count: all of them less those left out."""
        return len(self.kept(reading)) if reading.n is None else reading.n

    def kept(self, reading: Reading) -> tuple[float, ...]:
        """Replicate values of a row that were not left out."""
        out = self.left_out.get((reading.solution, reading.analyte, reading.line, reading.block), set())
        return tuple(value for number, value in enumerate(reading.values, start=1) if number not in out)

    def reported_elsewhere(self) -> set[ReadingKey]:
        """Readings of a solution whose analyte and line a further dilution made from it reports instead."""
        replaced: set[ReadingKey] = set()
        for label, solution in self.dilutions.items():
            sources = {step.source for step in self.chain(label) or ()}
            for reading in self.readings.get(label, []):
                if reports(solution, reading):
                    replaced |= {(source, reading.analyte, reading.line) for source in sources}
        return replaced


def index_of(run: Run) -> RunIndex:
    readings: dict[str, list[Reading]] = defaultdict(list)
    for reading in run.readings:
        readings[reading.solution].append(reading)
    left_out: dict[ReadingInBlock, set[int]] = defaultdict(set)
    for exclusion in run.file.exclusions:
        key = (exclusion.solution, exclusion.analyte, exclusion.line, exclusion.block)
        left_out[key].add(exclusion.replicate)
    return RunIndex(
        {portion.solution: portion for portion in run.portions},
        {solution.label: solution for solution in run.solutions},
        dict(readings),
        dict(left_out),
    )


def reports(solution: Solution, reading: Reading) -> bool:
    """Whether the result of a reading's analyte and line is taken from a further dilution."""
    return not solution.reports or reading.analyte in solution.reports or reading.line in solution.reports
