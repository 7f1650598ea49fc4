"""Damaged and hostile input, drawn from a seed."""
