"""Cubic expansion of liquids and of the materials of ware, per kelvin near 20 degC."""

from __future__ import annotations

from dataclasses import dataclass

_STATE = "equation of state, {}, at 20 °C"
_HANDBOOK = "handbook densities at 20 and 25 °C (Riddick, Bunger, Sakano, Organic Solvents, 4th ed.)"
_PETROLEUM = "API MPMS 11.1 (1980), Table 54B = ASTM D1250, at 20 °C, for {} kg/m³ at 15 °C"


@dataclass(frozen=True)
class Expansion:
    """Cubic expansion in 1/K as written, and where it is from."""

    per_kelvin: str
    source: str

    @property
    def value(self) -> float:
        return float(self.per_kelvin)


LIQUIDS: dict[str, Expansion] = {
    "water": Expansion("2.07e-4", "Tanaka et al., Metrologia 38 (2001) 301-309, slope at 20 °C"),
    "methanol": Expansion("1.18e-3", _STATE.format("de Reuck, Craven 1993")),
    "ethanol": Expansion("1.08e-3", _STATE.format("Schroeder et al., J. Phys. Chem. Ref. Data 2014")),
    "1-propanol": Expansion("0.97e-3", _HANDBOOK),
    "2-propanol": Expansion("1.12e-3", _HANDBOOK),
    "acetone": Expansion("1.40e-3", _STATE.format("Lemmon, Span, J. Chem. Eng. Data 2006")),
    "MIBK": Expansion("1.18e-3", _HANDBOOK),
    "toluene": Expansion("1.07e-3", _STATE.format("Lemmon, Span, J. Chem. Eng. Data 2006")),
    "o-xylene": Expansion("0.96e-3", _STATE.format("Zhou et al., J. Phys. Chem. Ref. Data 2012")),
    "m-xylene": Expansion("0.99e-3", _STATE.format("Zhou et al., J. Phys. Chem. Ref. Data 2012")),
    "p-xylene": Expansion("1.01e-3", _STATE.format("Zhou et al., J. Phys. Chem. Ref. Data 2012")),
    "hexane": Expansion("1.37e-3", _STATE.format("Thol et al., Fluid Phase Equilib. 2019")),
    "isooctane": Expansion("1.19e-3", _HANDBOOK),
    "heptane": Expansion("1.23e-3", _STATE.format("Span, Wagner, Int. J. Thermophys. 2003")),
    "dodecane": Expansion("0.99e-3", _STATE.format("Lemmon, Huber, Energy Fuels 2004")),
    "tetralin": Expansion("0.72e-3", _HANDBOOK),
    "acetonitrile": Expansion("1.36e-3", "Perry's Chemical Engineers' Handbook, 8th ed., Table 2-32; VDI Heat Atlas"),
    "cyclohexane": Expansion("1.21e-3", _STATE.format("Zhou et al., J. Phys. Chem. Ref. Data 2014")),
    "cyclohexanone": Expansion("0.91e-3", "Perry's Chemical Engineers' Handbook, 8th ed., Table 2-32"),
    "petroleum spirit": Expansion("1.35e-3", _PETROLEUM.format(700)),
    "white spirit": Expansion("1.05e-3", _PETROLEUM.format(780)),
    "kerosene": Expansion("0.936e-3", _PETROLEUM.format(800)),
    "jet fuel": Expansion("0.924e-3", _PETROLEUM.format(805)),
    "base oil": Expansion("0.836e-3", _PETROLEUM.format(850)),
}

_GLASS = "ISO 4787:2010, cubic expansion of the material"

WARE_MATERIALS: dict[str, Expansion] = {
    "fused silica": Expansion("1.6e-6", _GLASS),
    "borosilicate 3.3": Expansion("9.9e-6", f"{_GLASS}; ISO 3585"),
    "borosilicate 5.0": Expansion("15e-6", _GLASS),
    "soda-lime glass": Expansion("27e-6", _GLASS),
    "polypropylene": Expansion("240e-6", f"{_GLASS}; grades differ, up to 450e-6 by makers' data"),
    "polymethylpentene": Expansion("351e-6", "three times the linear expansion 117e-6; grades differ"),
    "polystyrene": Expansion("210e-6", "three times the linear expansion 70e-6; grades differ"),
    "stainless steel": Expansion("48e-6", "three times the linear expansion 16e-6, grades 304 and 316"),
}
