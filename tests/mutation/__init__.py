"""Workbooks changed in every way that the check should find."""
