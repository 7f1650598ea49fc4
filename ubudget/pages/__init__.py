"""What leaves the house, still without files: the workbook as planned data, statements, derivations."""
