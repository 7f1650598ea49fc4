"""Density of moist air and the factor of air buoyancy, as expressions.

CIPM-2007: Picard, Davis, Glaeser, Fujii, Revised formula for the density of moist air, Metrologia 45 (2008) 149-155,
equation (1) and appendix A. Short formula: OIML R 111-1:2004, E.3; EURAMET cg-18 v4.0, Appendix A1. Buoyancy: OIML
D 28.

Temperature t in degC (T in K), pressure p in hPa, humidity h in %, densities in kg/m^3. CIPM-2007 takes p in Pa and h
as a fraction; the functions say what they take.
"""

from __future__ import annotations

from ubudget.quantity.expression import Expression, Operand, apply, as_expression

KELVIN = 273.15
GAS_CONSTANT = 8.314472
"""J/(mol K), CODATA 2006, as the paper fixes it."""
M_DRY, M_CARBON, CARBON_DIOXIDE = 28.96546e-3, 12.011e-3, 4e-4
"""kg/mol; mole fraction of carbon dioxide to which M_DRY belongs."""
M_WATER = 18.01528e-3
U_FORMULA = {"CIPM-2007": 22e-6, "simplified": 2.4e-4}
"""Relative standard uncertainty of the formula itself: the paper, section 3; cg-18, Appendix A1."""


def saturation_pressure(T: Operand) -> Expression:
    """Vapour pressure of water at saturation in Pa (A1.1)."""
    T = as_expression(T)
    return apply("exp", 1.2378847e-5 * T**2 - 1.9121316e-2 * T + 33.93711047 - 6.3431645e3 / T)


def enhancement(p: Operand, t: Operand) -> Expression:
    """Enhancement factor f; p in Pa (A1.2)."""
    return 1.00062 + 3.14e-8 * as_expression(p) + 5.6e-7 * as_expression(t) ** 2


def vapour_fraction(h: Operand, f: Operand, p_sv: Operand, p: Operand) -> Expression:
    """Mole fraction of water vapour; h as a fraction, p in Pa."""
    return as_expression(h) * f * p_sv / p


def compressibility(p: Operand, T: Operand, t: Operand, x_v: Operand) -> Expression:
    """Compressibility factor Z; p in Pa (A1.4)."""
    p, T, t, x_v = (as_expression(given) for given in (p, T, t, x_v))
    first = 1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t**2
    first = first + (5.707e-6 - 2.051e-8 * t) * x_v + (1.9898e-4 - 2.376e-6 * t) * x_v**2
    return 1 - p / T * first + (p / T) ** 2 * (1.83e-11 - 0.765e-8 * x_v**2)


def dry_molar_mass(x_carbon: Operand) -> Expression:
    """Molar mass of dry air in kg/mol at a mole fraction of carbon dioxide."""
    return M_DRY + M_CARBON * (as_expression(x_carbon) - CARBON_DIOXIDE)


def density_cipm(p: Operand, T: Operand, Z: Operand, x_v: Operand, M_a: Operand) -> Expression:
    """Density of moist air in kg/m^3; p in Pa (equation 1)."""
    p, M_a = as_expression(p), as_expression(M_a)
    return p * M_a / (Z * (GAS_CONSTANT * as_expression(T))) * (1 - x_v * (1 - M_WATER / M_a))


def density_short(p: Operand, h: Operand, t: Operand) -> Expression:
    """Density of moist air in kg/m^3 by the short formula; p in hPa, h in %."""
    p, h, t = (as_expression(given) for given in (p, h, t))
    return (0.34848 * p - 0.009 * h * apply("exp", 0.061 * t)) / (KELVIN + t)


def buoyancy_factor(rho_air: Operand, rho_weights: Operand, rho_sample: Operand) -> Expression:
    """Mass over balance reading, for a balance adjusted with weights of density `rho_weights` (OIML D 28)."""
    rho_air = as_expression(rho_air)
    return (1 - rho_air / rho_weights) / (1 - rho_air / rho_sample)
