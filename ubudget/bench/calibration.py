"""The calibration of a run, from stock solutions to measured lines and blanks."""

from __future__ import annotations

from ubudget.bench.blank import build_blanks
from ubudget.bench.corrections import build_corrections
from ubudget.bench.curve import build_curves
from ubudget.bench.inverse import build_signals
from ubudget.bench.kinds import kind_of
from ubudget.bench.standards import build_standards, rows_by_key, standard_rows
from ubudget.bench.stocks import build_stocks
from ubudget.bench.structure import Structure
from ubudget.bench.symbol_rows import SymbolRows
from ubudget.records.calibration import Calibration
from ubudget.records.method import Blank
from ubudget.records.preparation_chains import solutions_of


def build_calibration(rows: SymbolRows, structure: Structure) -> None:
    """Tables of the one calibration symbol of a method, and of its blank symbol."""
    context = rows.context
    run = context.records.run
    assert run is not None
    unit = run.file.run.reading_unit
    for symbol, calibration in rows.each(Calibration)[:1]:
        analytes = list(dict.fromkeys(analyte for analyte, _ in structure.lines))
        standards = standard_rows(solutions_of(context.records), run.file.standards, analytes)
        named = [(row.chain.stock, row.analyte) for row in standards if row.chain]
        stocks = build_stocks(context, analytes, calibration.unit, named)
        read = [item.solution for item in structure.standard_readings]
        build_standards(rows, standards, calibration.unit, stocks, read, rows.temperature_of(symbol))
        keys = rows_by_key(standards)
        corrections = build_corrections(context, structure, symbol, calibration, unit)
        build_curves(context, structure, symbol, calibration, unit, keys, rows.preparation_rows, corrections)
        build_signals(context, structure, symbol, calibration, unit, corrections)
        for blank_symbol, blank in rows.each(Blank)[:1]:
            build_blanks(context, structure, blank_symbol, blank, kind_of(calibration), unit, corrections)
