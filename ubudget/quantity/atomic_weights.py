"""Standard atomic weights of the elements, and how each becomes a value with a standard uncertainty.

Values and intervals: Standard atomic weights of the elements 2021 (IUPAC Technical Report), Pure Appl. Chem. 94 (2022)
573-600, Tables 1 and 2; zirconium, gadolinium and lutetium as changed by the IUPAC commission CIAAW in 2024.

Neither figure of that table is a standard uncertainty. An interval is read as a rectangular distribution between its
bounds, and so is the ± of a single value: Interpreting and propagating the uncertainty of the standard atomic weights
(IUPAC Technical Report), Pure Appl. Chem. 90 (2018) 395-424. Lithium, boron and lead of commercial reagents may lie
elsewhere; then the supplier's statement is given in the method in place of the standard weight.
"""

from __future__ import annotations

from dataclasses import dataclass

EDITION = "standard atomic weights 2021 (IUPAC), Pure Appl. Chem. 94 (2022) 573"
CHANGED = "standard atomic weight as changed in 2024 (IUPAC, CIAAW)"


@dataclass(frozen=True)
class SingleValue:
    """A ± U, relative atomic mass (in g/mol as a molar mass); U is a half-width."""

    name: str
    value: float
    U: float
    source: str = EDITION


@dataclass(frozen=True)
class Interval:
    """Bounds of the atomic weight in normal materials, relative atomic mass."""

    name: str
    lower: float
    upper: float
    source: str = EDITION


STANDARD_WEIGHTS: dict[str, SingleValue | Interval] = {
    "H": Interval("hydrogen", 1.00784, 1.00811),
    "He": SingleValue("helium", 4.002602, 0.000002),
    "Li": Interval("lithium", 6.938, 6.997),
    "Be": SingleValue("beryllium", 9.0121831, 0.0000005),
    "B": Interval("boron", 10.806, 10.821),
    "C": Interval("carbon", 12.0096, 12.0116),
    "N": Interval("nitrogen", 14.00643, 14.00728),
    "O": Interval("oxygen", 15.99903, 15.99977),
    "F": SingleValue("fluorine", 18.998403162, 0.000000005),
    "Ne": SingleValue("neon", 20.1797, 0.0006),
    "Na": SingleValue("sodium", 22.98976928, 0.00000002),
    "Mg": Interval("magnesium", 24.304, 24.307),
    "Al": SingleValue("aluminium", 26.9815384, 0.0000003),
    "Si": Interval("silicon", 28.084, 28.086),
    "P": SingleValue("phosphorus", 30.973761998, 0.000000005),
    "S": Interval("sulfur", 32.059, 32.076),
    "Cl": Interval("chlorine", 35.446, 35.457),
    "Ar": Interval("argon", 39.792, 39.963),
    "K": SingleValue("potassium", 39.0983, 0.0001),
    "Ca": SingleValue("calcium", 40.078, 0.004),
    "Sc": SingleValue("scandium", 44.955907, 0.000004),
    "Ti": SingleValue("titanium", 47.867, 0.001),
    "V": SingleValue("vanadium", 50.9415, 0.0001),
    "Cr": SingleValue("chromium", 51.9961, 0.0006),
    "Mn": SingleValue("manganese", 54.938043, 0.000002),
    "Fe": SingleValue("iron", 55.845, 0.002),
    "Co": SingleValue("cobalt", 58.933194, 0.000003),
    "Ni": SingleValue("nickel", 58.6934, 0.0004),
    "Cu": SingleValue("copper", 63.546, 0.003),
    "Zn": SingleValue("zinc", 65.38, 0.02),
    "Ga": SingleValue("gallium", 69.723, 0.001),
    "Ge": SingleValue("germanium", 72.630, 0.008),
    "As": SingleValue("arsenic", 74.921595, 0.000006),
    "Se": SingleValue("selenium", 78.971, 0.008),
    "Br": Interval("bromine", 79.901, 79.907),
    "Kr": SingleValue("krypton", 83.798, 0.002),
    "Rb": SingleValue("rubidium", 85.4678, 0.0003),
    "Sr": SingleValue("strontium", 87.62, 0.01),
    "Y": SingleValue("yttrium", 88.905838, 0.000002),
    "Zr": SingleValue("zirconium", 91.222, 0.003, CHANGED),
    "Nb": SingleValue("niobium", 92.90637, 0.00001),
    "Mo": SingleValue("molybdenum", 95.95, 0.01),
    "Ru": SingleValue("ruthenium", 101.07, 0.02),
    "Rh": SingleValue("rhodium", 102.90549, 0.00002),
    "Pd": SingleValue("palladium", 106.42, 0.01),
    "Ag": SingleValue("silver", 107.8682, 0.0002),
    "Cd": SingleValue("cadmium", 112.414, 0.004),
    "In": SingleValue("indium", 114.818, 0.001),
    "Sn": SingleValue("tin", 118.710, 0.007),
    "Sb": SingleValue("antimony", 121.760, 0.001),
    "Te": SingleValue("tellurium", 127.60, 0.03),
    "I": SingleValue("iodine", 126.90447, 0.00003),
    "Xe": SingleValue("xenon", 131.293, 0.006),
    "Cs": SingleValue("caesium", 132.90545196, 0.00000006),
    "Ba": SingleValue("barium", 137.327, 0.007),
    "La": SingleValue("lanthanum", 138.90547, 0.00007),
    "Ce": SingleValue("cerium", 140.116, 0.001),
    "Pr": SingleValue("praseodymium", 140.90766, 0.00001),
    "Nd": SingleValue("neodymium", 144.242, 0.003),
    "Sm": SingleValue("samarium", 150.36, 0.02),
    "Eu": SingleValue("europium", 151.964, 0.001),
    "Gd": SingleValue("gadolinium", 157.249, 0.002, CHANGED),
    "Tb": SingleValue("terbium", 158.925354, 0.000007),
    "Dy": SingleValue("dysprosium", 162.500, 0.001),
    "Ho": SingleValue("holmium", 164.930329, 0.000005),
    "Er": SingleValue("erbium", 167.259, 0.003),
    "Tm": SingleValue("thulium", 168.934219, 0.000005),
    "Yb": SingleValue("ytterbium", 173.045, 0.01),
    "Lu": SingleValue("lutetium", 174.96669, 0.00005, CHANGED),
    "Hf": SingleValue("hafnium", 178.486, 0.006),
    "Ta": SingleValue("tantalum", 180.94788, 0.00002),
    "W": SingleValue("tungsten", 183.84, 0.01),
    "Re": SingleValue("rhenium", 186.207, 0.001),
    "Os": SingleValue("osmium", 190.23, 0.03),
    "Ir": SingleValue("iridium", 192.217, 0.002),
    "Pt": SingleValue("platinum", 195.084, 0.009),
    "Au": SingleValue("gold", 196.966570, 0.000004),
    "Hg": SingleValue("mercury", 200.592, 0.003),
    "Tl": Interval("thallium", 204.382, 204.385),
    "Pb": Interval("lead", 206.14, 207.94),
    "Bi": SingleValue("bismuth", 208.98040, 0.00001),
    "Th": SingleValue("thorium", 232.0377, 0.0004),
    "Pa": SingleValue("protactinium", 231.03588, 0.00001),
    "U": SingleValue("uranium", 238.02891, 0.00003),
}
WITHOUT_STANDARD_WEIGHT = frozenset(
    {
        "Tc",
        "Pm",
        "Po",
        "At",
        "Rn",
        "Fr",
        "Ra",
        "Ac",
        "Np",
        "Pu",
        "Am",
        "Cm",
        "Bk",
        "Cf",
        "Es",
        "Fm",
        "Md",
        "No",
        "Lr",
        "Rf",
        "Db",
        "Sg",
        "Bh",
        "Hs",
        "Mt",
        "Ds",
        "Rg",
        "Cn",
        "Nh",
        "Fl",
        "Mc",
        "Lv",
        "Ts",
        "Og",
    }
)
"""Radioactive elements without a characteristic isotopic composition."""
