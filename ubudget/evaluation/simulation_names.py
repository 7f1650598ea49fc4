"""Names of the table of simulated results and of the columns on which a coverage factor may rest."""

from __future__ import annotations

from ubudget.evaluation.trial_statistics import SHORTEST, SYMMETRIC

SIMULATION = "simulation"
TRIALS, VALUE, U, TOLERANCE, HALF = "trials", "simulated value", "simulated u", "tolerance", "half of the interval"
ENDS = {kind: (f"{kind} low", f"{kind} high") for kind in (SYMMETRIC, SHORTEST)}
ACCEPTED, CHANGED, ASYMMETRIC, REMARK = "accepted", "changed", "asymmetric", "remark"
FACTOR_MADE = "factor of the simulation"
"""Half of the interval over u as they were simulated; 0 where u of first order is 0."""
