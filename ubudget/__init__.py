"""Measurement uncertainty budgets and metrological traceability for elemental-analysis laboratories."""

from ubudget.version import __version__

__all__ = ["__version__"]
