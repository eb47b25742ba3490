"""Units of the trade: read as people type them, kept as typed, shown as they wish."""

from __future__ import annotations

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag import figures
from diag.errors import UnitError
from diag.units import (
    QUANTITIES,
    UNITS,
    Measured,
    check_possible,
    convert,
    feet_inches,
    find_unit,
    quantity_named,
    show,
    suspicion,
    unit_named,
)

READ = [
    ("18.5 inH2O", "vacuum", None, "18.5", "inH2O"),
    ("18,5 inH2O", "vacuum", None, "18.5", "inH2O"),
    ("18.50", "vacuum", "inH2O", "18.50", "inH2O"),
    ("18 in. w.c.", "vacuum", None, "18", "inH2O"),
    ("18 inH20", "vacuum", None, "18", "inH2O"),
    ('18 "H2O', "vacuum", None, "18", "inH2O"),
    ("4,5 kpa", "vacuum", None, "4.5", "kPa"),
    ("-0.3 inH2O", "vacuum", None, "-0.3", "inH2O"),
    ("\u22120.3 inH2O", "vacuum", None, "-0.3", "inH2O"),
    ("5 ft 3 1/2 in", "length", None, "63.5", "in"),
    ("17' 5\"", "length", None, "209", "in"),
    ("17\u2032 5\u2033", "length", None, "209", "in"),
    ("17 ft", "length", None, "17", "ft"),
    ("6 1/2 in", "spacing", None, "6.5", "in"),
    ("6-1/2\"", "spacing", None, "6.5", "in"),
    ("6\u00bd in", "spacing", None, "6.5", "in"),
    ("1/8 in", "size", None, "0.125", "in"),
    ("165,5 mm", "spacing", None, "165.5", "mm"),
    ("6,534 in", "spacing", None, "6.534", "in"),
    ("0,125 in", "size", None, "0.125", "in"),
    ("32k/ac", "rate", None, "32000", "seeds/ac"),
    ("32k", "rate", "seeds/ac", "32000", "seeds/ac"),
    ("31,5k seeds/ac", "rate", None, "31500", "seeds/ac"),
    ("32,000 seeds/ac", "rate", None, "32000", "seeds/ac"),
    ("32 000 /ha", "rate", None, "32000", "seeds/ha"),
    ("79'074 seeds/ha", "rate", None, "79074", "seeds/ha"),
    ("1,234,567 seeds/ac", "rate", None, "1234567", "seeds/ac"),
    ("1.234,5 mm", "spacing", None, "1234.5", "mm"),
    ("4,500 rpm", "fan_speed", None, "4500", "rpm"),
    ("4,500 rpm", "rotation", None, "4500", "rpm"),
    ("5 MPH", "speed", None, "5", "mph"),
    ("8 kph", "speed", None, "8", "km/h"),
    ("72 \u00b0F", "temperature", None, "72", "degF"),
    ("98 %", "percent", None, "98", "percent"),
    ("300", "count", None, "300", "count"),
    ("8 gpm", "flow", None, "8", "gal/min"),
    ("0.05 ohms", "resistance", None, "0.05", "ohm"),
    ("12.6 volts", "voltage", None, "12.6", "V"),
    ("18 in", "vacuum", None, "18", "inH2O"),
    ("5 inches", "air_pressure", None, "5", "inH2O"),
    ("2600 seeds per pound", "seeds_per_mass", None, "2600", "seeds/lb"),
]


@pytest.mark.parametrize(("text", "quantity", "default", "value", "unit"), READ)
def test_text_is_read_as_meant(text: str, quantity: str, default: str | None, value: str, unit: str) -> None:
    """What a technician types becomes the decimal as typed and the canonical unit."""
    assert Measured(value, unit) == figures.measured(text, quantity, default_unit=default)


REFUSED = [
    ("18.5", "vacuum", "no unit"),
    ("", "vacuum", "No vacuum"),
    ("18 psi", "vacuum", "18 inH2O is likely meant"),
    ("138 kPa", "vacuum", "20 inH2O, misprinted as psi"),
    ("-18 inH2O", "vacuum", "18 inH2O"),
    ("18 psi", "spacing", "psi is a unit of pressure, but seed spacing is measured in in"),
    ("12 V", "current", "V is a unit of voltage, but current is measured in A"),
    ("165 m", "spacing", "165 in is likely meant"),
    ("4,500 mm", "length", "may mean 4.500 or 4500 mm"),
    ("32.000 seeds/ac", "rate", "may mean 32.000 or 32000"),
    ("18 bananas", "vacuum", "not a known unit"),
    ("nan inH2O", "vacuum", "does not begin with a number"),
    ("1e3 Pa", "vacuum", "exponent"),
    ("16-18 inH2O", "vacuum", "more than one number"),
    ("6.1, 6.2 in", "spacing", "more than one number"),
    ("1,2,3 in", "spacing", "more than one number"), ("1.2.3 in", "spacing", "not a number"),
    ("5' 13\"", "length", "12 inches or more"),
    ("1/3 in", "size", "no exact decimal"),
    ("1/0 in", "size", "not a fraction"),
    ("9" * 40 + " in", "spacing", "more than 18 figures"),
    ("abc", "spacing", "does not begin with a number"),
]


@pytest.mark.parametrize(("text", "quantity", "told"), REFUSED)
def test_bad_text_is_refused_with_a_remedy(text: str, quantity: str, told: str) -> None:
    """What cannot be is refused, saying what is wrong and what to do."""
    with pytest.raises(UnitError) as caught:
        figures.measured(text, quantity)

    assert told in str(caught.value)
    assert caught.value.remedy


def test_suspicious_unit_is_said_aloud() -> None:
    """A vacuum of 5 psi is possible and so unusual that inches of water are suspected."""
    assert "5 inH2O is likely meant" in suspicion(Measured("5", "psi"), "vacuum")
    assert "" == suspicion(Measured("18", "inH2O"), "vacuum")


def test_dimension_alone_does_not_judge_a_vacuum() -> None:
    """18 psi is a pressure that can be; only as a vacuum it cannot."""
    check_possible(Measured("18", "psi"))
    with pytest.raises(UnitError, match="atmosphere"):
        check_possible(Measured("18", "psi"), "vacuum")


def test_conversion_between_dimensions_names_both_units() -> None:
    """Inches are no inches of water."""
    with pytest.raises(UnitError, match=r"psi is a unit of pressure, in one of length"):
        convert(1, "psi", "in")


@pytest.mark.parametrize(("data", "told"), [
    ({"value": 18.5, "unit": "inH2O"}, "must be text"),
    ({"value": "18,5", "unit": "inH2O"}, "plain decimal"),
    ({"value": "18.5", "unit": "in H2O"}, "Write inH2O"),
    ({"value": "18.5"}, "exactly value and unit"),
    ("18.5 inH2O", "exactly value and unit"),
])
def test_stored_form_is_strict(data: object, told: str) -> None:
    """Only text values with canonical units are read back from records."""
    with pytest.raises(UnitError) as caught:
        Measured.from_json(data)

    assert told in str(caught.value)


def test_stored_form_round_trip() -> None:
    """A value survives storing as it was typed, trailing zero and all."""
    value = Measured("18.50", "inH2O")

    assert value == Measured.from_json(value.as_json())
    assert {"value": "18.50", "unit": "inH2O"} == value.as_json()


SHOWN = [
    (7.9074, "rate", "us", "32,000 seeds/ac"), (7.9074, "rate", "metric", "79100 seeds/ha"),
    (4608.14, "vacuum", "us", "18.5 inH2O"), (4608.14, "vacuum", "metric", "4.61 kPa"),
    (0.16596, "spacing", "us", "6.53 in"), (0.16596, "spacing", "metric", "16.6 cm"),
    (0.0, "spacing", "us", "0 in"), (0.985, "percent", "us", "98.5 %"), (300.0, "temperature", "us", "80.3 \u00b0F"),
    (40.0, "count", "us", "40"), (75.0, "fan_speed", "metric", "4500 rpm"), (1e-6, "spacing", "metric", "0.0001 cm"),
]


@pytest.mark.parametrize(("si", "quantity", "system", "text"), SHOWN)
def test_shown_in_the_users_units(si: float, quantity: str, system: str, text: str) -> None:
    """Values are shown in the units the user reads, three figures, no exponent."""
    assert text == show(si, quantity, system)


def test_feet_and_inches() -> None:
    """1/1000 acre of 30 inch rows is 17 ft 5 in."""
    assert ["17 ft 5 in", "34 ft 10 in", "2 ft"] == [feet_inches(m) for m in (5.3109, 10.6218, 0.6096)]


def test_tables_hang_together() -> None:
    """Every unit has a dimension that is a quantity; every quantity shows in units of its own dimension."""
    assert {u.quantity for u in UNITS.values()} <= set(QUANTITIES)
    for quantity in QUANTITIES.values():
        assert {quantity.dimension} == {UNITS[u].quantity for u in (quantity.si, quantity.us, quantity.metric)}
        assert quantity.lowest <= quantity.usual[0] <= quantity.usual[1] <= quantity.highest
        assert 1.0 == UNITS[quantity.si].factor


def test_every_spelling_finds_its_own_unit() -> None:
    """No alias is taken by another unit."""
    for unit in UNITS.values():
        assert [unit] * (1 + len(unit.aliases)) == [find_unit(a) for a in (unit.name, *unit.aliases)]


def test_unknown_names_suggest_near_ones() -> None:
    """A slip in a name is answered with the nearest known names."""
    with pytest.raises(UnitError, match="inH2O"):
        unit_named("inh2o")
    with pytest.raises(UnitError, match="spacing"):
        quantity_named("spacings")


@given(st.sampled_from(sorted(UNITS)), st.decimals(0, 10_000, places=3))
def test_there_and_back(name: str, number: object) -> None:
    """A value turned into SI and back is the same."""
    value = Measured(f"{number:f}", name)
    back = convert(value.si(), QUANTITIES[value.quantity].si, name)

    assert value.number == pytest.approx(back, rel=1e-9, abs=1e-9)


@given(st.sampled_from([q for q in QUANTITIES.values() if q.us not in ("fraction",)]),
       st.sampled_from(["us", "metric"]), st.floats(0.05, 0.95))
def test_what_is_shown_can_be_read_again(quantity: object, system: str, part: float) -> None:
    """The text shown for a usual value is read back as that value, to the figures shown."""
    low, high = max(quantity.usual[0], 1e-6), min(quantity.usual[1], 1e9)
    si = low * (high / low) ** part if low < high else low
    again = figures.measured(show(si, quantity.name, system, 6), quantity.name).si()

    assert si == pytest.approx(again, rel=1e-4)


@given(st.integers(1, 99), st.integers(0, 11), st.integers(0, 15))
def test_feet_inches_and_sixteenths_are_exact(feet: int, inches: int, sixteenths: int) -> None:
    """Tape readings in feet, inches and sixteenths lose nothing."""
    text = f"{feet} ft {inches} {sixteenths}/16 in" if sixteenths else f"{feet}' {inches}\""

    assert feet * 12 + inches + sixteenths / 16 == figures.measured(text, "length").to("in")


@given(st.text(max_size=30), st.sampled_from(sorted(QUANTITIES)))
def test_any_text_is_read_or_refused(text: str, quantity: str) -> None:
    """No text whatever gives anything but a value or a UnitError."""
    with contextlib.suppress(UnitError):
        assert figures.measured(text, quantity).unit in UNITS
