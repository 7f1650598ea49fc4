"""The targets of a method in one list: the one for all results first, then the tables of single cases."""

from __future__ import annotations

from dataclasses import dataclass

from ubudget.records.method import Method
from ubudget.records.target import Target


@dataclass(frozen=True)
class StatedTarget:
    """A target with the place of its figure in the method file."""

    target: Target
    path: tuple[str | int, ...]
    place: str
    """For findings."""


def stated_targets(method: Method) -> list[StatedTarget]:
    """`target_uncertainty`, an expanded one for all results without a case of their own, then `[[target]]`."""
    general = method.document.target_uncertainty
    found = []
    if general is not None:
        found.append(StatedTarget(Target(U=general), ("method", "target_uncertainty"), "method, target_uncertainty"))
    for number, target in enumerate(method.targets):
        found.append(StatedTarget(target, ("target", number, target.key), f"target {number + 1}, {target.key}"))
    return found
