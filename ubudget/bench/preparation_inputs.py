"""What solutions made by steps bring to the tables below them: densities, stability, ware and balances."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.bench.stated import Entry
from ubudget.records.amount import Amount
from ubudget.records.preparation import Density, DilutionStep
from ubudget.records.preparation_chains import MASS, Preparation, used_preparations
from ubudget.records.records import Records
from ubudget.records.volume import Dilution

GROUP = "standards"


def density_entries(records: Records, ware_unit: str) -> Iterator[Entry]:
    """Densities of the solutions that standards are made from, as stated input quantities."""
    for link in used_preparations(records):
        for turn, step in enumerate(link.steps):
            taken = link.label if turn else link.source or "stock"
            path = (*link.path, "step", turn)
            if step.density is not None:
                # One solution has one density, however often it is taken.
                member = ("density", taken)
                yield _density(f"density of {taken}", step.density, (*path, "density"), ware_unit, member, link)
            if step.density_made is not None:
                member = ("density", link.label)
                name = f"density of {link.label}"
                yield _density(name, step.density_made, (*path, "density_made"), ware_unit, member, link)


def stability_entries(records: Records) -> Iterator[tuple[str, Entry]]:
    """What keeping may have done to prepared standards of the register, by their ids."""
    for link in used_preparations(records):
        if link.stability is not None:
            path = (*link.path, "stability")
            words = "keeping of a prepared standard, relative"
            name = f"stability of {link.label}"
            yield (
                link.label,
                Entry(name, "all", words, GROUP, "", link.stability, None, path, document=link.document),
            )


def dilution_entries(symbol: str, operation: Dilution, ware_unit: str) -> Iterator[Entry]:
    """Densities that the method states for dilutions of samples."""
    for key in ("density", "density_made"):
        stated: Density | None = getattr(operation, key)
        if stated is not None:
            yield _density(f"{symbol}.{key}", stated, ("symbols", symbol, key), ware_unit, None, None)


def _density(
    name: str,
    stated: Density,
    path: tuple[str | int, ...],
    ware_unit: str,
    member: tuple[str, str] | None,
    link: Preparation | None,
) -> Entry:
    return Entry(
        name,
        "all",
        "density of a solution",
        GROUP if link else "dilution",
        f"{MASS}/{ware_unit}",
        stated,
        Amount(stated.value.value, stated.value.unit, stated.value.text),
        path,
        "value",
        member,
        document=link.document if link else "method",
    )


def steps_of_standards(records: Records) -> list[DilutionStep]:
    """Steps whose ware and balances the run uses."""
    return [step for link in used_preparations(records) for step in link.steps]
