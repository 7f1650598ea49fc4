"""Changes of a plan in input quantities: masses, ware, certificates, stated uncertainties."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from ubudget.evaluation.certificates import Register as RegisterWalk
from ubudget.evaluation.plan_clauses import Clause
from ubudget.evaluation.planned_records import register_of, run_of, with_columns, with_symbol
from ubudget.records.amount import Amount
from ubudget.records.method import Input
from ubudget.records.preparation import DilutionStep
from ubudget.records.records import Records
from ubudget.records.register import VOLUMETRIC, Certificate, Equipment
from ubudget.records.run import Portion
from ubudget.records.stated import Stated
from ubudget.records.unit_comparison import in_unit
from ubudget.records.volume import Volume
from ubudget.records.weighing import BY_DIFFERENCE, READINGS, Weighing


def with_mass(records: Records, clause: Clause) -> Records:
    symbols = {
        name: symbol
        for name, symbol in records.method.symbols.items()
        if isinstance(symbol, Weighing) or (isinstance(symbol, Input) and symbol.column)
    }
    weighed = [name for name, symbol in symbols.items() if isinstance(symbol, Weighing)]
    name = clause.of or (weighed[0] if len(weighed) == 1 else "")
    symbol = symbols.get(name)
    if symbol is None:
        found = f"no mass {name}" if name else f"{len(weighed)} weighings in the method"
        accepted = f"mass SYMBOL=AMOUNT with one of: {', '.join(symbols) or 'none in this method'}"
        raise clause.refused(found, accepted, "name it")
    value = in_unit(clause.amount.value, clause.amount.unit, symbol.unit)
    if value is None:
        raise clause.refused(clause.amount.text, f"an amount in {symbol.unit}", "correct the unit")
    new = Amount(value, symbol.unit)
    if isinstance(symbol, Input):
        return with_columns(records, clause, lambda portion: {symbol.column: new})
    if symbol.reading != BY_DIFFERENCE:
        (reading,) = READINGS[symbol.reading]
        if not symbol.net_column:
            stated: dict[str, Any] = {reading: new}
            return with_symbol(records, name, replace(symbol, **stated))
        return with_columns(records, clause, lambda portion: {symbol.net_column: new})
    if not symbol.gross_column:
        tare = symbol.tare
        if tare is None:
            raise clause.refused("a tare that differs by portion", "columns of tare and gross", "leave it out")
        return with_symbol(records, name, replace(symbol, gross=_sum(tare, value, symbol.unit)))

    def gross(portion: Portion) -> dict[str, Amount | str]:
        tare = portion.columns.get(symbol.tare_column) if symbol.tare_column else symbol.tare
        return {symbol.gross_column: _sum(tare, value, symbol.unit)} if isinstance(tare, Amount) else {}

    return with_columns(records, clause, gross)


def _sum(tare: Amount, value: float, unit: str) -> Amount:
    return Amount((in_unit(tare.value, tare.unit, unit) or 0.0) + value, unit)


def with_ware(records: Records, clause: Clause) -> Records:
    item, register = clause.name, register_of(records, clause)
    pieces = {one.id: one for one in register.equipment if one.kind in VOLUMETRIC}
    if item not in pieces:
        accepted = f"ware of the register: {', '.join(pieces) or 'none'}"
        raise clause.refused(f"no ware {item} in the register", accepted, "correct it, or enter it in the register")
    symbol = records.method.symbols.get(clause.of)
    if isinstance(symbol, Volume):
        if symbol.of == "blank":
            raise clause.refused("a volume of the blank", "a volume of the sample", "choose another")
        if symbol.ware_column:
            return with_columns(records, clause, lambda portion: {symbol.ware_column: item})
        if not symbol.ware:
            accepted = "a volume whose ware is an item of the register"
            raise clause.refused(f"{clause.of}, whose limits the method states", accepted, "choose another")
        return with_symbol(records, clause.of, replace(symbol, ware=item))
    if clause.of not in pieces:
        volumes = [name for name, one in records.method.symbols.items() if isinstance(one, Volume)]
        accepted = f"a volume ({', '.join(volumes) or 'none'}) or ware of the register"
        raise clause.refused(f"neither a volume nor ware named {clause.of}", accepted, "correct it")
    return _with_item(records, clause, clause.of, item)


def _with_item(records: Records, clause: Clause, old: str, new: str) -> Records:
    """Another piece of ware wherever a dilution or a volume of samples names it; also in the preparation of standards,
    where it has the same nominal volume, so that their concentrations stay."""
    run, register = run_of(records, clause), register_of(records, clause)

    def steps(given: tuple[DilutionStep, ...]) -> tuple[DilutionStep, ...]:
        return tuple(
            replace(one, aliquot=new if one.aliquot == old else one.aliquot, to=new if one.to == old else one.to)
            for one in given
        )

    blank = {one.solution for one in run.portions if one.kind == "blank"}
    solutions = []
    for one in run.solutions:
        if one.source in blank:
            blank.add(one.label)
        solutions.append(one if one.label in blank else replace(one, steps=steps(one.steps)))
    portions = tuple(
        one
        if one.kind == "blank"
        else replace(one, columns={name: new if cell == old else cell for name, cell in one.columns.items()})
        for one in run.portions
    )
    symbols = {
        name: replace(symbol, ware=new)
        if isinstance(symbol, Volume) and symbol.ware == old and symbol.of == "sample"
        else symbol
        for name, symbol in records.method.symbols.items()
    }
    standards, kept = run.file.standards, register.prepared_standards
    nominal = {one.id: one.nominal for one in register.equipment}
    if _same_volume(nominal[old], nominal[new]):
        standards = tuple(replace(one, steps=steps(one.steps)) for one in standards)
        kept = tuple(replace(one, steps=steps(one.steps)) for one in kept)
    changed = replace(
        records,
        method=replace(records.method, symbols=symbols),
        run=replace(run, solutions=tuple(solutions), portions=portions, file=replace(run.file, standards=standards)),
        register=replace(register, prepared_standards=kept),
    )
    if changed == records:
        accepted = "ware of a volume or dilution of samples, or of the standards with the same nominal volume"
        raise clause.refused(f"{old}, in whose place {new} changes nothing", accepted, "choose another")
    return changed


def _same_volume(one: Amount | None, other: Amount | None) -> bool:
    return one is not None and other is not None and in_unit(one.value, one.unit, other.unit) == other.value


def with_class(records: Records, clause: Clause) -> Records:
    """The item by the limits of an accuracy class, without tolerance and certificate of its own."""
    register = register_of(records, clause)
    known = ("A", "AS", "B")
    if clause.name not in known or not any(
        one.id == clause.of and one.kind in VOLUMETRIC for one in register.equipment
    ):
        accepted = f"ware of the register and a class ({', '.join(known)})"
        raise clause.refused(f"{clause.of} of class {clause.name}", accepted, "correct it")

    def by_class(one: Equipment) -> Equipment:
        fields: dict[str, Any] = {"accuracy_class": clause.name, "tolerance": None, "certificates": ()}
        return replace(one, **fields, tolerance_source="")

    equipment = tuple(by_class(one) if one.id == clause.of else one for one in register.equipment)
    return replace(records, register=replace(register, equipment=equipment))


def with_certificate(records: Records, clause: Clause) -> Records:
    """Another U on the certificate of the day; its k stays."""
    register = register_of(records, clause)
    item, _, analyte = clause.of.partition("/")
    walk = RegisterWalk(records)
    evidence = walk.evidence(item, analyte) if item in walk.items else None
    if evidence is None or evidence.certificate is None or evidence.certified is None:
        found = f"no certified value of {clause.of} in the register"
        raise clause.refused(found, "an item with a certificate", "correct the id")
    chosen, prop = evidence.certificate, evidence.certified
    if clause.amount.relative:
        U = Amount(clause.amount.value / 100 * abs(prop.value.value), prop.value.unit)
    else:
        U = clause.amount
    if in_unit(U.value, U.unit, prop.value.unit) is None:
        accepted = f"U in {prop.value.unit} or in %"
        raise clause.refused(clause.amount.text, accepted, "correct the unit")
    alike = {id(prop)} if not chosen.by_point else {id(one) for one in chosen.properties}
    several = [one.analyte for one in chosen.properties]
    if not chosen.by_point and not analyte and len(several) > 1:
        raise clause.refused(f"{len(several)} certified values of {item}", f"{item}/ANALYTE", "name the analyte")
    properties = tuple(replace(one, U=U) if id(one) in alike else one for one in chosen.properties)

    def renewed(certificates: tuple[Certificate, ...]) -> tuple[Certificate, ...]:
        return tuple(replace(one, properties=properties) if one is chosen else one for one in certificates)

    return replace(
        records,
        register=replace(
            register,
            equipment=tuple(
                replace(one, certificates=renewed(one.certificates)) if one.id == item else one
                for one in register.equipment
            ),
            reference_materials=tuple(
                replace(one, certificates=renewed(one.certificates)) if one.id == item else one
                for one in register.reference_materials
            ),
        ),
    )


def with_input(records: Records, clause: Clause) -> Records:
    """Another standard uncertainty of an input, at each of its cases; degrees of freedom stay as stated."""
    symbol = records.method.symbols.get(clause.of)
    if not isinstance(symbol, Stated) or (isinstance(symbol, Input) and symbol.components):
        known = [name for name, one in records.method.symbols.items() if isinstance(one, Stated)]
        accepted = f"an input of the method without components: {', '.join(known) or 'none'}"
        raise clause.refused(f"no such input {clause.of}", accepted, "correct it")
    again = _restated(symbol, clause.amount) if symbol.states_uncertainty and not symbol.exact else symbol
    if isinstance(again, Input):
        cases = (_restated(case, clause.amount) if case.states_uncertainty else case for case in again.cases)
        again = replace(again, cases=tuple(cases))
    if again == symbol:
        raise clause.refused(f"{clause.of} without uncertainty", "an input with one", "choose another")
    return with_symbol(records, clause.of, again)


def _restated(stated: Any, u: Amount) -> Any:
    """The same stated by u alone; readings keep being what they are."""
    if stated.readings is not None:
        return stated
    return replace(stated, **dict.fromkeys(_WAYS), u=u)


_WAYS = ("U", "k", "confidence", "half_width", "distribution", "top", "rounded_to")
