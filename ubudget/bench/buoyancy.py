"""Air buoyancy of a weighing: a factor on the net mass, or the size of the effect as an uncertainty.

Each weighing symbol with buoyancy has a table of one row: conditions, density of air, densities, factor. The conditions
are rows of the stated inputs, so that each is one deviation of the run.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence

import numpy as np

from ubudget.bench import air
from ubudget.bench.building import TableBuilder
from ubudget.bench.context import Context, method_place
from ubudget.bench.stated import TABLE as INPUTS
from ubudget.bench.stated import Entry
from ubudget.quantity.distributions import divisor
from ubudget.quantity.expression import Expression, Number, Symbol, apply
from ubudget.quantity.graph import Trait
from ubudget.records.buoyancy import AIR_UNITS, Buoyancy
from ubudget.records.stated import Stated
from ubudget.records.weighing import Weighing

GROUP = "buoyancy"
WEIGHTS_DENSITY = 8000.0
"""kg/m^3, density of the weights by the convention of OIML D 28."""
QUANTITIES = {
    "temperature": "temperature of the air",
    "pressure": "pressure of the air",
    "humidity": "relative humidity of the air",
    "carbon_dioxide": "mole fraction of carbon dioxide",
    "air_density": "density of the air",
    "sample_density": "density of the sample",
}
SYMBOLS = {
    "temperature": "t",
    "pressure": "p",
    "humidity": "h",
    "carbon_dioxide": "x_CO2",
    "air_density": "rho_air stated",
    "sample_density": "rho_sample",
}


def table_of(symbol: str) -> str:
    """Name of the table of one symbol's buoyancy."""
    return f"buoyancy of {symbol}"


def weighing_entries(symbol: str, operation: Weighing) -> dict[str, Entry]:
    """Rows of the stated inputs that a weighing needs: conditions of the air, densities, the vessel."""
    entries = {}
    if operation.vessel is not None:
        # About what the vessel weighs: loads only, so that it is no input quantity of the budget.
        entries["vessel"] = Entry(
            f"{symbol}.vessel",
            "all",
            "mass of the vessel, for deviations that depend on the load",
            "weighing",
            operation.unit,
            Stated(exact=True, source=operation.source),
            operation.vessel,
            ("symbols", symbol),
            "vessel",
            exact=True,
        )
    buoyancy = operation.buoyancy
    for key, stated in buoyancy.quantities.items() if buoyancy else ():
        if key == "sample_density" and buoyancy is not None and buoyancy.by_sample:
            continue
        entries[key] = Entry(
            f"{symbol}.{SYMBOLS[key]}",
            "all",
            QUANTITIES[key],
            GROUP,
            AIR_UNITS[key],
            stated,
            stated.estimate,
            ("symbols", symbol, "buoyancy", key),
            exact=stated.exact or (buoyancy is not None and buoyancy.treatment == "left out"),
        )
    return entries


def build_buoyancy(context: Context, symbol: str, buoyancy: Buoyancy, rows: dict[str, int]) -> None:
    """Table of one symbol; `rows` are its rows of the stated inputs. Column `factor` multiplies the net mass; where the
    density differs from sample to sample, the factor stands with the portions (`bench.sample_densities`)."""
    table = TableBuilder(table_of(symbol), f"Air buoyancy of {symbol}", 1, context.shared)
    table.label("treatment", "treatment", [buoyancy.treatment])
    if buoyancy.by_sample:
        _air_and_weights(context, table, symbol, buoyancy, rows)
        context.tables[table.name] = table.build()
        return
    if buoyancy.bound is not None:
        bound = context.in_unit(buoyancy.bound, "1", "method", f"symbol {symbol}, buoyancy, bound")
        place = method_place("symbols", symbol, "buoyancy", "bound", unit="1")
        effect: Expression = table.given("effect", "relative effect, declared bound", "1", [bound or 0.0], [place])
    else:
        factor = _factor(context, table, symbol, buoyancy, rows)
        if buoyancy.treatment == "applied":
            table.formula("factor", "buoyancy factor", "1", factor, "OIML D 28; EURAMET cg-18, 4.2")
            context.tables[table.name] = table.build()
            return
        effect = table.formula("effect", "relative effect", "1", factor - 1, "OIML D 28; EURAMET cg-18, 4.2")
    deviation = left_out(table, symbol, buoyancy, effect, None)
    table.formula("factor", "buoyancy factor", "1", 1 + deviation)
    context.tables[table.name] = table.build()


def left_out(
    table: TableBuilder, symbol: str, buoyancy: Buoyancy, effect: Expression, members: Sequence[Hashable] | None
) -> Symbol:
    """The effect that is left out, as a deviation within its size."""
    name = f"{symbol}.buoyancy left out"
    source = "buoyancy is left out: declared bound |effect|, rectangular"
    u = apply("abs", effect) / divisor("rectangular")
    trait = Trait(name, "air buoyancy, left out", GROUP, "B", "rectangular", _joined(source, buoyancy.source))
    return table.deviation(name, name, "1", u, [trait] * table.size, members=members, clause="GUM 4.3.7")


def _factor(context: Context, table: TableBuilder, symbol: str, buoyancy: Buoyancy, rows: dict[str, int]) -> Expression:
    rho_air, rho_weights = _air_and_weights(context, table, symbol, buoyancy, rows)
    return air.buoyancy_factor(rho_air, rho_weights, _quantity(table, "sample_density", rows))


def _air_and_weights(
    context: Context, table: TableBuilder, symbol: str, buoyancy: Buoyancy, rows: dict[str, int]
) -> tuple[Symbol, Symbol]:
    """Columns `rho_air` and `rho_weights`."""
    if buoyancy.air_of:
        beyond = table.pick("rho_air there", table_of(buoyancy.air_of), "rho_air", [0])
        rho_air = table.formula("rho_air", f"density of air, as for {buoyancy.air_of}", "kg/m^3", beyond)
    elif buoyancy.formula is not None:
        rho_air = _calculated_density(table, symbol, buoyancy, rows)
    else:
        rho_air = table.formula("rho_air", "density of air", "kg/m^3", _stated(table, "air_density", rows))
    density, place = WEIGHTS_DENSITY, None
    if buoyancy.weights_density is not None:
        stated = context.in_unit(buoyancy.weights_density, "kg/m^3", "method", f"symbol {symbol}, weights_density")
        density = stated or WEIGHTS_DENSITY
        place = method_place("symbols", symbol, "buoyancy", "weights_density", unit="kg/m^3")
    rho_weights = table.given("rho_weights", "density of the weights", "kg/m^3", np.array([density]), [place])
    return rho_air, rho_weights


def _calculated_density(table: TableBuilder, symbol: str, buoyancy: Buoyancy, rows: dict[str, int]) -> Symbol:
    """Density of air from its conditions, each intermediate quantity a column of its own."""
    formula = str(buoyancy.formula)
    t, p, h = (_quantity(table, key, rows) for key in ("temperature", "pressure", "humidity"))
    if formula == "simplified":
        calculated = air.density_short(p, h, t)
        clause = "OIML R 111-1:2004, E.3"
    else:
        T = table.formula("T", "T", "K", t + air.KELVIN)
        p_pa = table.formula("p_Pa", "p in Pa", "Pa", 100 * p)
        carbon: Expression = Number(air.CARBON_DIOXIDE)
        if "carbon_dioxide" in rows:
            carbon = _quantity(table, "carbon_dioxide", rows)
        source = "CIPM-2007, A1"
        p_sv = table.formula("p_sv", "saturation pressure p_sv", "Pa", air.saturation_pressure(T), source)
        f = table.formula("f", "enhancement factor f", "1", air.enhancement(p_pa, t), source)
        x_v = table.formula(
            "x_v", "mole fraction of vapour x_v", "1", air.vapour_fraction(h / 100, f, p_sv, p_pa), source
        )
        Z = table.formula("Z", "compressibility Z", "1", air.compressibility(p_pa, T, t, x_v), source)
        M_a = table.formula("M_a", "molar mass of dry air M_a", "kg/mol", air.dry_molar_mass(carbon), source)
        calculated = air.density_cipm(p_pa, T, Z, x_v, M_a)
        clause = "CIPM-2007, equation 1"
    name = f"{symbol}.air density formula"
    trait = Trait(name, f"formula {formula} for the density of air, relative", GROUP, "B", "normal", clause)
    error = table.deviation(name, name, "1", Number(air.U_FORMULA[formula]), [trait])
    return table.formula("rho_air", "density of air", "kg/m^3", calculated * (1 + error), clause)


def _quantity(table: TableBuilder, key: str, rows: dict[str, int]) -> Symbol:
    """A stated quantity as a column of its own."""
    return table.formula(SYMBOLS[key], QUANTITIES[key], AIR_UNITS[key], _stated(table, key, rows))


def _stated(table: TableBuilder, key: str, rows: dict[str, int]) -> Symbol:
    return table.pick(f"{key} stated", INPUTS, "estimate", [rows[key]])


def _joined(source: str, more: str) -> str:
    return f"{source}; {more}" if more else source
