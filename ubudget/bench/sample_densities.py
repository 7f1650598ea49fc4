"""Air buoyancy with a density of its own for each sample or matrix: the factor of each portion.

A density of a matrix is one deviation for all its samples, one from the samples table for the portions of its sample.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ubudget.bench import air
from ubudget.bench.building import TableBuilder
from ubudget.bench.buoyancy import GROUP, QUANTITIES, SYMBOLS, left_out, table_of
from ubudget.bench.stated import Entry
from ubudget.quantity.expression import Symbol
from ubudget.records.buoyancy import AIR_UNITS, AirQuantity, Buoyancy
from ubudget.records.method import InputCase

DENSITY = QUANTITIES["sample_density"]


def density_of(symbol: str) -> str:
    """Name of the density of what is weighed."""
    return f"{symbol}.{SYMBOLS['sample_density']}"


def density_entries_of(symbol: str, buoyancy: Buoyancy) -> Iterator[tuple[InputCase, Entry]]:
    """Rows of the stated inputs, and where each applies; estimates of a column stand in the samples table."""
    path = ("symbols", symbol, "buoyancy")
    if buoyancy.sample_density is not None:
        yield InputCase(), _entry(symbol, buoyancy, buoyancy.sample_density, "all", (*path, "sample_density"))
    for number, case in enumerate(buoyancy.matrix_densities):
        yield InputCase(matrix=case.matrix), _entry(symbol, buoyancy, case, case.matrix, (*path, "for", number))


def _entry(symbol: str, buoyancy: Buoyancy, stated: AirQuantity, applies: str, path: tuple[str | int, ...]) -> Entry:
    exact = stated.exact or buoyancy.treatment == "left out"
    unit = AIR_UNITS["sample_density"]
    return Entry(density_of(symbol), applies, DENSITY, GROUP, unit, stated, stated.estimate, path, exact=exact)


def factor_by_sample(table: TableBuilder, symbol: str, buoyancy: Buoyancy, samples: Sequence[str]) -> Symbol:
    """Column of the factor in the table of portions, which holds the density of each already."""
    rho_air, rho_weights = (
        table.pick(f"{column} of {symbol}", table_of(symbol), column, [0] * table.size)
        for column in ("rho_air", "rho_weights")
    )
    factor = air.buoyancy_factor(rho_air, rho_weights, Symbol(density_of(symbol)))
    name, clause = f"{symbol}.buoyancy factor", "OIML D 28; EURAMET cg-18, 4.2"
    if buoyancy.treatment == "applied":
        return table.formula(name, f"buoyancy factor of {symbol}", "1", factor, clause)
    effect = table.formula(f"{symbol}.buoyancy effect", f"relative effect on {symbol}", "1", factor - 1, clause)
    deviation = left_out(table, symbol, buoyancy, effect, [("buoyancy left out", symbol, sample) for sample in samples])
    return table.formula(name, f"buoyancy factor of {symbol}", "1", 1 + deviation)
