"""Weighings of the method: form and readings, air buoyancy, minimum mass, and net masses above zero."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.records.amount import Amount
from ubudget.records.balance import BalanceLimits
from ubudget.records.buoyancy import AIR_UNITS, CONDITIONS, AirQuantity, Buoyancy, MatrixDensity
from ubudget.records.crosscheck_balances import day_of, newest, states
from ubudget.records.crosscheck_run import portion_place
from ubudget.records.finding import Finding, Severity
from ubudget.records.records import Records
from ubudget.records.register import Equipment
from ubudget.records.run import Run
from ubudget.records.unit_comparison import in_unit
from ubudget.records.weighing import BY_DIFFERENCE, READINGS, TARED, Minimum, Weighing

RANGES = {
    "CIPM-2007": {"temperature": (15.0, 27.0), "pressure": (600.0, 1100.0)},
    "simplified": {"temperature": (15.0, 27.0), "pressure": (600.0, 1100.0), "humidity": (20.0, 80.0)},
}
"""Where each formula for the density of air holds, degC, hPa, %: CIPM-2007, section 3; EURAMET cg-18, Appendix A1."""
OWN_LIMITS = ("resolution", "linearity", "repeatability", "repeatability_at", "check_weighings", "eccentricity")
PARAMETERS = {"USP <41>": ("factor", "requirement"), "EURAMET cg-18": ("requirement", "safety_factor")}
ABOVE_TARE = ("gross above tare", "check whether the two were exchanged")
ABOVE_ZERO = ("a net mass above zero", "check the reading")
"""Accepted and remedy of a mass that is none."""
_STATED = "u; U with k; half_width with distribution; readings; or exact = true"


def weighing_findings(records: Records) -> list[Finding]:
    items = {item.id: item for item in records.register.equipment} if records.register else {}
    found: list[Finding] = []
    for name, symbol in records.method.symbols.items():
        if isinstance(symbol, Weighing):
            found += _Weighing(records, name, symbol, items.get(symbol.balance)).findings()
    return found


class _Weighing:
    """Checks of one weighing symbol; `item` is its balance in the register."""

    def __init__(self, records: Records, name: str, symbol: Weighing, item: Equipment | None) -> None:
        self.records, self.name, self.symbol, self.item = records, name, symbol, item
        self.limits: BalanceLimits = item or symbol

    def findings(self) -> Iterator[Finding]:
        yield from self._form()
        yield from self._uncertainty()
        if self.symbol.buoyancy is not None:
            yield from self._buoyancy(self.symbol.buoyancy)
        if self.symbol.minimum is not None:
            yield from self._minimum(self.symbol.minimum)
        yield from self._stated_masses()
        if self.records.run is not None:
            yield from self._one_for_all(self.records.run)
            yield from self._portion_masses(self.records.run)

    def finding(self, key: str, found: str, accepted: str, remedy: str, severity: Severity = "stop") -> Finding:
        place = f"symbol {self.name}, {key}" if key else f"symbol {self.name}"
        return Finding(severity, self.records.file("method"), place, found, accepted, remedy)

    @property
    def in_use(self) -> bool:
        """Whether the certificate that holds on the day states U in use."""
        certificate = newest(self.item.certificates, day_of(self.records)) if self.item else None
        return certificate is not None and certificate.in_use is not None

    def _one_for_all(self, run: Run) -> Iterator[Finding]:
        """A weighing that stands in the method was made once; the operation would be new in each portion (GUM 5.2.4:
        estimates that rest on the same reading are correlated)."""
        portions = sum(portion.kind != "blank" for portion in run.portions)
        stated = [key for key in READINGS[self.symbol.reading] if getattr(self.symbol, key) is not None]
        if stated and portions > 1:
            found = f"one weighing for {portions} portions, each of which counts its deviations as new: u of a mean of "
            found += "portions is too favourable"
            accepted = "columns of the samples table, or the mass as an input, which is one deviation for all portions"
            yield self.finding(stated[0], found, accepted, "write the weighing in one of these ways", "attend")

    # -- form and uncertainty ---------------------------------------------------------------------------------------

    def _form(self) -> Iterator[Finding]:
        """The readings of this form, all of them in one way, and none of another form."""
        symbol, form = self.symbol, self.symbol.reading
        needed = READINGS[form]
        by_column = all(getattr(symbol, f"{reading}_column") for reading in needed)
        by_value = all(getattr(symbol, reading) is not None for reading in needed)
        if not (by_column or by_value):
            columns, values = " and ".join(f"{reading}_column" for reading in needed), " and ".join(needed)
            found = (
                "a weighing without both readings" if len(needed) > 1 else f'a weighing "{form}" without its reading'
            )
            yield self.finding("", found, f"{columns}, or {values}", "add what is missing")
        strange = [
            key
            for reading in ("tare", "gross", "net")
            for key in (f"{reading}_column", reading)
            if reading not in needed and getattr(symbol, key) not in ("", None)
        ]
        strange += ["vessel"] if symbol.vessel is not None and form != TARED else []
        if strange:
            found = f'{", ".join(strange)} under reading = "{form}"'
            accepted = f"{' and '.join(needed)} for this form"
            yield self.finding(strange[0], found, accepted, "take it away, or correct reading")
        by_load = bool(self.limits.repeatability_at) or self.limits.eccentricity_load is not None or self.in_use
        if form == TARED and symbol.vessel is None and by_load:
            found = "deviations that depend on the load, and no mass of the vessel: they are taken as without one"
            yield self.finding("vessel", found, 'about what the vessel weighs, e.g. "30 g"', "add vessel", "attend")

    def _uncertainty(self) -> Iterator[Finding]:
        symbol = self.symbol
        own = [key for key in OWN_LIMITS if states(symbol, key)]
        if not symbol.balance and not own:
            accepted = "a balance of the register, or linearity, resolution and repeatability"
            yield self.finding("", "a weighing without uncertainty", accepted, "name the balance")
        elif symbol.balance and own:
            found = f"{', '.join(own)} beside the balance {symbol.balance}, whose own limits hold"
            yield self.finding("", found, "limits with the balance in the register", "take them away", "attend")
        mark = self.records.method.effects.get("weighing repeatability", "")
        if self.in_use and mark.startswith("covered by"):
            found = (
                f'U in use of {symbol.balance} holds the repeatability that is "{mark}": the same effect counted twice'
            )
            remedy = 'state single components in place of in_use, or write "negligible: held by U in use"'
            yield self.finding("balance", found, "each effect counted once", remedy, "attend")

    # -- buoyancy ---------------------------------------------------------------------------------------------------

    def _buoyancy(self, buoyancy: Buoyancy) -> Iterator[Finding]:
        key = "buoyancy"
        if buoyancy.bound is not None:
            yield from self._bound(buoyancy)
            return
        conditions = [condition for condition in CONDITIONS if getattr(buoyancy, condition) is not None]
        ways = {
            "air_density": buoyancy.air_density is not None,
            "formula": buoyancy.formula is not None or bool(conditions),
            "air_of": bool(buoyancy.air_of),
        }
        named = [way for way, present in ways.items() if present]
        accepted = "air_density; formula with temperature, pressure and humidity; or air_of"
        if len(named) != 1:
            found = f"{' and '.join(named)} together" if named else "no density of air"
            accepted += "" if named or buoyancy.treatment == "applied" else "; or bound"
            yield self.finding(key, found, accepted, "state the density of air in one way")
        elif ways["formula"]:
            missing = [] if buoyancy.formula else ["formula"]
            missing += [condition for condition in CONDITIONS[:3] if condition not in conditions]
            if missing:
                found = f"a density of air to be calculated without {', '.join(missing)}"
                yield self.finding(key, found, accepted, f"add {', '.join(missing)}")
            elif buoyancy.formula == "simplified" and "carbon_dioxide" in conditions:
                found = "carbon_dioxide, which the simplified formula does not know"
                yield self.finding(f"{key}, carbon_dioxide", found, "CIPM-2007 with it", "take it away")
        elif buoyancy.air_of:
            yield from self._air_of(buoyancy.air_of)
        if buoyancy.by_sample:
            yield from self._densities(buoyancy)
        elif buoyancy.sample_density is None:
            yield self.finding(key, "no density of the sample", "sample_density", "add sample_density")
        if buoyancy.weights_density is not None and self._in(buoyancy.weights_density, "kg/m^3") is None:
            accepted = "a density, e.g. 8000 kg/m^3"
            yield self.finding(f"{key}, weights_density", buoyancy.weights_density.text, accepted, "correct the unit")
        for name, stated in buoyancy.quantities.items():
            if name == "sample_density" and buoyancy.by_sample:
                continue  # judged with the densities by sample
            place = f"{key}, {name}"
            if stated.estimate is None and stated.readings is None:
                yield self.finding(place, "no estimate", "estimate, or readings", "add estimate")
            if not stated.states_uncertainty and buoyancy.treatment == "applied":
                yield self.finding(place, "no uncertainty", _STATED, "state the uncertainty")
            for amount in (stated.estimate, *(stated.readings or ())):
                if amount is not None:
                    yield from self._value(place, name, amount, str(buoyancy.formula))

    def _bound(self, buoyancy: Buoyancy) -> Iterator[Finding]:
        key = "buoyancy, bound"
        if buoyancy.treatment == "applied":
            accepted = "densities of air and sample"
            yield self.finding(key, "a bound where buoyancy is applied", accepted, "take away bound, or leave out")
        if buoyancy.quantities or buoyancy.matrix_densities or buoyancy.air_of or buoyancy.formula:
            yield self.finding(key, "a bound beside densities", "bound, or the densities", "take away one of them")
        if buoyancy.bound is not None and self._in(buoyancy.bound, "1") is None:
            accepted = "a relative number, e.g. 0.05 %"
            yield self.finding(key, buoyancy.bound.text, accepted, "correct the unit")

    def _densities(self, buoyancy: Buoyancy) -> Iterator[Finding]:
        """Densities by sample: each row of the samples table has an estimate and an uncertainty from one place each."""
        general, column = buoyancy.sample_density, buoyancy.density_column
        stated: list[tuple[str, AirQuantity]] = [("sample_density", general)] if general else []
        stated += [(f"for {n}", case) for n, case in enumerate(buoyancy.matrix_densities, start=1)]
        named = [case.matrix for case in buoyancy.matrix_densities]
        for name, density in stated:
            place = f"buoyancy, {name}"
            own = density.estimate is not None or density.readings is not None
            if column and own:
                found = f"an estimate beside the column {column}"
                yield self.finding(place, found, "one of them", "take away the estimate")
            elif not column and not own:
                yield self.finding(place, "no estimate", "estimate, readings or column", "add estimate")
            for amount in (density.estimate, *(density.readings or ())):
                if amount is not None:
                    yield from self._value(place, "sample_density", amount, "")
            if buoyancy.treatment == "applied" and not density.states_uncertainty and (name != "sample_density" or own):
                yield self.finding(place, "no uncertainty", _STATED, "state the uncertainty")
            if isinstance(density, MatrixDensity) and named.count(density.matrix) > 1:
                found = f"the matrix {density.matrix} more than once"
                yield self.finding(place, found, "each matrix once", "take one of them away")
        rest = general is not None and (buoyancy.treatment == "left out" or general.states_uncertainty)
        portions = [p for p in (self.records.run.portions if self.records.run else ()) if p.kind != "blank"]
        uncovered = dict.fromkeys(portion.matrix for portion in portions if portion.matrix not in named)
        if uncovered and not rest:
            words = ", ".join(matrix or "no matrix" for matrix in uncovered)
            found = f"no density{' with its uncertainty' if column else ''} for samples of: {words}"
            yield self.finding("buoyancy", found, "sample_density, or a table for each matrix", "add what is missing")
        for portion in portions:
            cell = portion.columns.get(column) if column else None
            if isinstance(cell, Amount):
                yield from self._cell(cell, f"{portion_place(portion)}, {column}")

    def _cell(self, density: Amount, place: str) -> Iterator[Finding]:
        value = self._in(density, "kg/m^3")
        if value is None or value <= 0:
            found, accepted = density.text, "a density above zero, e.g. 2650 under a heading [kg/m^3]"
            yield Finding("stop", self.records.file("samples"), place, found, accepted, "correct value or unit")

    def _air_of(self, other: str) -> Iterator[Finding]:
        symbol = self.records.method.symbols.get(other)
        beyond = symbol.buoyancy if isinstance(symbol, Weighing) else None
        if other == self.name or beyond is None or beyond.air_of or beyond.bound is not None:
            found = f"{other}, which states no density of air of its own"
            yield self.finding("buoyancy, air_of", found, "a weighing that states its air", "correct the symbol")
        elif list(self.records.method.symbols).index(other) > list(self.records.method.symbols).index(self.name):
            found = f"{other}, which stands further below"
            yield self.finding("buoyancy, air_of", found, "a weighing above this one", "exchange their order")

    def _value(self, place: str, name: str, amount: Amount, formula: str) -> Iterator[Finding]:
        """Unit, sign, and the range in which the formula holds."""
        unit = AIR_UNITS[name]
        value = self._in(amount, unit)
        # A kelvin converts to a degree as a difference does; a temperature must be in degrees Celsius itself.
        if value is None or (name == "temperature" and amount.unit not in ("degC", "°C")):
            accepted = f"such a number in {'1 or ppm' if unit == '1' else unit}"
            yield self.finding(place, amount.text, accepted, "correct the unit")
            return
        if name != "temperature" and (value < 0 or (value == 0 and name not in ("humidity", "carbon_dioxide"))):
            yield self.finding(place, amount.text, "a number above zero", "correct the value")
        low, high = RANGES.get(formula, {}).get(name, (-1e99, 1e99))
        if not low <= value <= high:
            accepted = f"{low:g} {unit} to {high:g} {unit}, where the formula {formula} holds"
            yield self.finding(place, amount.text, accepted, "check the value, or state air_density", "attend")

    def _in(self, amount: Amount, unit: str) -> float | None:
        return in_unit(amount.value, amount.unit, unit)

    # -- minimum mass -----------------------------------------------------------------------------------------------

    def _minimum(self, minimum: Minimum) -> Iterator[Finding]:
        key, rule = "minimum", minimum.rule
        every = ("factor", "requirement", "safety_factor")
        needed = PARAMETERS[rule]
        missing = [name for name in needed if getattr(minimum, name) is None]
        strange = [name for name in every if name not in needed and getattr(minimum, name) is not None]
        if missing:
            found = f"the rule {rule} without {' and '.join(missing)}"
            yield self.finding(key, found, " and ".join(needed), f"add {' and '.join(missing)}")
        if strange:
            found = f"{' and '.join(strange)} under the rule {rule}"
            yield self.finding(key, found, " and ".join(needed), f"take away {' and '.join(strange)}")
        if minimum.requirement is not None and self._in(minimum.requirement, "1") is None:
            accepted = "a relative number, e.g. 0.10 %"
            yield self.finding(f"{key}, requirement", minimum.requirement.text, accepted, "correct the unit")
        if rule == "USP <41>":
            ways = ("repeatability", "repeatability_at", "check_weighings")
            known = any(states(self.limits, way) for way in ways)
            if not (known and self.limits.resolution):
                found = f"the rule {rule} for a balance without {'resolution' if known else 'repeatability'}"
                yield self.finding(key, found, "repeatability and resolution of the balance", "add it to the balance")
        elif not self.in_use:
            found = f"the rule {rule} for a balance without U in use"
            accepted = "a certificate with in_use: alpha, beta and k"
            yield self.finding(key, found, accepted, "add it to the certificate, or use another rule")
        elif not missing and self.item is not None:
            yield from self._reachable(minimum, self.item)

    def _reachable(self, minimum: Minimum, item: Equipment) -> Iterator[Finding]:
        requirement = self._in(minimum.requirement, "1") if minimum.requirement else None
        for certificate in item.certificates:
            beta = self._in(certificate.in_use.beta, "1") if certificate.in_use else None
            if requirement and beta and minimum.safety_factor and requirement <= beta * minimum.safety_factor:
                found = f"a requirement of {minimum.requirement and minimum.requirement.text} that no mass meets"
                accepted = "more than beta times the safety factor"
                yield self.finding("minimum, requirement", found, accepted, "correct requirement or safety_factor")

    # -- net masses -------------------------------------------------------------------------------------------------

    def _stated_masses(self) -> Iterator[Finding]:
        """Readings of the method: a mass above zero."""
        tare, gross, net = self.symbol.tare, self.symbol.gross, self.symbol.net
        if self.symbol.reading == BY_DIFFERENCE:
            if tare is not None and gross is not None and not _above(gross, tare):
                yield self.finding("", _exchanged(gross, tare), *ABOVE_TARE)
        elif net is not None and net.value <= 0:
            yield self.finding("net", f"a net mass of {net.text}", *ABOVE_ZERO)

    def _portion_masses(self, run: Run) -> Iterator[Finding]:
        """Readings of the samples table: masses above zero."""
        symbol, samples = self.symbol, self.records.file("samples")
        for portion in run.portions:
            tare, gross, net = (
                portion.columns.get(column) for column in (symbol.tare_column, symbol.gross_column, symbol.net_column)
            )
            if symbol.reading == BY_DIFFERENCE:
                if isinstance(tare, Amount) and isinstance(gross, Amount) and not _above(gross, tare):
                    place = f"{portion_place(portion)}, {symbol.gross_column}"
                    yield Finding("stop", samples, place, _exchanged(gross, tare), *ABOVE_TARE)
            elif isinstance(net, Amount) and net.value <= 0:
                place = f"{portion_place(portion)}, {symbol.net_column}"
                yield Finding("stop", samples, place, f"a net mass of {net.text}", *ABOVE_ZERO)


def _exchanged(gross: Amount, tare: Amount) -> str:
    return f"gross {gross.text} and tare {tare.text}: no mass above zero"


def _above(gross: Amount, tare: Amount) -> bool:
    """Whether gross is above tare; so too where the units do not convert, which is another finding."""
    tare_value = in_unit(tare.value, tare.unit, gross.unit)
    return tare_value is None or gross.value > tare_value
