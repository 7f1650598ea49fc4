"""Propagation, coverage, budget: what follows from a graph."""
