"""A second calculation of a single budget, written apart from the rest; it imports nothing but the standard library."""
