"""Settings of a simulation, and what cannot be simulated."""

from __future__ import annotations

from dataclasses import dataclass, replace

from ubudget.errors import UbudgetError
from ubudget.evaluation.trial_numbers import FIRST, PLAIN, TWO_STAGES, Rule, block_size, fewest_trials
from ubudget.evaluation.trial_statistics import INTERVALS, SYMMETRIC
from ubudget.records.simulation import SimulationRule

BYTES = 8
SEED = 101
"""The seed where none is given; any other is as good."""
MEMORY = 256
"""MB for the trials where nothing else is said."""
FOR_VALUES, FOR_BLOCKS = 0.4, 0.2
"""Parts of the memory for values kept and for arrays in use; the rest is for sorting and for what is unrolled."""


@dataclass(frozen=True)
class Settings:
    """How to simulate. `trials` None = as many as the tolerance asks for, at one or two significant `digits` of u;
    `interval` is `symmetric` (probabilistically) or `shortest`.

    `memory` in MB bounds what the trials take; it has no influence on any figure, save that what does not become stable
    within it is told so."""

    trials: int | None = None
    digits: int = 2
    seed: int = SEED
    interval: str = SYMMETRIC
    probability: float = 0.9545
    memory: int = MEMORY
    rule: Rule = TWO_STAGES

    def __post_init__(self) -> None:
        """Raises `UbudgetError` for what cannot be simulated."""
        for found, accepted, sound in (
            (f"probability {self.probability:g}", "above 0 and below 1", 0 < self.probability < 1),
            (f"digits {self.digits}", "1 or 2", self.digits in (1, 2)),
            (f"seed {self.seed}", "a whole number from 0 on", self.seed >= 0),
            (f"interval {self.interval}", "symmetric or shortest", self.interval in INTERVALS),
            (f"rule {self.rule}", f"{TWO_STAGES} or {PLAIN}", self.rule in (TWO_STAGES, PLAIN)),
            (f"memory {self.memory} MB", "16 MB or more", self.memory >= 16),
        ):
            if not sound:
                raise UbudgetError(f"simulation: found {found}; accepted: {accepted}")
        if self.trials is not None and self.trials < fewest_trials(self.probability):
            raise UbudgetError(
                f"simulation: found {self.trials} trials; accepted: {fewest_trials(self.probability)} or more for an "
                f"interval of {100 * self.probability:g} % (JCGM 101 7.2); leave the number out, or raise it"
            )
        if self.most_trials < (self.trials or FIRST * block_size(self.probability)):
            raise UbudgetError(
                f"simulation: found {self.trials or FIRST * block_size(self.probability)} trials of one result in "
                f"{self.memory} MB; accepted: {self.most_trials} trials or fewer; raise the memory or lower the number"
            )

    @property
    def most_trials(self) -> int:
        """Trials of one result that the memory holds."""
        return int(FOR_VALUES * self.memory * 1e6 / BYTES)

    @property
    def room(self) -> float:
        """Bytes for the arrays in use while trials are calculated."""
        return FOR_BLOCKS * self.memory * 1e6


def settings_of(rule: SimulationRule, probability: float) -> Settings:
    """Settings as a method has them."""
    plain = Settings(probability=probability)
    return replace(
        plain,
        trials=rule.trials,
        digits=rule.digits or plain.digits,
        seed=plain.seed if rule.seed is None else rule.seed,
        interval=rule.interval,
    )
