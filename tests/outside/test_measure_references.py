"""Measurement maths against general-purpose libraries: scipy, statsmodels, numpy, pint."""

from __future__ import annotations

import math

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from measure.simulated_meter import Meter
from scipy import signal, stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import proportion_confint, samplesize_proportions_2indep_onetail
from statsmodels.tsa.stattools import acf

from diag.analyses.catalogue import Result, weight_below
from diag.measure import counting, drive, electrical, fan, holes, proof, rhythm, spacing, vacuum
from diag.units import UNITS, convert

KN = st.integers(1, 500).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


# --------------------------------------------------------------------- intervals, tests, distributions


@given(KN, st.sampled_from([0.8, 0.9, 0.95, 0.99]))
def test_wilson_and_exact_intervals_as_in_statsmodels(kn: tuple[int, int], confidence: float) -> None:
    """Score and exact intervals equal proportion_confint."""
    k, n = kn

    score, exact = (proportion_confint(k, n, 1 - confidence, m) for m in ("wilson", "beta"))

    assert score == pytest.approx(counting.wilson(k, n, confidence), abs=1e-9)
    assert exact == pytest.approx(counting.exact_interval(k, n, confidence), abs=1e-9)


@given(KN, KN)
def test_fisher_exact_as_in_scipy(a: tuple[int, int], b: tuple[int, int]) -> None:
    """The two-sided exact test equals scipy's."""
    table = [[a[0], a[1] - a[0]], [b[0], b[1] - b[0]]]

    assert stats.fisher_exact(table)[1] == pytest.approx(counting.fisher(*a, *b), rel=1e-6)


@given(st.floats(0, 1), st.floats(0.3, 400), st.floats(0.3, 400))
def test_beta_distribution_as_in_scipy(x: float, a: float, b: float) -> None:
    """The incomplete beta function equals scipy's."""
    assert stats.beta.cdf(x, a, b) == pytest.approx(counting.beta_cdf(x, a, b), abs=1e-10)


@given(st.floats(0, 500), st.integers(1, 200))
def test_chi_square_as_in_scipy(x: float, df: int) -> None:
    """The upper tail of chi-square equals scipy's."""
    assert stats.chi2.sf(x, df) == pytest.approx(counting.chi2_sf(x, df), abs=1e-10)


@given(KN, st.floats(0.001, 0.999))
def test_binomial_as_in_scipy(kn: tuple[int, int], p: float) -> None:
    """Cumulative binomial chances equal scipy's."""
    assert stats.binom.cdf(*kn, p) == pytest.approx(counting.binomial_cdf(*kn, p), abs=1e-10)


@given(st.integers(0, 300))
def test_poisson_interval_as_in_scipy(k: int) -> None:
    """The exact interval of a count equals the chi-square form in scipy."""
    low, high = counting.poisson_interval(k)

    assert high == pytest.approx(stats.chi2.ppf(0.975, 2 * k + 2) / 2)
    assert low == pytest.approx(stats.chi2.ppf(0.025, 2 * k) / 2 if k else 0.0)


@pytest.mark.parametrize(("p1", "p2"), [(0.02, 0.05), (0.02, 0.10), (0.05, 0.10), (0.01, 0.05)])
def test_sample_size_as_in_statsmodels(p1: float, p2: float) -> None:
    """Counts needed to tell two shares equal statsmodels' sample size for two proportions, rounded up."""
    other = samplesize_proportions_2indep_onetail(p1 - p2, p2, 0.8, ratio=1, alpha=0.05)

    assert math.ceil(other) == counting.needed_to_tell(p1, p2)


@pytest.mark.parametrize("chances", [[0.02], [0.001, 0.02, 0.3], [0.01, 0.013, 0.014, 0.9], [0.06, 0.001, 0.001]])
def test_holm_as_in_statsmodels(chances: list[float]) -> None:
    """The step-down guard for many rows equals statsmodels'."""
    assert list(multipletests(chances, 0.05, "holm")[0]) == counting.holm(chances)


@pytest.mark.parametrize("n", [5, 20, 50, 250])
def test_spread_factors_as_in_scipy(n: int) -> None:
    """The factors for the interval of a standard deviation follow chi-square."""
    expected = [math.sqrt((n - 1) / stats.chi2.ppf(p, n - 1)) for p in (0.975, 0.025)]

    assert expected == pytest.approx(list(counting.sd_factors(n)))


@given(KN, st.floats(0.0, 1.0))
def test_share_weights_follow_the_beta_distribution(kn: tuple[int, int], limit: float) -> None:
    """The weight below a limit is the Jeffreys distribution of the share."""
    k, n = kn
    expected = stats.beta.cdf(limit, k + 0.5, n - k + 0.5)

    assert expected == pytest.approx(weight_below(Result("x", k / n, k=k, n=n), limit), abs=1e-9)


@pytest.mark.parametrize(("good", "bad"), [(0.01, 0.04), (0.02, 0.08), (0.005, 0.03)])
def test_proof_plans_keep_scipy_binomial_risks(good: float, bad: float) -> None:
    """The risks of a plan are the binomial tails, and one seed fewer would break the buyer's risk."""
    p = proof.plan(good, bad)

    assert stats.binom.sf(p.accept, p.n, good) == pytest.approx(p.maker)
    assert stats.binom.cdf(p.accept, p.n, bad) == pytest.approx(p.user)
    assert stats.binom.cdf(p.accept, p.n - 1, bad) > 0.05


# ------------------------------------------------------------------------------------ spacing, rhythm


@given(st.lists(st.floats(0.01, 5), min_size=3, max_size=80))
def test_mean_spread_and_median_as_in_numpy(run: list[float]) -> None:
    """Mean, sample SD and median equal numpy's."""
    assert [np.mean(run), np.std(run, ddof=1), np.median(run)] == pytest.approx(
        [spacing.mean(run), spacing.sd(run), spacing.median(run)], abs=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_autocorrelation_as_in_statsmodels(seed: int) -> None:
    """Autocorrelations at all lags equal statsmodels' (same definition: over the total sum of squares)."""
    run = Meter(skip=0.03, jitter=0.1, plugged=frozenset([7])).spacings(4, seed)

    assert list(acf(run, nlags=45, fft=False)) == pytest.approx(rhythm.autocorrelation(run, range(46)))


@pytest.mark.parametrize("n", [64, 101, 400])
def test_periodogram_as_in_scipy(n: int) -> None:
    """Shares of the waves equal scipy's periodogram, scaled to one (both ends of an even run alike)."""
    run = Meter(wave=0.1, wave_period=13.0, jitter=0.1).spacings(n / 40 + 1, 3)[:n]
    _, shares = rhythm.periodogram(run)
    _, power = signal.periodogram(run, detrend="constant", scaling="spectrum")
    power = power[1:]
    if n % 2 == 0:
        power[-1] *= 2

    assert list(power / power.sum()) == pytest.approx(shares, abs=1e-12)


@given(st.floats(0.02, 0.5), st.floats(0.8, 1.2))
def test_normal_scatter_as_in_scipy(cv: float, mean: float) -> None:
    """Shares of close, single and long spacings under normal scatter equal scipy's normal distribution."""
    law = stats.norm(mean, cv * mean)
    expected = [law.cdf(0.5), law.cdf(1.5) - law.cdf(0.5), law.sf(1.5)]

    assert expected == pytest.approx(list(spacing.normal_scatter(cv, mean)), abs=1e-12)


@given(st.lists(st.floats(1000, 8000), min_size=2, max_size=20))
def test_straight_line_as_in_numpy(values: list[float]) -> None:
    """The trend over a log equals numpy's least squares."""
    x = np.arange(len(values))
    slope, start = np.polyfit(x, values, 1)

    assert (start, slope * (len(values) - 1)) == pytest.approx(vacuum.line(values), abs=1e-6)


# ------------------------------------------------------------------------------------- units, physics

REGISTRY = pint.UnitRegistry()
PINT = {
    "inH2O": "conventional_water * standard_gravity * inch", "mmH2O": "conventional_water * standard_gravity * mm",
    "cmH2O": "conventional_water * standard_gravity * cm", "inHg": "inHg", "mmHg": "mmHg", "psi": "psi", "atm": "atm",
    "Pa": "Pa", "kPa": "kPa", "MPa": "MPa", "hPa": "hPa", "mbar": "mbar", "bar": "bar", "in": "inch", "ft": "foot",
    "yd": "yard", "mi": "mile", "mm": "mm", "cm": "cm", "m": "m", "km": "km", "mph": "mile/hour", "km/h": "km/hour",
    "m/s": "m/s", "ft/s": "foot/s", "ft/min": "foot/minute", "mm/s": "mm/s", "ac": "43560*foot**2", "ha": "hectare",
    "m2": "m**2", "ft2": "foot**2", "in2": "inch**2", "mm2": "mm**2", "cm2": "cm**2", "lb": "pound", "oz": "ounce",
    "kg": "kg", "g": "g", "mg": "mg", "t": "tonne", "gal/min": "gallon/minute", "L/min": "liter/minute",
    "L/s": "liter/s", "ft3/min": "foot**3/minute", "m3/s": "m**3/s", "in3": "inch**3", "cm3": "cm**3", "L": "liter",
    "gal": "gallon", "m3": "m**3", "lbf": "force_pound", "kgf": "force_kilogram", "N": "N", "N m": "N*m",
    "lbf ft": "force_pound*foot", "lbf in": "force_pound*inch", "hp": "550*foot*force_pound/s", "kW": "kW", "W": "W",
    "kg/m3": "kg/m**3", "lb/ft3": "pound/foot**3", "g/cm3": "g/cm**3", "deg": "degree", "rad": "radian",
    "min": "minute", "h": "hour", "s": "s", "ms": "ms", "day": "day", "rpm": "1/minute",
    "lb/ac": "pound/(43560*foot**2)",
    "kg/ha": "kg/hectare", "V": "V", "mV": "mV", "A": "A", "mA": "mA", "ohm": "ohm", "kohm": "kohm",
}


@pytest.mark.parametrize("name", sorted(PINT))
def test_unit_factors_as_in_pint(name: str) -> None:
    """Every factor equals that of a general units library."""
    text = PINT[name].replace("conventional_water", "(1000*kg/m**3)")
    expected = REGISTRY.parse_expression(text).to_base_units().magnitude

    assert expected == pytest.approx(UNITS[name].factor, rel=2e-6)


@pytest.mark.parametrize(("degrees_f", "degrees_c"), [(-40, -40), (32, 0), (95, 35), (212, 100)])
def test_temperatures_as_in_pint(degrees_f: float, degrees_c: float) -> None:
    """Offsets of the temperature scales hold both ways."""
    expected = REGISTRY.Quantity(degrees_f, "degF").to("degC").magnitude

    assert expected == pytest.approx(convert(degrees_f, "degF", "degC"))
    assert degrees_c == pytest.approx(convert(degrees_f, "degF", "degC"))


@given(st.floats(0, 1))
def test_covered_area_as_by_integration(k: float) -> None:
    """The covered share of a hole equals the integral over the circle."""
    x = np.linspace(-1, -1 + 2 * k, 4001)
    expected = np.trapezoid(2 * np.sqrt(np.maximum(0, 1 - x**2)), x) / math.pi

    assert expected == pytest.approx(holes.covered_area(k), abs=2e-5)


@given(st.floats(0.02, 0.98), st.floats(0.8, 8))
def test_lobe_area_as_by_counting_points(k: float, lobe: float) -> None:
    """The share behind a round lobe equals that of a grid of points in both circles."""
    grid = np.linspace(-1, 1, 401)
    x, y = np.meshgrid(grid, grid)
    inside = x**2 + y**2 <= 1
    centre = 1 + lobe - 2 * k
    both = inside & ((x - centre) ** 2 + y**2 <= lobe**2)

    assert both.sum() / inside.sum() == pytest.approx(holes.covered_by_lobe(k, 1.0, lobe), abs=0.004)


@pytest.mark.parametrize(("ohm_per_1000_ft", "diameter_mm"),
                         [(7.77, 1.024), (1.93, 2.053), (1.21, 2.588), (0.764, 3.264)])
def test_copper_wire_as_in_the_table_of_solid_wire(ohm_per_1000_ft: float, diameter_mm: float) -> None:
    """Solid uncoated copper of sizes 18, 12, 10 and 8: resistivity at the diameter gives the table's ohms at 75 C."""
    area = math.pi * (diameter_mm / 1000) ** 2 / 4
    assert electrical.wire_resistance_by_area(area, 304.8, 348.15) == pytest.approx(ohm_per_1000_ft, rel=0.005)


@given(st.floats(0.5, 1.5), st.floats(0.7, 1.1))
def test_fan_laws_hang_together(speed: float, density: float) -> None:
    """Power is flow (as the speed) times pressure (as its square and the density): the laws agree with each other."""
    assert speed * speed**2 * density == pytest.approx(fan.power_at_speed(1.0, speed, density))


@given(st.floats(1, 100), st.floats(0, 0.5))
def test_slip_and_spacing_hang_together(free: float, share: float) -> None:
    """A wheel that loses a share of its turns widens the spacing by one over what is left."""
    lost = drive.slip(free, free * (1 - share))

    assert share == pytest.approx(lost, abs=1e-9)
    assert drive.ground_spacing(2.286, 0.345, 40, lost) == pytest.approx(
        drive.ground_spacing(2.286, 0.345, 40) / drive.rate_factor_for_slip(lost, 0.0))
