"""Formulas of the well-mixed zone and of filters against published tables and worked numbers."""

from math import exp, floor, inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ventwright.mixing import filters, zone
from ventwright.rehearsal.room import Pollutant, Room
from ventwright.standards.gases import convert

CUBIC_FEET = 100_000.0  # the ACGIH cases keep their own units: ft³, minutes made hours

PURGE = {
    1: (138, 276, 414), 2: (69, 138, 207), 4: (35, 69, 104), 6: (23, 46, 69), 8: (17, 35, 52),
    10: (14, 28, 41), 12: (12, 23, 35), 15: (9, 18, 28), 20: (7, 14, 21), 50: (3, 6, 8),
}  # fmt: skip


@pytest.mark.parametrize("changes", PURGE)
def test_purge_times(changes: int) -> None:
    """90, 99 and 99.9 % gone: MMWR 1994 table S3-1 and CDC 2003 table B.1 (confirmed)."""
    for share, minutes in zip((0.1, 0.01, 0.001), PURGE[changes], strict=True):
        assert floor(60 * zone.time_to_fall(share, changes) + 0.5) == minutes


def test_the_mixing_factor_multiplies_the_time() -> None:
    """CDC MMWR 1994;43(RR-13) table S3-1: up to 10 (confirmed)."""
    assert zone.time_to_fall(0.01, 6, 10) == pytest.approx(10 * zone.time_to_fall(0.01, 6))


def test_mixing_of_the_government_guide() -> None:
    """HVAC guide 2006, page 106 (confirmed): 20 % to 1.4 %, K 0.2: 13.3 changes, 6.65 min at 2/min.

    Its K is a share of the air that takes part, so 1/K is the factor here.
    """
    assert zone.time_to_fall(1.4 / 20, 1, 1 / 0.2) == pytest.approx(13.3, abs=0.05)
    assert 60 * zone.time_to_fall(1.4 / 20, 120, 5) == pytest.approx(6.65, abs=0.02)


def test_tracer_decay() -> None:
    """ASTM E741 section 8, two points (confirmed); both numbers computed, limits.md section 6."""
    assert zone.rise_after(1, 30, 1.6094, start=1420 - 420) == pytest.approx(620 - 420, abs=0.02)
    assert zone.rise_after(0.5, 30, 2.9327, start=1200 - 420) == pytest.approx(600 - 420, abs=0.01)


def test_smoking_room_and_its_least_flow() -> None:
    """emissions.md section 4: inputs confirmed, 0.07861 mg/m³ and 1089.9 m³/h derived."""
    emission = 30 * 2 * 1.35
    assert zone.steady(emission, 576, 800 / 576 + 0.40) == pytest.approx(0.07861, abs=5e-6)
    limit = 0.05 * 30 / 24.45
    assert zone.flow_for(limit, emission) - 0.40 * 576 == pytest.approx(1089.9, abs=0.1)


def test_heater_that_builds_up_and_decays() -> None:
    """emissions.md section 4: CO heater, inputs confirmed; 20 and 7.358 mg/m³ derived."""
    assert zone.steady(1000, 50, 1) == 20
    assert zone.rise_after(1, 50, 1, start=20) == pytest.approx(7.358, abs=5e-4)


def test_sealed_room() -> None:
    """emissions.md section 4: 2.3 g/h of HCHO, 750 m³, 3 h: 9.2 mg/m³, 7.49 ppm (derived)."""
    level = zone.rise_after(3, 750, 0, 2300)
    assert level == pytest.approx(9.2, abs=1e-12)
    assert convert(level, "mg/m³", "ppm", "hcho") == pytest.approx(7.49, abs=0.005)


def test_heater_test_and_the_home_that_it_predicts() -> None:
    """emissions.md section 4: textbook, from memory; 584.5 mg/h and 12.18 mg/m³ derived."""
    assert zone.rise_after(2, 46, 0.25, 584.5) == pytest.approx(20, abs=0.002)
    assert zone.steady(584.5, 120, 0.4) == pytest.approx(12.18, abs=0.005)


def test_build_up_and_purge_of_the_ventilation_manual() -> None:
    """emissions.md section 4: ACGIH, from memory; the numbers derived."""
    rate, emission = 2000 * 60 / CUBIC_FEET, 1.2e6 * 60
    assert zone.rise_after(20.27 / 60, CUBIC_FEET, rate, emission) == pytest.approx(200, abs=0.05)
    assert zone.rise_after(1, CUBIC_FEET, rate, emission) == pytest.approx(419.3, abs=0.05)
    assert 60 * zone.time_to_fall(0.25, rate) == pytest.approx(69.3, abs=0.05)
    assert zone.rise_after(1, CUBIC_FEET, rate, start=100) == pytest.approx(30.1, abs=0.05)


def test_dilution_flow_of_the_ventilation_manual() -> None:
    """ACGIH, from memory: SG 1.32, 1.5 pt/h, K 5, MW 133.4, 350 ppm: 1424 ft³/min (derived).

    403 is ft³ of vapour that a pint of a liquid makes, times its molar mass over its density.
    """
    vapour = 403 * 1.32 * 1.5 / 133.4 / 60
    assert zone.flow_for(350e-6, vapour, 5) == pytest.approx(1424 / 60 * 60, abs=1)


def test_one_person_and_the_outdoor_air_for_one() -> None:
    """0.0052 and 7.5 L/s: +693 ppm of CO2 (ASHRAE-type, from memory; derived)."""
    assert 1e6 * zone.steady(0.0052, 1, 7.5) == pytest.approx(693, abs=0.5)


def test_the_small_office_inverted() -> None:
    """ES&T 50:1260 (2016), screening of a small office of 45 m³ at 1 /h: 150 and 244 µg/m³ (from
    memory) need 113 and 183 µg/min (derived)."""
    assert zone.steady(113 * 60, 45, 1) == pytest.approx(150.7, abs=0.05)
    assert zone.steady(183 * 60, 45, 1) == pytest.approx(244.0, abs=0.05)
    assert zone.steady(110 * 60, 45, 1) == pytest.approx(147, abs=0.5)
    assert zone.steady(180 * 60, 45, 1) == pytest.approx(240, abs=0.5)
    assert zone.flow_for(7, 183 * 60) / 45 == pytest.approx(34.9, abs=0.05)


def test_particle_number_at_its_upper_bound() -> None:
    """emissions.md section 2: 1e11 a minute in 45 m³ at 1 /h: 1.333e5 /cm³ (derived)."""
    assert zone.steady(1e11 * 60, 45, 1) / 1e6 == pytest.approx(1.333e5, rel=1e-3)


def test_chamber_at_steady_state() -> None:
    """limits.md section 11: 1 m³, 1.3 /h, 2e5 /cm³: 2.6e11 /h (computed)."""
    assert zone.steady(2.6e11, 1, 1.3) == pytest.approx(2e11)


def test_clean_air_delivery() -> None:
    """limits.md section 6: V 30 m³, 5.2 and 0.15 /h: 151.5 m³/h (computed)."""
    assert zone.clean_air(30, 5.2, 0.15) == pytest.approx(151.5)
    cubic_metres = 0.3048**3
    assert 600 * 60 * cubic_metres == pytest.approx(1019, abs=2)
    assert 850 * 60 * cubic_metres == pytest.approx(1444, abs=2)


def test_candle_in_a_bedroom() -> None:
    """PMC4515693 table A1 (confirmed); 2.94, 3.54, 5.99 /h if all at 30 min (derived)."""
    for gone, rate in ((0.77, 2.94), (0.83, 3.54), (0.95, 5.99)):
        assert zone.time_to_fall(1 - gone, rate) == pytest.approx(0.5, abs=0.001)


@pytest.mark.parametrize(
    ("name", "percent"),
    [("E10", 85), ("E11", 95), ("E12", 99.5), ("H13", 99.95), ("H14", 99.995),
     ("U15", 99.9995), ("U16", 99.99995), ("U17", 99.999995)],
)  # fmt: skip
def test_filter_classes(name: str, percent: float) -> None:
    """EN 1822-1 overall efficiency (confirmed on two pages that agree)."""
    assert 100 * filters.efficiency(name.lower()) == pytest.approx(percent, abs=1e-12)


@pytest.mark.parametrize(
    ("one", "other"),
    [("E11", "ISO 15 E"), ("E12", "ISO 25 E"), ("H13", "ISO 35 H"), ("H14", "ISO 45 H"),
     ("U15", "ISO 55 U"), ("U16", "ISO 65 U"), ("U17", "ISO 75 U")],
)  # fmt: skip
def test_pairs_of_filter_classes(one: str, other: str) -> None:
    """ISO 29463-1:2011 (confirmed)."""
    assert filters.efficiency(one) == filters.efficiency(other)


def test_what_is_no_filter_class_is_refused() -> None:
    with pytest.raises(ValueError, match='"HEPA" is no filter class'):
        filters.efficiency("HEPA")


def test_clean_air_of_a_filter_that_does_not_quite_fit() -> None:
    assert filters.delivered(200, 0.995, 0.9) == pytest.approx(179.1)


def test_a_room_at_seven_tenths_of_a_change() -> None:
    """Common practice, no source: half is left after an hour, a tenth after 3.3 h."""
    assert zone.rise_after(1, 45, 0.7, start=100) == pytest.approx(50, abs=0.5)
    assert zone.time_to_fall(0.1, 0.7) == pytest.approx(3.3, abs=0.05)
    assert zone.half_life(0.7) == pytest.approx(1, abs=0.01)


def test_a_room_cleaner_within_the_hour() -> None:
    """Common practice, no source: E12 in 50 m³ takes unhealthy to near nothing within an hour,
    while the first peak of a print is still seen. Flow and print are chosen: 250 m³/h; 42 mg/h for
    three minutes."""
    delivered = filters.delivered(250, filters.efficiency("E12"))
    rate = 0.5 + 0.4 + delivered / 50
    assert zone.rise_after(1, 50, rate, start=150) < 1.5
    assert zone.rise_after(0.05, 50, rate, emission=42_000) > 35


def test_a_closed_box_changes_the_total_hardly() -> None:
    """Common practice, no source: without extraction what is made in a box gets out in the end.

    A box of 0.3 m³ that leaks 10 /h in the simulated room: who stays in it until all has gone takes
    in what he would have with an open printer, but for what settles in the box (0.4 /h): 4 %.
    """
    dust = [Pollutant("x", surface_rate=0.4)]
    box, boxed, free = Room(0.3, 10, dust), Room(45, 0.5, dust), Room(45, 0.5, dust)
    dose_boxed = dose_free = 0.0
    for second in range(0, 16 * 3600, 10):
        box.sources["x"] = free.sources["x"] = 3000.0 * (second < 2 * 3600)
        boxed.sources["x"] = 10 * box.volume * box.levels["x"]
        for room in (box, boxed, free):
            room.advance(10)
        dose_boxed, dose_free = dose_boxed + boxed.levels["x"], dose_free + free.levels["x"]
    assert dose_boxed / dose_free == pytest.approx(10 / 10.4, rel=0.005)


def test_what_never_comes_takes_for_ever() -> None:
    assert zone.steady(1, 45, 0) == inf
    assert zone.steady(0, 45, 0) == 0
    assert zone.time_to_fall(0.1, 0) == inf


@given(
    st.floats(1, 1000),
    st.floats(0.01, 20),
    st.floats(0, 1e5),
    st.floats(0, 1e4),
    st.floats(0.001, 4),
)
def test_a_level_goes_to_the_steady_one(
    volume: float, rate: float, emission: float, start: float, hours: float
) -> None:
    level = zone.rise_after(hours, volume, rate, emission, start)
    end = zone.steady(emission, volume, rate)
    assert level == pytest.approx(end + (start - end) * exp(-rate * hours), rel=1e-9, abs=1e-9)
