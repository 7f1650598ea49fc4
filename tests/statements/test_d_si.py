"""D-SI XML: structure as published, numbers as reported, units that mean what the method says."""

from __future__ import annotations

import re
from decimal import Decimal
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.statements.d_si_structure import SI, faults
from tests.statements.examples import evaluated, result, runs, with_results
from ubudget.errors import UnusableInput
from ubudget.files.d_si import CoverageInterval, ExpandedUncertainty, StandardUncertainty, real, xml_text
from ubudget.pages.d_si_units import d_si_unit
from ubudget.pages.number_forms import rounded
from ubudget.quantity.units import dimension

OURS = "{urn:ubudget:results:1}"
KIND = f"{SI}real/{SI}measurementUncertaintyUnivariate/{SI}"


def read(text: str) -> list[ElementTree.Element]:
    """The results of a document."""
    root = ElementTree.fromstring(text)
    assert root.tag == f"{OURS}results"
    return root.findall(f"{OURS}result")


def alone(element: ElementTree.Element) -> ElementTree.Element:
    """An element with its names qualified, as a reader sees it."""
    text = ElementTree.tostring(element, encoding="unicode").replace(
        "<si:real>", '<si:real xmlns:si="https://ptb.de/si">'
    )
    return ElementTree.fromstring(text)


@pytest.fixture(scope="module")
def first() -> ElementTree.Element:
    """The first element of the demonstration, as read back."""
    found = read(xml_text(evaluated()))[0].find(f"{SI}real")
    assert found is not None
    return found


def test_every_example_has_the_published_structure_and_its_reported_numbers() -> None:
    seen = 0
    for run in runs():
        evaluation = evaluated(run)
        for element, told in zip(read(xml_text(evaluation)), evaluation.results, strict=True):
            if told.reported_as:
                assert element.find(f"{SI}real") is None
                assert element.findtext(f"{OURS}reportedAs") == told.reported_as
                continue
            (value,) = element.findall(f"{SI}real")
            assert faults(value) == []
            assert float(value.findtext(f"{SI}value", "")) == told.reported_value
            assert (
                float(element.findtext(f"{KIND}expandedMU/{SI}valueExpandedMU", ""))
                == told.reported_expanded_uncertainty
            )
            assert element.get("sample") == told.sample
            seen += 1
    assert seen > 100


def test_sampling_is_said_to_be_left_out() -> None:
    root = ElementTree.fromstring(xml_text(evaluated()))
    assert root.findtext(f"{OURS}notIncluded") == evaluated().records.method.document.not_included.rstrip(". ")
    assert "sampling" in root.findtext(f"{OURS}notIncluded", "")


@pytest.mark.parametrize("spoil", ["swap", "twice", "factor", "unit", "attribute", "value"])
def test_the_check_of_the_structure_can_fail(first: ElementTree.Element, spoil: str) -> None:
    element = ElementTree.fromstring(ElementTree.tostring(first))
    children = list(element)
    if spoil == "swap":
        element[:] = [children[1], children[0], *children[2:]]
    elif spoil == "twice":
        element.insert(1, children[1])
    elif spoil == "factor":
        next(element.iter(f"{SI}coverageFactor")).text = "0.9"
    elif spoil == "unit":
        next(element.iter(f"{SI}unit")).text = "mg/kg"
    elif spoil == "attribute":
        element.set("unit", "x")
    else:
        next(element.iter(f"{SI}value")).text = "46,8"
    assert faults(element) != []


def test_the_three_kinds_of_uncertainty() -> None:
    five = Decimal("0.50")
    for uncertainty in (
        StandardUncertainty(five),
        ExpandedUncertainty(five, Decimal("2.1"), Decimal("0.9545")),
        CoverageInterval(five, Decimal("-1E+2"), Decimal("1.7"), Decimal("0.95")),
        None,
    ):
        element = alone(real("<&>\n", Decimal("1.20"), r"\one", None, uncertainty))
        assert faults(element) == []
        assert element.findtext(f"{SI}label") == "<&>\n"


def test_a_factor_below_one_leaves_the_standard_uncertainty() -> None:
    told = result(coverage_factor=0.8, expanded_uncertainty=2.0, standard_uncertainty=2.5)
    (element, *_) = read(xml_text(with_results(told)))
    assert element.findtext(f"{KIND}standardMU/{SI}valueStandardMU") == "2.5"
    assert element.find(f"{KIND}expandedMU") is None


def test_what_is_reported_in_place_of_a_value_has_no_number() -> None:
    missing = result(value=None, reported_value=None, reported_expanded_uncertainty=None, flags=("no reading left",))
    below, gone, *_ = read(xml_text(with_results(result(reported_as="< 0.05"), missing)))
    assert below.findtext(f"{OURS}reportedAs") == "< 0.05" and below.find(f"{SI}real") is None
    assert gone.findtext(f"{OURS}flag") == "no reading left" and gone.find(f"{SI}real") is None


def test_digits_that_are_known_are_counted() -> None:
    told = result(reported_value=12300.0, reported_expanded_uncertainty=1200.0, decimals=-2)
    nothing = result(reported_value=0.0, reported_expanded_uncertainty=0.12, decimals=2)
    elements = read(xml_text(with_results(told, nothing)))
    counted = [element.findtext(f"{SI}real/{SI}significantDigit") for element in elements[:2]]
    assert counted == ["3", None]
    assert elements[0].findtext(f"{SI}real/{SI}value") == "12300"


@given(words=st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), min_size=1, max_size=30))
@settings(max_examples=8, deadline=None)
def test_texts_come_back_as_they_were(words: str) -> None:
    if set(words) & {"\ufffe", "\uffff"}:
        return
    (element, *_) = read(xml_text(with_results(result(sample=words), not_included=f"x{words}x")))
    assert element.get("sample") == words
    assert element.findtext(f"{SI}real/{SI}label", "").startswith(f"{words}, ")


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"sample": "SED\x00"}, "control character"),
        ({"unit": "mg/(100 g)"}, r"mg/\(100 g\)"),
        ({"unit": "degF"}, "degF"),
    ],
)
def test_what_cannot_be_written_is_one_finding(changes: dict[str, str], words: str) -> None:
    with pytest.raises(UnusableInput, match=words) as refused:
        xml_text(with_results(result(**changes)))
    assert [finding.severity for finding in refused.value.findings][:1] == ["stop"]
    assert all("\n" not in finding.line() for finding in refused.value.findings)


UNITS = (
    "mg/kg", "µg/L", "ug/L", "μg/kg", "g/L", "%", "mmol/L", "mL", "nm", "K", "1/K", "g/mol",
    "m^3/h", "mg/dm^2", "ng/mL", "(mg/L)*mL", "kg/m^3", "g/(mol*K)", "s^-1", "kPa", "ohm", "MΩ",
    "cg/g", "min", "mol/kg/s", "milligram", "°C", "mm^2*s", "t", "kg", "cd", "d",
)  # fmt: skip
PREFIX = re.compile(r"\\(deca|hecto|kilo|mega|giga|tera|deci|centi|milli|micro|nano|pico|femto)\\")
"""Prefix and unit are one word there."""
PINT = {"degreecelsius": "degC"}


@pytest.mark.parametrize("unit", UNITS)
def test_a_unit_means_what_it_meant(unit: str) -> None:
    """The notation put into words of the package pint, which knows the size of each unit."""
    spelled = d_si_unit(unit)
    assert spelled is not None
    words = []
    for name, power in re.findall(r"\\(?!tothe)([a-z]+)(?:\\tothe\{(-?\d)\})?", PREFIX.sub(r"\\\1", spelled)):
        words.append(f"{PINT.get(name, name)}^{power or 1}")
    # A temperature unit stands for a difference in both.
    ours = dimension("*".join(words))
    assert (ours.powers, ours.factor) == (dimension(unit).powers, dimension(unit).factor)


def test_the_facts_about_notation() -> None:
    # D-SI 2.2 (DOI 10.5281/zenodo.3366901): the kilogram is one name; units in a row; powers behind.
    assert d_si_unit("mg/kg") == r"\milli\gram\kilogram\tothe{-1}"
    assert d_si_unit("mg/L") == r"\milli\gram\litre\tothe{-1}"
    assert (d_si_unit("%"), d_si_unit("1"), d_si_unit("")) == (r"\percent", r"\one", r"\one")


@pytest.mark.parametrize(
    "unit", ["mg/(100 g)", "ppm", "mg/", "(mg", "mg)", "m^0", "m^", "mg//L", "IU", "m^x", "\\gram"]
)
def test_what_has_no_name_is_not_guessed(unit: str) -> None:
    assert d_si_unit(unit) is None


@given(st.decimals("0.001", "999", places=3), st.integers(1, 2))
@settings(max_examples=15, deadline=None)
def test_an_uncertainty_never_becomes_zero(number: Decimal, digits: int) -> None:
    stated = rounded(float(number), digits)
    element = alone(real("x", Decimal("1.0"), r"\one", 2, StandardUncertainty(stated)))
    assert Decimal(next(element.iter(f"{SI}valueStandardMU")).text or "0") == stated > 0
