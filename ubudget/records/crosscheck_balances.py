"""Balances and weights: each component stated in one way, in units of its kind, and none of them counted twice."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence

from ubudget.records.amount import Amount
from ubudget.records.balance import BalanceLimits
from ubudget.records.finding import Finding, Severity
from ubudget.records.records import Records
from ubudget.records.register import VOLUMETRIC, Certificate, Equipment
from ubudget.records.unit_comparison import in_unit
from ubudget.records.weighing import Minimum, Weighing
from ubudget.records.weight_classes import CLASSES, nominal_masses, nominals_text

UNITS = {
    "resolution": "g",
    "resolution_at_zero": "g",
    "linearity": "g",
    "repeatability": "g",
    "eccentricity": "g",
    "eccentricity_load": "g",
    "temperature_coefficient": "1/K",
    "temperature_half_range": "K",
    "adjustment_drift": "1",
}
"""A unit of the kind that each component of a balance has."""
KINDS = {
    "g": "a mass, e.g. 0.1 mg",
    "1/K": "a relative change per kelvin, e.g. 2e-6 1/K",
    "K": "a difference of temperature, e.g. 3 K",
    "1": "a relative number, e.g. 2e-6 or 0.0002 %",
}
SINGLE = (
    "resolution",
    "resolution_at_zero",
    "linearity",
    "repeatability",
    "repeatability_at",
    "check_weighings",
    "eccentricity",
    "temperature_coefficient",
    "temperature_half_range",
    "adjustment_drift",
)
"""Components that U in use of a certificate holds (EURAMET cg-18, 7.4 and 7.5)."""
NOT_CORRECTED = "not corrected"
ONLY_BALANCES = (
    "linearity",
    "resolution_at_zero",
    "repeatability_at",
    "check_weighings",
    "eccentricity",
    "eccentricity_load",
    "temperature_coefficient",
    "temperature_half_range",
    "adjustment_drift",
)


def balance_findings(records: Records) -> list[Finding]:
    """Findings over the register's balances and weights, and over limits that stand with a weighing."""
    weights = {item.id: item for item in records.register.equipment} if records.register else {}
    found: list[Finding] = []
    for number, item in enumerate(records.register.equipment if records.register else (), start=1):
        place = f"equipment {number} ({item.id})"
        check = _Check(records.file("register"), place, weights, day_of(records))
        found += check.weight(item)
        if item.kind == "balance":
            found += [*check.limits(item), *check.certificates(item, _rules(records, item.id))]
        else:
            found += check.stray(item)
    for name, symbol in records.method.symbols.items():
        if isinstance(symbol, Weighing):
            found += _Check(records.file("method"), f"symbol {name}", weights, day_of(records)).limits(symbol)
    return found


def _rules(records: Records, balance: str) -> list[Minimum]:
    return [
        symbol.minimum
        for symbol in records.method.symbols.values()
        if isinstance(symbol, Weighing) and symbol.balance == balance and symbol.minimum is not None
    ]


def day_of(records: Records) -> dt.date | None:
    """The day of the run, by which a certificate must be issued."""
    return records.run.file.run.date if records.run else None


def newest(certificates: Sequence[Certificate], day: dt.date | None) -> Certificate | None:
    """The certificate that holds on the day: the newest that was issued by then."""
    issued = [certificate for certificate in certificates if day is None or certificate.issued <= day]
    return max(issued, key=lambda certificate: certificate.issued) if issued else None


def states(limits: BalanceLimits, key: str) -> bool:
    """Whether a component is stated."""
    return getattr(limits, key) not in (None, (), "")


class _Check:
    """Checks of one item or symbol, which `place` names."""

    def __init__(self, file: str, place: str, items: dict[str, Equipment], day: dt.date | None) -> None:
        self.file, self.place, self.items, self.day = file, place, items, day

    def holding(self, item: Equipment) -> Certificate | None:
        return newest(item.certificates, self.day)

    def finding(self, key: str, found: str, accepted: str, remedy: str, severity: Severity = "stop") -> Finding:
        return Finding(severity, self.file, f"{self.place}, {key}" if key else self.place, found, accepted, remedy)

    def unit(self, key: str, amount: Amount | None, unit: str) -> Iterator[Finding]:
        if amount is not None and in_unit(amount.value, amount.unit, unit) is None:
            yield self.finding(key, amount.text, KINDS[unit], "correct the unit")

    # -- balances ---------------------------------------------------------------------------------------------------

    def limits(self, stated: BalanceLimits) -> Iterator[Finding]:
        for key, unit in UNITS.items():
            yield from self.unit(key, getattr(stated, key), unit)
        ways = [key for key in ("repeatability", "repeatability_at", "check_weighings") if states(stated, key)]
        if len(ways) > 1:
            found = f"{' and '.join(ways)} together"
            yield self.finding("", found, "repeatability stated in one way", f"take away {' and '.join(ways[1:])}")
        yield from self._by_load(stated)
        yield from self._checks(stated)
        for key, needed in (
            ("eccentricity_load", "eccentricity"),
            ("temperature_coefficient", "temperature_half_range"),
            ("temperature_half_range", "temperature_coefficient"),
            ("resolution_at_zero", "resolution"),
        ):
            if states(stated, key) and not states(stated, needed):
                yield self.finding(key, f"{key} without {needed}", "both or neither", f"add {needed}")

    def _by_load(self, stated: BalanceLimits) -> Iterator[Finding]:
        loads: list[float | None] = []
        for number, point in enumerate(stated.repeatability_at, start=1):
            place = f"repeatability_at {number}"
            yield from self.unit(f"{place}, load", point.load, "g")
            yield from self.unit(f"{place}, s", point.s, "g")
            loads.append(in_unit(point.load.value, point.load.unit, "g"))
            before = loads[-2] if len(loads) > 1 else None
            if before is not None and loads[-1] is not None and loads[-1] <= before:
                found = f"a load of {point.load.text} after {stated.repeatability_at[number - 2].load.text}"
                yield self.finding(f"{place}, load", found, "loads that rise from entry to entry", "put them in order")

    def _checks(self, stated: BalanceLimits) -> Iterator[Finding]:
        for number, reading in enumerate(stated.check_weighings, start=1):
            yield from self.unit(f"check_weighings {number}", reading, "g")
        if len(stated.check_weighings) == 1:
            accepted = "two check weighings or more"
            yield self.finding("check_weighings", "one reading, which gives no scatter", accepted, "add readings")
        if not stated.check_weight:
            return
        key = "check_weight"
        if not stated.check_weighings:
            accepted = "check_weighings beside it"
            yield self.finding(key, "a check weight without readings of it", accepted, "add check_weighings")
        weight = self.items.get(stated.check_weight)
        if weight is None or weight.kind != "weight":
            what = "which is not in the register" if weight is None else f"which is a {weight.kind}"
            found = f"{stated.check_weight}, {what}"
            yield self.finding(key, found, "a weight of the register", "add the weight or correct its name")
            return
        certificate = self.holding(weight)
        certified = certificate is not None and bool(certificate.properties)
        if weight.nominal is None and not certified:
            yield self.finding(key, f"{weight.id}, which has no mass", "a weight with nominal", "add nominal to it")
        elif not (weight.accuracy_class or weight.tolerance or certified):
            accepted = "a weight with a certificate, a tolerance or an accuracy_class"
            yield self.finding(key, f"{weight.id}, whose error is unknown", accepted, "add one of them to it")
        own = isinstance(stated, Equipment) and any(certificate.properties for certificate in stated.certificates)
        other = "a certified value" if own else "linearity" if stated.linearity is not None else ""
        if other:
            found = f"an error of indication from {weight.id} beside {other}: the same deviation counted once only"
            accepted = f"the check weight or {other}"
            yield self.finding(key, found, accepted, "take away check_weight, or the other", "attend")

    # -- certificates -----------------------------------------------------------------------------------------------

    def certificates(self, item: Equipment, rules: list[Minimum]) -> Iterator[Finding]:
        for number, certificate in enumerate(item.certificates, start=1):
            if certificate.in_use is None:
                continue
            key = f"certificate {number} ({certificate.number}), in_use"
            yield from self.unit(f"{key}, alpha", certificate.in_use.alpha, "g")
            yield from self.unit(f"{key}, beta", certificate.in_use.beta, "1")
            if certificate.in_use.alpha.value == 0 == certificate.in_use.beta.value:
                yield self.finding(key, "alpha and beta of zero", "an uncertainty", "correct one of them")
            if certificate.properties:
                found = "U in use beside a certified value: the same deviation stated twice, U in use is taken"
                accepted = "in_use, or property"
                yield self.finding(key, found, accepted, "take away the property or in_use", "attend")
        certified = any(certificate.properties for certificate in item.certificates)
        holding = self.holding(item)
        if item.indication_errors == NOT_CORRECTED and not (holding and holding.by_point):
            found = "no certificate with errors of indication by load, which could be left uncorrected"
            accepted = "such a certificate: tables property with at, the load, and value, the error"
            yield self.finding("indication_errors", found, accepted, "take it out, or add the certificate", "attend")
        if holding is not None and holding.in_use is not None:
            needed = {"resolution", "repeatability"} if any(rule.rule == "USP <41>" for rule in rules) else set()
            if needed and not states(item, "repeatability"):
                needed |= {"repeatability_at", "check_weighings"}
            double = [key for key in SINGLE if states(item, key) and key not in needed]
            if double:
                found = (
                    f"U in use of a certificate beside {', '.join(double)}: it holds them already, and is taken alone"
                )
                accepted = "U in use, or the single components"
                yield self.finding("", found, accepted, f"take away {', '.join(double)}, or in_use", "attend")
        elif certified and item.linearity is not None:
            found = "a certified value beside linearity: the same deviation counted twice"
            accepted = "the certified value or the linearity"
            yield self.finding("", found, accepted, "keep one of them", "attend")

    def stray(self, item: Equipment) -> Iterator[Finding]:
        """Components of a balance on something else."""
        keys = [key for key in ONLY_BALANCES if states(item, key)]
        keys += ["check_weight"] if item.check_weight else []
        keys += ["indication_errors"] if item.indication_errors == NOT_CORRECTED else []
        keys += ["in_use"] if any(certificate.in_use for certificate in item.certificates) else []
        if keys:
            found = f"{', '.join(keys)} with the kind {item.kind}, where nothing uses it"
            yield self.finding("", found, "such entries with a balance", "take them away", "attend")

    # -- weights ----------------------------------------------------------------------------------------------------

    def weight(self, item: Equipment) -> Iterator[Finding]:
        """A class of OIML R 111 and a nominal mass that its table has."""
        if item.kind == "weight" and item.nominal is not None:
            yield from self.unit("nominal", item.nominal, "g")
            yield from self.unit("tolerance", item.tolerance, "g")
        if not item.accuracy_class:
            return
        key = "accuracy_class"
        if item.kind in VOLUMETRIC:
            return  # the class of a standard of ware, judged with the ware
        if item.kind != "weight":
            found = f"an accuracy_class with the kind {item.kind}"
            yield self.finding(key, found, "the class of a weight, or of volumetric ware", "take it away")
        elif item.accuracy_class not in CLASSES:
            yield self.finding(key, f"the class {item.accuracy_class}", ", ".join(CLASSES), "correct the class")
        elif item.nominal is None:
            yield self.finding(key, "a class without nominal", "the nominal mass with its unit", "add nominal")
        elif item.tolerance is not None:
            yield self.finding(key, "accuracy_class and tolerance together", "one of them", "take away one")
        elif not _in_table(item.nominal, item.accuracy_class):
            found = f"a weight of {item.nominal.text} in class {item.accuracy_class}"
            accepted = f"{nominals_text(item.accuracy_class)} (OIML R 111-1:2004, Table 1)"
            yield self.finding("nominal", found, accepted, "correct it, or state a tolerance or a certificate")


def _in_table(nominal: Amount, accuracy_class: str) -> bool:
    """Whether the class has the weight; so too where its unit is no mass, which is another finding."""
    grams = in_unit(nominal.value, nominal.unit, "g")
    return grams is None or grams in nominal_masses(accuracy_class)
