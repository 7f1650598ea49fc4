"""Quantities and the one graph of a run: operations, expressions, partial derivatives, distributions, units."""
