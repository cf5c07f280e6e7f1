"""The published formulas against worked examples and values computed from the published text.

Where a row was only computed from the formula named in the source, the source line says so.
"""

import math

import pytest

from ventwright.standards.aqi import averaging_hours, index, truncated
from ventwright.standards.gases import MOLAR_VOLUME, convert, molar_volume
from ventwright.standards.humid import absolute_humidity, dew_point, growth
from ventwright.standards.nowcast import nowcast
from ventwright.standards.shift import exceeds, mixture, shift_average

# 40 CFR 58 appendix G, breakpoints of 2024; computed from table and equation.
PM2_5 = {
    4.5: 25,
    9.0: 50,
    9.09: 50,
    9.1: 51,
    12.0: 56,
    17.4: 66,
    28.4: 87,
    35.0: 99,
    35.49: 100,
    35.5: 101,
    55.4: 150,
    55.5: 151,
    100.0: 182,
    125.4: 200,
    125.5: 201,
    225.4: 300,
}
PM10 = {
    27: 25,
    54.9: 50,
    55: 51,
    100: 73,
    154: 100,
    155: 101,
    254: 150,
    255: 151,
    300: 173,
    355: 201,
    400: 266,
    424: 300,
}
# The ends of the CO categories: EPA AQS code table aqi_breakpoints, up to 30.4 ppm.
CO = {0: 0, 4.4: 50, 4.5: 51, 9.4: 100, 9.5: 101, 12.4: 150, 12.5: 151, 15.4: 200, 15.5: 201}
CO |= {30.4: 300, 4.49: 50}


@pytest.mark.parametrize(
    ("quantity", "value", "wanted"),
    [
        (quantity, value, wanted)
        for quantity, rows in (("pm2_5", PM2_5), ("pm10", PM10), ("co", CO))
        for value, wanted in rows.items()
    ],
)
def test_air_quality_index(quantity: str, value: float, wanted: int) -> None:
    assert index(quantity, value).number == wanted


@pytest.mark.parametrize(
    ("quantity", "value", "words"),
    [
        ("pm2_5", 0, "0 (Good)"),
        ("pm2_5", 17.4, "66 (Moderate)"),
        ("pm2_5", 40, "112 (Unhealthy for Sensitive Groups)"),
        ("pm2_5", 100, "182 (Unhealthy)"),
        ("pm2_5", 225.49, "300 (Very Unhealthy)"),
        ("pm2_5", 225.5, "above 300 (Hazardous)"),
        ("pm10", 500, "above 300 (Hazardous)"),
        ("co", 30.5, "above 300 (Hazardous)"),
    ],
)
def test_categories_and_the_open_end(quantity: str, value: float, words: str) -> None:
    assert index(quantity, value).words == words


def test_every_step_of_a_mean_has_an_index_that_never_falls() -> None:
    for quantity, steps, scale in (("pm2_5", 2254, 10), ("pm10", 424, 1), ("co", 304, 10)):
        found = [index(quantity, step / scale).number for step in range(steps + 1)]
        numbers = [number for number in found if number is not None]
        assert len(numbers) == steps + 1
        assert numbers == sorted(numbers)
        assert numbers[-1] == 300


def test_means_are_cut_off_and_not_rounded() -> None:
    assert truncated("pm2_5", 17.413919414) == 17.4
    assert truncated("pm2_5", 35.499) == 35.4
    assert truncated("pm10", 54.99) == 54
    assert truncated("co", 4.49) == 4.4


@pytest.mark.parametrize("quantity", ["pm2_5", "co"])
def test_what_is_on_a_step_stays_there(quantity: str) -> None:
    for step in range(3000):
        assert truncated(quantity, step / 10) == step / 10
        assert truncated(quantity, step * 0.1) == step / 10  # 3 x 0.1 is not quite 0.3


def test_an_index_below_nothing_or_of_something_else_is_refused() -> None:
    with pytest.raises(ValueError, match="no concentration"):
        index("pm2_5", -1)
    with pytest.raises(KeyError):
        index("tvoc", 1)
    assert (averaging_hours("pm10"), averaging_hours("co")) == (24, 8)


# EPA, "Computing the NowCast" (slide), oldest first; 17.4 is the EPA's, the rest computed.
E1 = [50, 80, 75, 90, 82, 53, 64, 74, 21, 10, 16, 13]


def test_nowcast_of_the_epa_example() -> None:
    value = nowcast(E1[::-1])
    assert value == pytest.approx(34.819335938 / 1.999511719, rel=1e-9)
    assert value == pytest.approx(17.413919414, rel=1e-9)
    assert truncated("pm2_5", value or 0) == 17.4
    assert index("pm2_5", value or 0).number == 66


def test_nowcast_of_one_hour_of_smoke_and_an_hour_later() -> None:
    """Inputs: a public copy of an encyclopedia's NowCast page; values computed."""
    now, later = nowcast([71] + [0] * 11), nowcast([0, 71] + [0] * 10)
    assert now == pytest.approx(35.508669, rel=1e-7)
    assert truncated("pm2_5", now or 0) == 35.5
    assert index("pm2_5", now or 0).number == 101
    assert truncated("pm2_5", later or 0) == 17.7


def test_nowcast_of_steady_air_is_that_air() -> None:
    assert nowcast([20] * 12) == 20
    assert index("pm2_5", 20).number == 71  # computed


def test_nowcast_of_clean_air_is_nothing() -> None:
    assert nowcast([0] * 12) == 0  # own decision


@pytest.mark.parametrize(
    ("hours", "there"),
    [
        ([None, 5, 5], True),
        ([5, None, 5], True),
        ([5, 5, None], True),
        ([5, None, None, 5, 5, 5], False),
        ([None, None, None, 5, 5, 5], False),
        ([5, 5], True),
        ([5], False),
        ([], False),
    ],
)
def test_nowcast_needs_two_of_the_three_newest_hours(
    hours: list[float | None], there: bool
) -> None:
    """AirNow technical forum, topic 172."""
    assert (nowcast(hours) is not None) is there


def test_a_missing_hour_leaves_the_places_of_the_others() -> None:
    w = 0.5
    wanted = (10 + 80 * w**2) / (1 + w**2)
    assert nowcast([10, None, 80]) == pytest.approx(wanted)


def test_only_twelve_hours_count() -> None:
    assert nowcast([*E1[::-1], 10_000]) == nowcast(E1[::-1])


def test_shift_average_of_the_regulation() -> None:
    """29 CFR 1910.1000(d)(1)(ii): 81.25 ppm, below 100 ppm."""
    found = shift_average([(150, 2), (75, 2), (50, 4)])
    assert found == 81.25
    assert not exceeds(found, 100)


def test_a_shift_is_divided_by_eight_hours_however_long_it_was() -> None:
    assert shift_average([(80, 4)]) == 40
    assert shift_average([(80, 12)]) == 120
    with pytest.raises(ValueError, match="no time"):
        shift_average([(1, -1)])


def test_mixture_of_the_regulation() -> None:
    """29 CFR 1910.1000(d)(2)(ii): 0.925, within the limits."""
    found = mixture([(500, 1000), (45, 200), (40, 200)])
    assert found == pytest.approx(0.925, rel=1e-12)
    assert not exceeds(found, 1)
    with pytest.raises(ValueError, match="no limit"):
        mixture([(1, 0)])


def test_a_limit_may_be_reached() -> None:
    assert not exceeds(100, 100)
    assert exceeds(math.nextafter(100, 101), 100)


# Computed from BAMS 86, 225 (2005) with 17.625 and 243.04 °C.
@pytest.mark.parametrize(
    ("celsius", "humidity", "wanted", "wmo"),
    [
        (20, 50, 9.261, 9.255),
        (25, 50, 13.858, 13.852),
        (25, 60, 16.698, 16.693),
        (30, 80, 26.171, 26.169),
        (22, 40, 7.780, 7.772),
    ],
)
def test_dew_point(celsius: float, humidity: float, wanted: float, wmo: float) -> None:
    """The last column has the constants of the WMO (17.62, 243.12 °C): within 0.01 °C."""
    assert dew_point(celsius, humidity) == pytest.approx(wanted, abs=5e-4)
    assert dew_point(celsius, humidity) == pytest.approx(wmo, abs=0.01)


def test_air_at_its_dew_point_is_full() -> None:
    assert dew_point(21, 100) == pytest.approx(21, abs=1e-9)


@pytest.mark.parametrize("humidity", [98, 95, 90])
def test_dew_point_by_the_rule_of_thumb(humidity: float) -> None:
    """BAMS 86, 225 (2005): about 1 °C for every 5 %RH below 100 %RH."""
    assert dew_point(20, humidity) == pytest.approx(20 - (100 - humidity) / 5, abs=0.5)


# Computed with 6.1094 hPa and 216.679 g K/J; the last column with 6.112, 17.67 and 243.5.
@pytest.mark.parametrize(
    ("celsius", "humidity", "wanted", "other"),
    [(20, 50, 8.624, 8.639), (25, 50, 11.489, 11.513), (25, 60, 13.787, 13.815)],
)
def test_absolute_humidity(celsius: float, humidity: float, wanted: float, other: float) -> None:
    assert absolute_humidity(celsius, humidity) == pytest.approx(wanted, abs=5e-4)
    assert absolute_humidity(celsius, humidity) == pytest.approx(other, rel=0.003)


# Computed from AMT 11, 709 (2018).
GROWTH = [
    (0.38, 40, 1.1535),
    (0.38, 50, 1.2303),
    (0.38, 60, 1.3455),
    (0.38, 70, 1.5374),
    (0.38, 80, 1.9212),
    (0.38, 85, 2.3051),
    (0.38, 90, 3.0727),
    (0.38, 95, 5.3758),
    (0.3, 50, 1.1818),
    (0.3, 80, 1.7273),
    (0.3, 90, 2.6364),
    (0.41, 80, 1.9939),
]


@pytest.mark.parametrize(("kappa", "humidity", "wanted"), GROWTH)
def test_growth_of_particles_in_humid_air(kappa: float, humidity: float, wanted: float) -> None:
    assert growth(humidity, kappa) == pytest.approx(wanted, abs=5e-5)


def test_growth_ends_where_the_formula_runs_away() -> None:
    assert growth(0) == 1
    assert growth(100) == growth(99) == growth(95)
    assert growth(80, kappa=0) == 1


@pytest.mark.parametrize("humidity", [-0.1, 100.1, math.nan])
def test_humidities_that_cannot_be_are_refused(humidity: float) -> None:
    for formula in (growth, lambda rh: absolute_humidity(20, rh), lambda rh: dew_point(20, rh)):
        with pytest.raises(ValueError, match="no relative humidity"):
            formula(humidity)
    with pytest.raises(ValueError, match="no relative humidity"):
        dew_point(20, 0)


# 1 ppm in mg/m³: computed with 24.45 L/mol; as published; computed at 20 °C.
# Formaldehyde: NIOSH npgd0293; styrene: NIOSH npgd0571; acetone: NAP record 689 p. 16; the
# published factors of the others are from memory.
GASES = [
    ("hcho", 1.2282, 1.23, 1.2484),
    ("co", 1.1456, 1.15, 1.1644),
    ("styrene", 4.2597, 4.26, 4.3297),
    ("acetone", 2.3755, 2.38, 2.4145),
    ("no2", 1.8818, 1.88, 1.9127),
    ("toluene", 3.7685, 3.77, 3.8304),
]


@pytest.mark.parametrize(("gas", "wanted", "published", "cooler"), GASES)
def test_factors_of_the_pocket_guide(
    gas: str, wanted: float, published: float, cooler: float
) -> None:
    found = convert(1, "ppm", "mg/m³", gas)
    assert found == pytest.approx(wanted, abs=5.1e-5)
    assert float(f"{found:.3g}") == published
    at_20 = convert(1, "ppm", "mg/m³", gas, molar_volume(20))
    assert at_20 == pytest.approx(cooler, rel=2e-5)  # their 24.055 L/mol, rounded
    assert convert(found, "mg/m³", "ppm", gas) == pytest.approx(1, rel=1e-15)
    assert convert(1, "ppb", "µg/m³", gas) == pytest.approx(found, rel=1e-15)


def test_molar_volume_of_the_ideal_gas() -> None:
    """Computed: 24.4654, 24.0551 and 22.4140 L/mol."""
    assert molar_volume(25) == pytest.approx(24.4654, abs=5e-5)
    assert molar_volume(20) == pytest.approx(24.0551, abs=5e-5)
    assert molar_volume(0) == pytest.approx(22.4140, abs=5e-5)
    assert molar_volume(25) / MOLAR_VOLUME == pytest.approx(1.0006, abs=5e-5)
    assert molar_volume(25, 800) == pytest.approx(24.4654 * 1013.25 / 800, rel=1e-5)
    for celsius, hectopascal in ((-273.15, 1000), (20, 0)):
        with pytest.raises(ValueError, match="a temperature above"):
            molar_volume(celsius, hectopascal)


# Pairs of one limit as published in both units: NIOSH and OSHA, osha.gov CH_225600 (CO),
# CH_268200 (styrene), CH_216600 (acetone); WHO 2010 chapter 3 (formaldehyde 0.1 mg/m³, 0.08 ppm).
@pytest.mark.parametrize(
    ("gas", "ppm", "mass", "digits"),
    [
        ("co", 35, 40, 2),
        ("co", 200, 229, 3),
        ("co", 25, 29, 2),
        ("styrene", 50, 213, 3),
        ("styrene", 100, 426, 3),
        ("acetone", 1000, 2400, 2),
        ("acetone", 250, 590, 2),
    ],
)
def test_limits_that_are_published_in_both_units(
    gas: str, ppm: float, mass: float, digits: int
) -> None:
    """Styrene is printed as 215 and 425 mg/m³ there, rounded to the next 5."""
    assert float(f"{convert(ppm, 'ppm', 'mg/m³', gas):.{digits}g}") == mass
    assert convert(0.1, "mg/m³", "ppm", "hcho") == pytest.approx(0.08, abs=0.005)


def test_what_cannot_be_converted_is_refused() -> None:
    with pytest.raises(ValueError, match="°C cannot be told in ppm"):
        convert(1, "°C", "ppm", "co")
    with pytest.raises(ValueError, match="no molar mass"):
        convert(1, "µg/m³", "ppb", "pm2_5")
    assert convert(1.5, "mg/m³", "µg/m³") == 1500
    assert convert(1.5, "°C", "°C") == 1.5
