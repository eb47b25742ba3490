"""Spacing, stand, kinematics, cost: figures checked against published tables and worked examples.

Each row names where its expected value comes from. DERIVED: arithmetic from stated definitions,
recomputed apart from the code under test; FROM MEMORY: recalled, not read.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import pytest

from diag.measure import counting, drive, economics, holes, kinematics, rhythm, spacing, stand
from diag.measure.passes import account
from diag.units import ACRE, FOOT, HECTARE, INCH, convert

SOURCES = {
    "S3": "Iowa State University Extension, Plant uniformity measurements (reports Kachman & Smith 1995)",
    "S4": "Bracy & Parish, A comparison of seeding uniformity of agronomic and vegetable seeders",
    "S11": "Rossman/Chance applets, CIformulas (score interval)",
    "S12": "Karayel, Barut, Ozmerzi 2004, Biosyst. Eng. 87(4):437-444",
    "S14": "Banaj et al. 2022, J. Cent. Eur. Agric. 23(3):642-654",
    "S15": "Onal, Degirmencioglu, Yazgi 2012, Turk. J. Agric. For. 36:133-144",
    "S17": "Evaluation of a vacuum single-seed planter in maize, J. Agric. Sci. Sep 2021",
    "S18": "Electro-mechanic control system for seed metering II, Comput. Electron. Agric. 145:11-17, 2018",
    "S19": "Yan, Gao, Zhang 2020, IOP Conf. Ser. EES 512:012093",
    "S20": "Vacuum cylinder seeder for chickpea, CIGR Journal 5198",
    "S27": "Vucajnk et al., Increased planting speed and maize yield",
    "S37": "University of Tennessee, Checking corn populations, 2011",
    "S38": "Iowa State Agronomy 212, Seeds per row",
    "S39": "Iowa State Agronomy 212, Seeds per acre",
    "S40": "NDSU A1133 dry bean guide",
    "S41": "Kansas State Agronomy eUpdate 4038",
    "S43": "Purdue Pest Mgmt & Crop Prod. Newsletter, 12 Apr 1996",
    "S45": "Wyoming Livestock Roundup, calibration article, 9 Jun 2012",
    "S46": "Penn State Extension, population text",
    "S49": "Public agricultural-engineering exam notes",
    "S50": "Public exam answer that prints 1.98 and is wrong",
    "S52": "Corn stand uniformity in Wisconsin 2000 (quotes Purdue AGRY-91-01)",
    "S53": "Purdue, Effect of plant spacing variability on corn grain yield, 2004",
    "S54": "Carlson, Doerge, Clay, SSMG-37",
    "S55": "Lauer & Rankin 2004",
    "S58": "Nafziger 1996, J. Prod. Agric. 9(2):238-240",
    "S72": "Published segment-area table for r = 2.5",
}

T1 = [6.1, 5.8, 6.4, 0.9, 5.3, 6.0, 11.8, 6.2, 5.7, 6.3, 3.0, 9.0, 6.0, 5.9, 6.1, 18.1, 5.6, 6.2, 6.4, 5.5,
      2.4, 9.6, 6.0, 6.2, 5.8, 1.2, 4.9, 6.1, 6.3, 24.3, 5.9, 6.0, 5.4, 6.6, 6.1, 5.8, 12.1, 6.0, 5.7, 6.5]
CLASSES = spacing.classes(T1, 6.0)
MPH, KMH = convert(1, "mph", "m/s"), convert(1, "km/h", "m/s")
PER_AC = 1 / ACRE
IN = INCH


@dataclass(frozen=True)
class Row:
    """One check: what is computed, what is expected, absolute tolerance, and where it comes from."""

    name: str
    mark: str
    computed: Callable[[], float | Sequence[float]]
    expected: float | Sequence[float]
    tolerance: float

    def __str__(self) -> str:
        return self.name


def percent(*shares: float) -> list[float]:
    """Return shares as percent."""
    return [100 * s for s in shares]


def printed(n: int, single: int, missed: int, multiple: int) -> list[float]:
    """Return quality, miss, multiple index and their sum for so many spacings of each class."""
    found = spacing.classes([1.0] * single + [2.0] * missed + [0.2] * multiple, 1.0)
    shares = percent(found.singles / n, found.misses / n, found.multiples / n)
    return [*shares, math.fsum(shares)]


def t2(kind: str) -> list[float]:
    """Return the test vector of 20 holes, 6.0 in, 6 turns, fault at hole index 7."""
    places = [i * 6.0 for i in range(120) if not (kind == "plugged" and i % 20 == 7)]
    if kind == "late":
        places = [p + 2.0 if round(p / 6.0) % 20 == 7 else p for p in places]
    if kind == "double":
        places += [i * 6.0 + 0.6 for i in range(120) if i % 20 == 7]
    places.sort()
    return [b - a for a, b in itertools.pairwise(places)]


def meter(mph: float, per_ac: float, width_in: float, hole_count: int) -> list[float]:
    """Return seeds per second, disc rpm and milliseconds per hole."""
    seeds = kinematics.seeds_per_second(mph * MPH, per_ac * PER_AC, width_in * IN)
    return [seeds, 60 * kinematics.disc_speed(seeds, hole_count), 1000 * kinematics.hole_time(seeds)]


def spacing_in(per_ac: float, width_in: float) -> float:
    """Return the seed spacing in inches."""
    return kinematics.spacing_for(per_ac * PER_AC, width_in * IN) / IN


def thousandth_ft(width_in: float) -> float:
    """Return the length of 1/1000 acre of row in feet."""
    return stand.thousandth_length(width_in * IN) / FOOT


def ground_drive() -> list[float]:
    """Return ratio, seeds per wheel turn, spacing (in) and seeds/ac of the worked drive."""
    turns = drive.ratio((0.5, 1), (20, 29))
    gap = drive.ground_spacing(90 * IN, turns, 40)
    return [turns, drive.seeds_per_turn(turns, 40), gap / IN, kinematics.rate_for(gap, 30 * IN) / PER_AC]


def autocorrelated(kind: str, *lags: int) -> list[float]:
    """Return number, mean and autocorrelations of a test vector."""
    run = t2(kind)
    return [len(run), spacing.mean(run), *rhythm.autocorrelation(run, lags)]


def bushels(loss: float) -> float:
    """Return kg/m2 as bushels of corn per acre."""
    return loss / economics.BU_PER_AC


STAND_30K = 30_000 * PER_AC

ROWS = [
    Row("C01", "DERIVED", lambda: [CLASSES.multiples, CLASSES.singles, CLASSES.skips1, CLASSES.skips2,
                                   CLASSES.skips3], [4, 31, 3, 1, 1], 0),
    Row("C02", "DERIVED, formulas S3, S4", lambda: percent(CLASSES.multiples / 40, CLASSES.singles / 40,
                                                           CLASSES.misses / 40), [10.0, 77.5, 12.5], 0.01),
    Row("C05", "DERIVED, formulas FROM MEMORY: ISO 7256-1, GB/T 6973",
        lambda: [CLASSES.positions, *percent(CLASSES.multiples / 44, (40 - 2 * CLASSES.multiples) / 44,
                                             CLASSES.missing / 44)], [44, 9.091, 72.73, 18.18], 0.01),
    Row("C06", "DERIVED", lambda: [spacing.mean(T1), spacing.sd(T1), 100 * spacing.sd(T1) / spacing.mean(T1)],
        [6.780, 4.003, 59.04], 0.01),
    Row("C07", "DERIVED", lambda: 100 * spacing.between_share(T1, 6.0), 96.86, 0.05),
    Row("C08", "DERIVED", lambda: account(T1, 6.0).skips - account(T1, 6.0).doubles, 5, 0),
    Row("C09", "DERIVED", lambda: [account(T1, 6.0).doubles, account(T1, 6.0).displaced],
        [2, 2], 0),
    Row("C10", "DERIVED (29 FROM MEMORY: Kachman & Smith 1995)",
        lambda: 100 * spacing.sd([0.5 + (i + 0.5) / 100_000 for i in range(100_000)]), 28.87, 0.01),
    Row("C11", "DERIVED", lambda: percent(*spacing.normal_scatter(0.2)[1:]), [98.76, 0.6210], 0.01),
    Row("C12", "DERIVED", lambda: percent(*spacing.normal_scatter(0.2, 1.1)[1:]), [96.23, 3.452], 0.01),
    Row("C13", "DERIVED", lambda: 100 * spacing.normal_scatter(0.3)[1], 90.44, 0.01),
    Row("C17", "DERIVED", lambda: spacing.emergence_sd(6.534, 0.95), 1.538, 0.002),
    Row("C20", "formula S11; DERIVED", lambda: percent(*counting.wilson(0, 50)), [0, 7.135], 0.01),
    Row("C21", "formula S11; DERIVED", lambda: percent(*counting.wilson(5, 100)), [2.154, 11.18], 0.01),
    Row("C22", "formula S11; DERIVED", lambda: percent(*counting.wilson(13, 250)), [3.064, 8.692], 0.01),
    Row("C23", "formula S11; DERIVED", lambda: percent(*counting.wilson(25, 250)), [6.865, 14.35], 0.01),
    Row("C24", "formula S11; DERIVED", lambda: percent(*counting.wilson(230, 250)), [87.97, 94.76], 0.01),
    Row("C25", "formula S11; DERIVED", lambda: percent(*counting.wilson(27, 320)), [5.863, 12.00], 0.01),
    Row("C33", "DERIVED", lambda: counting.needed_to_tell(0.02, 0.05), 588, 1),
    Row("C34", "DERIVED", lambda: counting.sd_factors(50), [0.8353, 1.246], 0.001),
    Row("C35", "PUBLISHED S49", lambda: 100 * (lambda c: c.singles / c.spacings)(
        spacing.classes([2.0] * 8 + [0.4] * 5 + [1.0] * 87, 1.0)), 87.0, 0.01),
    Row("C36", "PUBLISHED S17", lambda: printed(1000, 920, 51, 29), [92, 5.1, 2.9, 100.0], 0.1),
    Row("C37", "PUBLISHED S18", lambda: printed(320, 290, 27, 3), [90.63, 8.44, 0.94, 100.0], 0.1),
    Row("C38", "PUBLISHED S18", lambda: printed(320, 282, 30, 8), [88.13, 9.38, 2.50, 100.0], 0.1),
    Row("C39", "PUBLISHED S19", lambda: printed(10_000, 9243, 690, 67), [92.43, 6.9, 0.67, 100.0], 0.1),
    Row("C40", "PUBLISHED S20", lambda: printed(10_000, 8446, 1000, 554), [84.46, 10, 5.54, 100.0], 0.1),
    Row("C41", "PUBLISHED S12; conversion DERIVED", lambda: convert(4.0, "kPa", "inH2O"), 16.06, 0.01),
    Row("C42", "PUBLISHED S37; DERIVED", lambda: thousandth_ft(15), 34.85, 0.01),
    Row("C43", "DERIVED", lambda: thousandth_ft(22), 23.76, 0.01),
    Row("C44", "PUBLISHED S37; DERIVED", lambda: thousandth_ft(30), 17.42, 0.01),
    Row("C45", "PUBLISHED S37; DERIVED", lambda: thousandth_ft(38), 13.76, 0.01),
    Row("C47", "PUBLISHED S38", lambda: stand.rate_from_count(5, FOOT, 15 * IN) / PER_AC, 174_240, 1),
    Row("C48", "PUBLISHED S46 (rounds to 30,000)",
        lambda: stand.rate_from_count(1.7, FOOT, 30 * IN) / PER_AC, 29_621, 1),
    Row("C49", "DERIVED", lambda: spacing_in(32_000, 30), 6.534, 0.002),
    Row("C50", "DERIVED", lambda: spacing_in(34_000, 30), 6.150, 0.002),
    Row("C51", "DERIVED", lambda: spacing_in(28_000, 36), 6.223, 0.002),
    Row("C52", "DERIVED", lambda: spacing_in(140_000, 15), 2.987, 0.002),
    Row("C53", "PUBLISHED S41 (21-18)", lambda: [spacing_in(30_000, 10), spacing_in(35_000, 10)],
        [20.91, 17.92], 0.05),
    Row("C54", "PUBLISHED S40 (3.8)", lambda: spacing_in(75_000, 22), 3.802, 0.05),
    Row("C55", "PUBLISHED S27 (0.165)", lambda: kinematics.spacing_for(80_800 / HECTARE, 0.75), 0.1650, 0.0002),
    Row("C56", "DERIVED", lambda: convert(32_000, "seeds/ac", "seeds/ha"), 79_074, 2),
    Row("C61a", "DERIVED", lambda: ground_drive()[0], 0.3448, 0.3448e-3),
    Row("C61b", "DERIVED", lambda: ground_drive()[1], 13.79, 13.79e-3),
    Row("C61c", "DERIVED", lambda: ground_drive()[2], 6.525, 6.525e-3),
    Row("C61d", "DERIVED", lambda: ground_drive()[3], 32_044, 32.044),
    Row("C62", "DERIVED", lambda: 100 * drive.slip(30, 28), 6.667, 0.01),
    Row("C63", "DERIVED", lambda: kinematics.rate_for(
        drive.ground_spacing(90 * IN, drive.ratio((0.5, 1), (20, 29)), 40, 0.05), 30 * IN) / PER_AC, 30_442, 5),
    Row("C65", "PUBLISHED S49", lambda: [24 * 18 / 60, 1.5 / (24 * 18 / 60),
                                         kinematics.disc_speed(7.2, 24) * 60], [7.200, 0.2083, 18], 0.001),
    Row("C67", "DERIVED", lambda: 100 * FOOT / (5 * MPH), 13.64, 0.01),
    Row("C68", "DERIVED", lambda: meter(5, 32_000, 30, 40), [13.47, 20.20, 74.25], 0.013),
    Row("C69", "DERIVED", lambda: meter(5, 32_000, 30, 24), [13.47, 33.67, 74.25], 0.013),
    Row("C70", "DERIVED", lambda: meter(10, 34_000, 30, 40), [28.62, 42.93, 34.94], 0.028),
    Row("C71", "DERIVED", lambda: meter(5, 140_000, 15, 60), [29.46, 29.46, 33.94], 0.029),
    Row("C72", "DERIVED", lambda: (lambda s: [s, 60 * kinematics.disc_speed(s, 26)])(
        kinematics.seeds_per_second(8 * KMH, 80_000 / HECTARE, 0.75)), [13.33, 30.77], 0.013),
    Row("C76", "PUBLISHED S14 (187)", lambda: HECTARE * (kinematics.rate_for(0.20935, 0.70)
                                                        - kinematics.rate_for(0.20993, 0.70)), 188.5, 2),
    Row("C77", "DERIVED", lambda: [kinematics.exit_speed(0.45), kinematics.fall_time(0.45)], [2.971, 0.3029], 0.001),
    Row("C79", "DERIVED", lambda: kinematics.exit_speed(0.45) / MPH, 6.646, 0.01),
    Row("C81", "DERIVED", lambda: 1000 * kinematics.spacing_sd(10 * MPH, 0.010), 63.22, 0.05),
    Row("C82", "DERIVED", lambda: spacing.lag1(_jittered(), 1.0)[0], -0.5000, 0.02),
    Row("C83", "DERIVED", lambda: rhythm.correlation_band(100), 0.1960, 0.001),
    Row("C84", "DERIVED", lambda: autocorrelated("plugged", 19, 20), [113, 6.319, 0.8333, -0.04731], 0.001),
    Row("C85", "DERIVED", lambda: autocorrelated("late", 1, 19, 20), [119, 6.0, -0.5, -0.4167, 0.8333], 0.001),
    Row("C86", "DERIVED", lambda: autocorrelated("double", 20, 21), [125, 5.712, 0.04575, 0.8333], 0.001),
    Row("C87", "DERIVED", lambda: [rhythm.turn_distance(40, 6.534) / 12, rhythm.turn_distance(24, 5.158) / 12],
        [21.78, 10.32], 0.005),
    Row("C89", "DERIVED", lambda: 100 * rhythm.coincidence(40, 3), 0.5625, 0.0005),
    Row("C91", "DERIVED", lambda: holes.covered_area(0.1), 0.05204, 0.0001),
    Row("C92", "DERIVED", lambda: holes.covered_area(0.2), 0.1424, 0.0001),
    Row("C93", "DERIVED", lambda: holes.covered_area(0.25), 0.1955, 0.0001),
    Row("C94", "DERIVED", lambda: holes.covered_area(1 / 3), 0.2918, 0.0001),
    Row("C95", "DERIVED", lambda: holes.covered_area(0.5), 0.5000, 0.0001),
    Row("C96", "DERIVED", lambda: holes.covered_area(0.75), 0.8045, 0.0001),
    Row("C97", "DERIVED", lambda: [holes.covered_diameter(0.25), holes.covered_diameter(1 / 3)],
        [0.2980, 0.3675], 0.0001),
    Row("C99", "DERIVED", lambda: holes.covered_by_lobe(0.5, 2.25, 5.0), 0.4520, 0.0005),
    Row("C100a", "DERIVED", lambda: 1e6 * holes.hole_area(0.0045), 15.90, 0.0159),
    Row("C100b", "DERIVED", lambda: holes.suction(4000, 0.0045), 0.06362, 0.06362e-3),
    Row("C100c", "DERIVED", lambda: convert(holes.suction(4000, 0.0045), "N", "kgf") * 1000, 6.487, 6.487e-3),
    Row("C101", "PUBLISHED S58 (211; 169)", lambda: [
        convert(30_000 * 6.32, "oz", "lb") / 56, convert(18_000 * 8.40, "oz", "lb") / 56], [211.6, 168.8], 0.5),
    Row("C102", "S58; DERIVED", lambda: [-economics.skip_loss(1, 0, STAND_30K), -economics.skip_loss(0, 1, STAND_30K)],
        [-0.8100, 0.4300], 0.001),
    Row("C103", "DERIVED", lambda: [100 * economics.skip_loss(0.03, 0.02, STAND_30K), 211 * economics.skip_loss(
        0.03, 0.02, STAND_30K)], [1.570, 3.313], 0.005),
    Row("C104", "PUBLISHED S52, S53, S54", lambda: [
        bushels(economics.spacing_loss(4.5 * IN, slope)) for slope in (2.5, 2.2, 4.0)], [6.250, 5.500, 10.00], 0.01),
    Row("C106", "DERIVED", lambda: 10_000 * 2.5 * economics.BU_PER_AC / 2.54, 61.78, 0.02),
]


def _jittered() -> list[float]:
    """Return 10,000 spacings of pure placement jitter, seeded."""
    import random

    rng = random.Random(82)
    places = [i + rng.gauss(0, 0.07) for i in range(10_001)]
    return [b - a for a, b in itertools.pairwise(places)]


@pytest.mark.parametrize("row", ROWS, ids=str)
def test_value(row: Row) -> None:
    """A computed figure equals the one of its source within the tolerance given there."""
    computed = row.computed()
    many = isinstance(row.expected, Sequence)
    pairs = list(zip(computed, row.expected, strict=True)) if many else [(computed, row.expected)]

    assert all(abs(float(got) - want) <= row.tolerance + 1e-12 for got, want in pairs), (row.mark, computed)


def test_every_row_names_its_source() -> None:
    """Each row is marked, and every source key used is spelt out."""
    import re

    used = {key for row in ROWS for key in re.findall(r"\bS\d+\b", row.mark)}

    assert all(re.search(r"DERIVED|PUBLISHED|FROM MEMORY", row.mark) or "S58" in row.mark for row in ROWS)
    assert used <= set(SOURCES)


def test_rows_are_named_once_and_in_order() -> None:
    """Rows keep the numbers of the table of check values; formulas that nothing in the program uses are not in it."""
    numbers = [int("".join(c for c in row.name if c.isdigit())) for row in ROWS]

    assert len({row.name for row in ROWS}) == len(ROWS)
    assert sorted(numbers) == numbers
    assert len(set(numbers)) > 70
