"""From a stock solution to the solution that is read: chains of preparations, and what each solution contains."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from ubudget.quantity.units import UnitError, dimension
from ubudget.records.amount import Amount
from ubudget.records.preparation import Density, DilutionStep
from ubudget.records.records import Records, Role
from ubudget.records.register import ReferenceMaterial
from ubudget.records.run_index import LONGEST_CHAIN
from ubudget.records.stated import Stated
from ubudget.records.unit_comparison import in_unit

Basis = Literal["volume", "mass"]
"""What a content refers to: mass concentration is of a volume, mass fraction of a mass."""
MASS, VOLUME, DENSITY = "g", "mL", "g/mL"
"""Units in which nominal contents are compared; g/mL is kg/L, so that mg/kg times g/mL is mg/L."""


@dataclass(frozen=True)
class Preparation:
    """A solution made by steps, of the run or kept in the register."""

    label: str
    document: Role
    path: tuple[str | int, ...]
    source: str
    """What it was made from; empty: the stock solution of each analyte that the run names."""
    analytes: tuple[str, ...]
    steps: tuple[DilutionStep, ...]
    stability: Stated | None = None


@dataclass(frozen=True)
class Chain:
    """Preparations from the one made from the stock solution to the last, and that stock solution."""

    links: tuple[Preparation, ...]
    stock: str


@dataclass(frozen=True)
class Solutions:
    """All prepared solutions that a run can use, and the materials they come from."""

    prepared: Mapping[str, Preparation]
    materials: Mapping[str, ReferenceMaterial]
    stocks: Mapping[str, str]
    """Analyte → register item that the run names."""

    def chain(self, label: str, analyte: str) -> Chain | None:
        """The chain of an analyte to a solution; `None` where it breaks or closes."""
        links = self.links(label)
        if links is None:
            return None
        stock = links[0].source or self.stocks.get(analyte, "")
        return Chain(links, stock) if stock in self.materials else None

    def behind(self, label: str) -> tuple[Preparation, ...]:
        """Preparations on the way to a solution, the first one first; a circle is walked once, and more than
        `LONGEST_CHAIN` of them are as good as a circle."""
        found: list[Preparation] = []
        seen: set[str] = set()
        while label in self.prepared and label not in seen and len(found) < LONGEST_CHAIN:
            seen.add(label)
            found.append(self.prepared[label])
            label = found[-1].source
        return tuple(reversed(found))

    def links(self, label: str) -> tuple[Preparation, ...] | None:
        """Preparations back to the one that is made from no prepared solution; `None` for a circle."""
        found = self.behind(label)
        return found if found and found[0].source not in self.prepared else None

    def made_from_itself(self, label: str) -> bool:
        found = self.behind(label)
        return bool(found) and found[0].source == label

    def contains(self, label: str, analyte: str) -> bool:
        """Whether a solution contains an analyte, as far as the records say."""
        links = self.links(label)
        if links is None:
            return False
        for link in reversed(links):
            if link.analytes:
                return analyte in link.analytes
        first = links[0].source
        return analyte in self.stocks if not first else self.certified(first, analyte) is not None

    def certified(self, item: str, analyte: str) -> Amount | None:
        """The value of a material for an analyte by its newest certificate; for comparing levels, not for results."""
        material = self.materials.get(item)
        certificates = sorted(material.certificates, key=lambda each: each.issued) if material else []
        values = [value for each in certificates for value in each.properties if value.analyte in ("", analyte)]
        return values[-1].value if values else None


def solutions_of(records: Records) -> Solutions:
    """Prepared solutions of the register and, before them, of the run."""
    register, run = records.register, records.run
    prepared: dict[str, Preparation] = {}
    for number, item in enumerate(register.prepared_standards if register else ()):
        path = ("prepared_standard", number)
        prepared[item.id] = Preparation(
            item.id, "register", path, item.source, item.analytes, item.steps, item.stability
        )
    for number, standard in enumerate(run.file.standards if run else ()):
        if standard.steps:
            path = ("standard", number)
            prepared[standard.label] = Preparation(
                standard.label, "run", path, standard.source, standard.analytes, standard.steps
            )
    materials = {item.id: item for item in register.reference_materials} if register else {}
    stocks = {analyte: stock.item for analyte, stock in run.file.stocks.items()} if run else {}
    return Solutions(prepared, materials, stocks)


def used_preparations(records: Records) -> tuple[Preparation, ...]:
    """Solutions made by steps on which the run's standards and additions rest, each after what it is made from."""
    run = records.run
    if run is None:
        return ()
    solutions = solutions_of(records)
    labels = [standard.label for standard in run.file.standards]
    labels += [addition.standard for addition in run.file.additions]
    found = {link.label: link for label in labels for link in solutions.behind(label)}
    return tuple(found.values())


def basis_of(unit: str) -> Basis | None:
    """What a unit of content refers to; `None` where it is neither mass concentration nor mass fraction."""
    try:
        powers = dict(dimension(unit).powers)
    except UnitError:
        return None
    if not powers:
        return "mass"
    named = {base.strip("[]"): power for base, power in powers.items()}
    return "volume" if named == {"mass": 1, "length": -3} else None


def made_basis(step: DilutionStep, wanted: Basis) -> Basis:
    """What the content of the solution made refers to: as it is wanted, where volume, mass or density allow it."""
    own: Basis = "volume" if step.to else "mass"
    return wanted if step.density_made is not None else own


def needs_density(step: DilutionStep, source: Basis) -> bool:
    """Whether the solution taken is measured by what its content does not refer to."""
    return (source == "volume") != bool(step.aliquot)


def needs_density_made(step: DilutionStep, made: Basis) -> bool:
    return (made == "volume") != bool(step.to)


def nominal_factor(
    volumes: Mapping[str, Amount], step: DilutionStep, source: Basis = "volume", made: Basis = "volume"
) -> float | None:
    """Content of the solution made over that of the solution taken, from nominal volumes; `None` where a number is
    missing, which is another finding."""
    if step.set_to is not None:
        volumes = {**volumes, step.aliquot: step.set_to}
    taken = _amount(volumes, step.aliquot, step.aliquot_mass)
    total = _amount(volumes, step.to, step.total_mass)
    if needs_density(step, source):
        taken = _by_density(taken, step.density, bool(step.aliquot))
    if needs_density_made(step, made):
        total = _by_density(total, step.density_made, bool(step.to))
    return taken / total if taken and total else None


def _amount(volumes: Mapping[str, Amount], ware: str, mass: Amount | None) -> float | None:
    if mass is not None:
        return in_unit(mass.value, mass.unit, MASS)
    nominal = volumes.get(ware)
    return in_unit(nominal.value, nominal.unit, VOLUME) if nominal else None


def _by_density(amount: float | None, density: Density | None, from_volume: bool) -> float | None:
    rho = in_unit(density.value.value, density.value.unit, DENSITY) if density else None
    if amount is None or not rho:
        return None
    return amount * rho if from_volume else amount / rho
