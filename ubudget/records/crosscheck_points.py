"""Certificates with values at several points: points that belong together and rise, uses between them, set volumes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from ubudget.records.amount import Amount
from ubudget.records.amounts_used import Used, amounts_used
from ubudget.records.certified_points import BY_POINT, FROM_ZERO
from ubudget.records.crosscheck_balances import newest
from ubudget.records.finding import Finding
from ubudget.records.preparation import DilutionStep
from ubudget.records.preparation_chains import used_preparations
from ubudget.records.records import Records
from ubudget.records.register import VOLUMETRIC, Certificate, Equipment
from ubudget.records.unit_comparison import in_unit
from ubudget.records.uses import uses_of

ADJUSTABLE = frozenset({"piston pipette", "graduated pipette", "burette"})
"""Ware that delivers other volumes than its nominal one."""


def point_findings(records: Records) -> list[Finding]:
    register = records.register
    if register is None:
        return []
    file = records.file("register")
    found: list[Finding] = []
    for number, item in enumerate(register.equipment, start=1):
        for count, certificate in enumerate(item.certificates, start=1):
            place = f"equipment {number} ({item.id}), certificate {count} ({certificate.number})"
            found += _points(item, certificate, file, place)
    for number, material in enumerate(register.reference_materials, start=1):
        if any(certificate.by_point for certificate in material.certificates):
            words = f"reference_material {number} ({material.id})"
            wrong = "at, the point of a value, with a reference material"
            found.append(Finding("stop", file, words, wrong, "at with equipment only", "take it out"))
    items = {item.id: item for item in register.equipment}
    found += _set_volumes(records, items)
    if any(certificate.properties for item in items.values() for certificate in item.certificates):
        found += _certificates_of_uses(records, items)
    return found


# -- one certificate ------------------------------------------------------------------------------------------------


def _points(item: Equipment, certificate: Certificate, file: str, place: str) -> Iterator[Finding]:
    properties = certificate.properties
    if not certificate.by_point:
        if len(properties) > 1 and item.kind in VOLUMETRIC | {"balance"}:
            found = f"{len(properties)} values without at: the first one is taken for all uses"
            accepted = "one value; or at with each, the volume or load that it belongs to"
            yield Finding("attend", file, place, found, accepted, "add at to each property")
        return
    if item.kind not in BY_POINT:
        found, accepted = f"at, the point of a value, with a {item.kind}", ", ".join(sorted(BY_POINT))
        yield Finding("stop", file, place, found, accepted, "take at out; a mark has one value")
        return
    if item.use != "individual":
        found = f"values at several points of ware that is {item.use}"
        yield Finding("stop", file, place, found, 'use = "individual", a numbered piece', "number it, or take them out")
    unit = "g" if item.kind == "balance" else "mL"
    kind = "a mass" if item.kind == "balance" else "a volume"
    before: float | None = None
    for number, prop in enumerate(properties, start=1):
        here = f"{place}, property {number}"
        if prop.at is None:
            yield Finding("stop", file, f"{here}, at", "no at beside others", "at with each property", "add it")
            continue
        for key, amount in (("at", prop.at), ("value", prop.value), ("U", prop.U)):
            if in_unit(amount.value, amount.unit, unit) is None:
                found = f"{amount.text}, which does not convert to {unit}"
                yield Finding("stop", file, f"{here}, {key}", found, f"{kind} with its unit", "correct the unit")
        if prop.at.value == 0 and item.kind != "balance":
            yield Finding("stop", file, f"{here}, at", prop.at.text, "a volume above zero", "correct at")
        at = in_unit(prop.at.value, prop.at.unit, unit)
        if before is not None and at is not None and at <= before:
            found = f"{prop.at.text} after a point that is not smaller"
            yield Finding(
                "stop", file, f"{here}, at", found, "points that rise from entry to entry", "put them in order"
            )
        before = at


# -- uses -----------------------------------------------------------------------------------------------------------


def _set_volumes(records: Records, items: Mapping[str, Equipment]) -> Iterator[Finding]:
    """Set volumes of steps: of ware that can be set, in a unit of volume, and not above the nominal one."""
    for step, file, place in _steps(records):
        item, volume = items.get(step.aliquot), step.set_to
        if item is None or volume is None:
            continue
        key = f"{place}, set_to"
        if in_unit(volume.value, volume.unit, "mL") is None:
            found = f"{volume.text}, which does not convert to mL"
            yield Finding("stop", file, key, found, "a volume with its unit", "correct the unit")
        elif item.kind not in ADJUSTABLE:
            found, accepted = f"{volume.text} of {item.id}, a {item.kind}", ", ".join(sorted(ADJUSTABLE))
            yield Finding("stop", file, key, found, accepted, "take it out, or name the ware that was set")
        elif item.nominal is not None:
            most = in_unit(item.nominal.value, item.nominal.unit, volume.unit)
            if most is not None and volume.value > most:
                found = f"{volume.text} from {item.id} of {item.nominal.text}"
                remedy = "correct the value; ware filled twice is two volumes"
                yield Finding("attend", file, key, found, f"at most {item.nominal.text}", remedy)


def _steps(records: Records) -> Iterator[tuple[DilutionStep, str, str]]:
    for link in used_preparations(records):
        table = "prepared_standard" if link.document == "register" else "standard"
        for turn, step in enumerate(link.steps, start=1):
            place = f"{table} {int(link.path[1]) + 1} ({link.label}), step {turn}"
            yield step, records.file(link.document), place
    for solution in records.run.solutions if records.run else ():
        for step in solution.steps:
            yield step, records.file("solutions"), f"row {solution.row + 1} ({solution.label})"


def _certificates_of_uses(records: Records, items: Mapping[str, Equipment]) -> Iterator[Finding]:
    """Each use against the certificate of the item's day; told once for each item and end."""
    days = {item: uses[0].day for item, uses in uses_of(records).items()}
    run = records.run.file.run.date if records.run else None
    held = {key: newest(item.certificates, days.get(key, run)) for key, item in items.items()}
    told: set[tuple[str, str]] = set()
    for used in amounts_used(records):
        item, certificate = items.get(used.item), held.get(used.item)
        if item is None or certificate is None or not certificate.properties:
            continue
        words = _beyond(used, item, certificate) if certificate.by_point else _apart(used, item, certificate)
        if words is None or (item.id, words.kind) in told:
            continue
        told.add((item.id, words.kind))
        yield Finding("attend", records.file(used.document), used.place, words.found, words.accepted, words.remedy)


@dataclass(frozen=True)
class _Words:
    kind: str
    found: str
    accepted: str
    remedy: str


def _beyond(used: Used, item: Equipment, certificate: Certificate) -> _Words | None:
    """A use beyond the last point, or of a piston pipette below the first: error and U stay as they are there."""
    first, last = certificate.properties[0].at, certificate.properties[-1].at
    over, under = _over(used, last), _over(used, first)
    above = over is not None and over > 0
    below = item.kind not in FROM_ZERO and under is not None and under < 0
    if first is None or last is None or not (above or below):
        return None
    end, words = (last, "above the last") if above else (first, "below the first")
    found = (
        f"{used.amount.text} by {item.id}, {words} point of certificate {certificate.number}, {end.text}: "
        "error and U are taken as they are there"
    )
    low = "0" if item.kind in FROM_ZERO else first.text
    return _Words(words, found, f"{low} to {last.text}", "have it calibrated there, or take another item")


def _apart(used: Used, item: Equipment, certificate: Certificate) -> _Words | None:
    """A volume set in a step or an addition, by ware with one certified value that differs from nominal; volumes of
    the method's symbols are judged with the ware."""
    nominal, value = item.nominal, certificate.properties[0].value
    if nominal is None or used.document in ("method", "samples") or _over(used, nominal) in (None, 0.0):
        return None
    if in_unit(value.value, value.unit, nominal.unit) in (None, nominal.value):
        return None
    found = (
        f"{used.amount.text} by {item.id}, certified {value.text} at {nominal.text} ({certificate.number}): "
        "the correction is not applied"
    )
    remedy = "add the certified values of other volumes, each with at"
    return _Words("set", found, "a certificate with values at several volumes", remedy)


def _over(used: Used, point: Amount | None) -> float | None:
    """By how much a use lies above a point."""
    value = in_unit(used.amount.value, used.amount.unit, point.unit) if point else None
    return None if point is None or value is None else value - point.value
