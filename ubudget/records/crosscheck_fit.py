"""What the method declares of the fit, against itself and against the readings of the standards."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from statistics import fmean

from ubudget.records.calibration import BY_LEVEL, Calibration
from ubudget.records.crosscheck_level_s import level_s_findings
from ubudget.records.crosscheck_run import reading_place
from ubudget.records.finding import Finding
from ubudget.records.records import Records
from ubudget.records.run import Reading, Run
from ubudget.records.run_index import RunIndex, index_of
from ubudget.records.unit_comparison import in_unit

FEWEST_FOR_WEIGHT = 6
"""From fewer readings s is too uncertain for a weight 1/s^2: with five, the variance lies between 0.36 s^2 and 8.3 s^2
at 95 % (chi-squared with 4 degrees of freedom). Six as the limit is common practice, no source."""
TWO_POINTS = "two points"
ERRORS_IN_VARIABLES = "errors in variables"
BY_CONCENTRATION = ("1/x", "1/x^2")
BY_VARIANCE = ("1/s^2", "noise model", BY_LEVEL)
"""Rules whose weight is 1/s^2 of a reading, and not only proportional to it."""


def fit_findings(records: Records, run: Run, symbol: str, calibration: Calibration) -> list[Finding]:
    """Declared options of a calibration that do not fit each other or the run."""
    return [
        *_scatter(records, run, symbol, calibration),
        *_numbers(records, symbol, calibration),
        *_exactness(records, symbol, calibration),
        *_errors_in_variables(records, symbol, calibration),
        *_zero_standard(records, run, symbol, calibration),
        *_level_weights(records, run, calibration),
        *_between_levels(records, symbol, calibration),
        *_two_points(records, symbol, calibration),
        *_replicates(records, run, calibration),
        *level_s_findings(records, run, symbol, calibration),
    ]


def _scatter(records: Records, run: Run, symbol: str, calibration: Calibration) -> Iterator[Finding]:
    """Residual s is of what was fitted, and only a weight that is 1/s^2 makes the scatter known."""
    file, place = records.file("method"), f"symbol {symbol}"
    remedy = 'use scatter = "own" or "pooled"'
    accepted = "a residual s of single readings"
    if calibration.curve == TWO_POINTS or calibration.standards == ERRORS_IN_VARIABLES:
        return  # no residual s: scatter comes from replicate readings or a noise model
    summary = _summary(run)
    if calibration.scatter == "residual" and calibration.fit_on == "means":
        found = 'scatter = "residual" beside fit_on = "means": that s is of means and not of single readings'
        yield Finding("stop", file, f"{place}, scatter", found, accepted, remedy)
    elif calibration.scatter == "residual" and summary is not None:
        found = f'means of the standards ({summary.solution}) under scatter = "residual": that s is of means'
        yield Finding("stop", records.file("readings"), reading_place(summary), found, accepted, remedy)
    if summary is not None and calibration.weighted_scatter == "known" and calibration.scatter != "residual":
        found = f'a mean of {summary.n} readings of the standard {summary.solution} under weighted_scatter = "known"'
        accepted, remedy = "single readings, of which the weights are 1/s^2", "give the replicate columns r1, r2, ..."
        yield Finding("stop", records.file("readings"), reading_place(summary), found, accepted, remedy)
    if calibration.weighted_scatter == "known" and calibration.weights not in BY_VARIANCE:
        found = f'weighted_scatter = "known" beside weights = "{calibration.weights}", which are not 1/s^2 of a reading'
        accepted = f'weights = "1/s^2", "noise model" or "{BY_LEVEL}"'
        remedy = 'use such weights, or weighted_scatter = "estimated"'
        yield Finding("stop", file, f"{place}, weighted_scatter", found, accepted, remedy)


def _numbers(records: Records, symbol: str, calibration: Calibration) -> Iterator[Finding]:
    """Numbers of the weighting rule: those it needs, and none that it does not read."""
    file, place = records.file("method"), f"symbol {symbol}"
    noise = (("noise_constant", calibration.noise_constant), ("noise_relative", calibration.noise_relative))
    if calibration.weights == "noise model":
        if all(amount is None for _, amount in noise):
            found, accepted = "a noise model without its numbers", "noise_constant, noise_relative or both"
            yield Finding("stop", file, f"{place}, weights", found, accepted, "add the numbers")
    else:
        for key, amount in noise:
            if amount is not None:
                yield _unused(file, place, key, calibration, 'weights = "noise model"')
    if calibration.weight_floor is not None and calibration.weights not in (*BY_CONCENTRATION, "1/y"):
        yield _unused(file, place, "weight_floor", calibration, 'weights = "1/x", "1/x^2" or "1/y"')


def _unused(file: str, place: str, key: str, calibration: Calibration, owner: str) -> Finding:
    found = f'{key}, which weights = "{calibration.weights}" does not use'
    return Finding("attend", file, f"{place}, {key}", found, f"{key} beside {owner}", "take it out or correct weights")


def _exactness(records: Records, symbol: str, calibration: Calibration) -> Iterator[Finding]:
    if calibration.standards == "exact" and not calibration.standards_exact.strip():
        found, accepted = 'standards = "exact" without a reason', "the reason in standards_exact"
        remedy = 'add standards_exact = "reason", or use standards = "propagated"'
        yield Finding("stop", records.file("method"), f"symbol {symbol}, standards", found, accepted, remedy)


def _errors_in_variables(records: Records, symbol: str, calibration: Calibration) -> Iterator[Finding]:
    """A line whose points have stated uncertainties in x and y: both are needed, and no others are used."""
    file, place = records.file("method"), f"symbol {symbol}"
    if calibration.standards != ERRORS_IN_VARIABLES:
        if calibration.standard_u is not None:
            found = f'standard_u, which standards = "{calibration.standards}" does not use'
            accepted, remedy = (
                f'standard_u beside standards = "{ERRORS_IN_VARIABLES}"',
                "take it out or correct standards",
            )
            yield Finding("attend", file, f"{place}, standard_u", found, accepted, remedy)
        return
    beside = f'beside standards = "{ERRORS_IN_VARIABLES}"'
    if calibration.standard_u is None:
        found, accepted = f"no standard_u {beside}", "the independent standard uncertainty of each standard"
        yield Finding("stop", file, f"{place}, standards", found, accepted, "add standard_u")
    if calibration.curve != "line":
        found, accepted = f'curve = "{calibration.curve}" {beside}', 'curve = "line"'
        yield Finding("stop", file, f"{place}, curve", found, accepted, 'fit a line, or use standards = "propagated"')
    if calibration.weights not in ("none", "noise model"):
        found = f'weights = "{calibration.weights}" {beside}: weights follow from the uncertainties in x and y'
        accepted = 'weights = "noise model", or none for s pooled over the levels'
        yield Finding("stop", file, f"{place}, weights", found, accepted, "correct weights")
    if calibration.scatter == "residual":
        found, accepted = f'scatter = "residual" {beside}, which has no residual s', 'scatter = "own" or "pooled"'
        yield Finding("stop", file, f"{place}, scatter", found, accepted, "correct scatter")


def _between_levels(records: Records, symbol: str, calibration: Calibration) -> Iterator[Finding]:
    """A term between levels: its unit, and what else holds the same effect."""
    stated = calibration.between_levels
    if stated is None:
        return
    file, place = records.file("method"), f"symbol {symbol}, between_levels"
    if not stated.relative and in_unit(stated.value, stated.unit, calibration.unit) is None:
        found, accepted = f"{stated.text}, which is no part of a concentration", f"% or {calibration.unit}"
        yield Finding("stop", file, place, found, accepted, "correct the unit")
    if calibration.standards == ERRORS_IN_VARIABLES:
        found = f'between_levels beside standards = "{ERRORS_IN_VARIABLES}", whose standard_u is such a term'
        yield Finding("stop", file, place, found, "one of them", "add it to standard_u in squares")
        return
    estimated = calibration.weighted_scatter == "estimated" and calibration.curve != TWO_POINTS
    if calibration.fit_on == "means" and estimated:
        found = "the same effect counted twice: the residuals of a fit on means hold the deviations between levels"
        remedy = 'take between_levels out, or use fit_on = "readings"'
        yield Finding("attend", file, place, found, "each effect counted once", remedy)


def _two_points(records: Records, symbol: str, calibration: Calibration) -> Iterator[Finding]:
    """Nothing is left over between two standards, so nothing is weighed."""
    if calibration.curve == TWO_POINTS and calibration.weights != "none":
        found = f'weights = "{calibration.weights}" beside curve = "{TWO_POINTS}", which goes through both standards'
        accepted, remedy = f'curve = "{TWO_POINTS}" without weights', "take weights out, or fit a line"
        yield Finding("stop", records.file("method"), f"symbol {symbol}, weights", found, accepted, remedy)


def _replicates(records: Records, run: Run, calibration: Calibration) -> Iterator[Finding]:
    """Single readings of the standards, two at a level or more, where their scatter is taken from within levels."""
    why, remedy = _scatter_within(calibration)
    if not why:
        return
    index = index_of(run)
    more = {(reading.analyte, reading.line): 0 for reading in _standard_readings(run) if index.included(reading)}
    for reading in _standard_readings(run):
        if reading.mean is None and index.included(reading):
            more[reading.analyte, reading.line] += index.included(reading) - 1
    for (analyte, line), spare in more.items():
        if spare == 0:
            found = f"no standard with two single readings, from which {why}"
            place = f"standards of {analyte} {line}".strip()
            accepted = "two single readings or more of a standard"
            yield Finding("stop", records.file("readings"), place, found, accepted, remedy)


def _scatter_within(calibration: Calibration) -> tuple[str, str]:
    """What is taken from the scatter within levels, and what else could be done; empty where nothing is."""
    if calibration.standards == ERRORS_IN_VARIABLES:
        if calibration.weights == "noise model":
            return "", ""
        return f'standards = "{ERRORS_IN_VARIABLES}" pools its u_y', 'add readings, or use weights = "noise model"'
    if calibration.curve == TWO_POINTS:
        return f'curve = "{TWO_POINTS}" takes its scatter', "add readings"
    on_readings = calibration.fit_on == "readings" and calibration.weighted_scatter == "estimated"
    if calibration.between_levels is not None and on_readings:
        return "between_levels leaves s to be estimated", "add readings, or take between_levels out"
    return "", ""


def _zero_standard(records: Records, run: Run, symbol: str, calibration: Calibration) -> Iterator[Finding]:
    """1/x has no value at zero, nor 1/y on a line through zero: a floor says which weight the zero standard has."""
    through_zero = calibration.weights == "1/y" and calibration.curve == "line through zero"
    if (calibration.weights not in BY_CONCENTRATION and not through_zero) or calibration.weight_floor is not None:
        return
    standards = {standard.label: standard for standard in run.file.standards}
    index = index_of(run)
    for reading in _standard_readings(run):
        amount = standards[reading.solution].concentration.get(reading.analyte)
        if amount is not None and amount.value == 0 and index.included(reading):
            found = f'weights = "{calibration.weights}" without weight_floor, which the zero standard '
            found += f"{reading.solution} needs"
            accepted = "a smallest concentration for the weights, above zero"
            remedy = "add weight_floor, e.g. the lowest standard above zero"
            yield Finding("stop", records.file("method"), f"symbol {symbol}, weights", found, accepted, remedy)
            return


def _level_weights(records: Records, run: Run, calibration: Calibration) -> Iterator[Finding]:
    """Weights taken from the readings themselves: each level has one, above zero and finite."""
    file = records.file("readings")
    index = index_of(run)
    few: dict[tuple[str, str], list[Reading]] = defaultdict(list)
    for reading in _standard_readings(run):
        if not index.included(reading):
            continue
        fault = _without_weight(calibration, index, reading)
        if fault is not None:
            found, accepted, remedy = fault
            yield Finding("stop", file, reading_place(reading), found, accepted, remedy)
        elif calibration.weights == "1/s^2" and index.included(reading) < FEWEST_FOR_WEIGHT:
            few[reading.analyte, reading.line].append(reading)
    for key, readings in few.items():
        named = f"{key[0]} {key[1]}".strip()
        found = f'weights = "1/s^2" from {min(index.included(reading) for reading in readings)} readings a level'
        accepted = f"{FEWEST_FOR_WEIGHT} readings a level or more"
        remedy = f'use weights = "{BY_LEVEL}", with s pooled over runs, or "noise model"'
        yield Finding("attend", file, f"standards of {named}", found, accepted, remedy)


def _without_weight(calibration: Calibration, index: RunIndex, reading: Reading) -> tuple[str, str, str] | None:
    """Found, accepted and remedy where a level's readings give no weight."""
    kept = _kept(index, reading)
    remedy = 'use weights = "noise model"'
    if calibration.weights == "1/s^2":
        accepted = "two single readings or more that differ, six better"
        if reading.mean is not None:
            return "a mean with s and n, from which 1/s^2 takes no weight", "single readings", remedy
        if len(kept) < 2:
            return "one reading, which has no s for its weight 1/s^2", accepted, remedy
        if min(kept) == max(kept):
            return "zero variance, of which 1/s^2 is infinite", accepted, remedy
    mean = fmean(kept) if kept else 0.0
    relative_only = calibration.noise_constant is None and calibration.noise_relative is not None
    if calibration.weights == "noise model" and relative_only and mean == 0:
        found = "a mean reading of 0, at which a noise model without noise_constant vanishes"
        return found, "a noise model above zero at every level", "add noise_constant"
    return None


def _kept(index: RunIndex, reading: Reading) -> tuple[float, ...]:
    """The values of a row that were not left out; a mean stands for itself."""
    return index.kept(reading) if reading.mean is None else (reading.mean,)


def _summary(run: Run) -> Reading | None:
    """A standard's readings given as the mean of several, s and n."""
    return next((one for one in _standard_readings(run) if one.n is not None and one.n > 1), None)


def _standard_readings(run: Run) -> list[Reading]:
    labels = {standard.label for standard in run.file.standards}
    return [reading for reading in run.readings if reading.solution in labels]
