"""The simulated room against the closed form, an ODE solver and published worked numbers."""

import math

import pytest
from scipy.integrate import solve_ivp

from ventwright.rehearsal.room import Pollutant, Room

CUBIC_FEET = 100_000.0  # the ACGIH cases keep their own units: ft³, minutes made hours


def _room(volume: float, leakage: float, **kind: float) -> Room:
    return Room(volume, leakage, [Pollutant("x", **kind)])


def test_smoking_room() -> None:
    """emissions.md section 4: 81 mg/h, 576 m³, k 0.40 /h, 800 m³/h (derived: 0.07861 mg/m³)."""
    room = _room(576, 800 / 576, surface_rate=0.40)
    room.sources["x"] = 30 * 2 * 1.35
    room.advance(100 * 3600)
    assert room.levels["x"] == pytest.approx(0.07861, abs=5e-6)


def test_smoking_room_at_the_derived_minimum_flow() -> None:
    """emissions.md section 4: 1089.9 m³/h keep it at 0.05 ppm, ppm = mg/m³·24.45/30 (derived)."""
    room = _room(576, 0, surface_rate=0.40)
    room.exhaust = 1089.9
    room.sources["x"] = 81
    room.advance(100 * 3600)
    assert room.levels["x"] * 24.45 / 30 == pytest.approx(0.05, abs=5e-6)


def test_heater_builds_up_and_decays() -> None:
    """emissions.md section 4: CO heater, 1.0 g/h, 50 m³, 1 /h: 20 mg/m³, 7.358 after 1 h."""
    room = _room(50, 1)
    room.sources["x"] = 1000
    room.advance(100 * 3600)
    assert room.levels["x"] == pytest.approx(20, abs=1e-9)
    room.sources["x"] = 0
    room.advance(3600)
    assert room.levels["x"] == pytest.approx(7.358, abs=5e-4)


def test_sealed_room_fills_in_a_straight_line() -> None:
    """emissions.md section 4: 2.3 g/h HCHO, 750 m³, no ventilation, 3 h: 9.2 mg/m³ (derived)."""
    room = _room(750, 0)
    room.sources["x"] = 2300
    room.advance(3 * 3600)
    assert room.levels["x"] == pytest.approx(9.2, abs=1e-12)


def test_heater_test_and_the_home_that_it_predicts() -> None:
    """emissions.md section 4: 584.5 mg/h, 46 m³, 0.25 /h, 2 h: 20; 120 m³, 0.4 /h: 12.18."""
    chamber, home = _room(46, 0.25), _room(120, 0.4)
    for room in (chamber, home):
        room.sources["x"] = 584.5
    chamber.advance(2 * 3600)
    home.advance(200 * 3600)
    assert chamber.levels["x"] == pytest.approx(20, abs=2e-3)
    assert home.levels["x"] == pytest.approx(12.18, abs=5e-3)


def test_build_up_of_the_ventilation_manual() -> None:
    """emissions.md section 4: G 1.2, Q' 2000 ft³/min (from memory): 200 ppm at 20.27 min,
    419.3 ppm at 60 min (derived)."""
    room = _room(CUBIC_FEET, 0)
    room.exhaust, room.sources["x"] = 2000 * 60, 1.2e6 * 60
    room.advance(20.27 * 60)
    assert room.levels["x"] == pytest.approx(200, abs=0.05)
    room.advance((60 - 20.27) * 60)
    assert room.levels["x"] == pytest.approx(419.3, abs=0.05)


def test_purge_of_the_ventilation_manual() -> None:
    """emissions.md section 4: 100 to 25 ppm in 69.3 min; 30.1 ppm at 60 min (derived)."""
    room = _room(CUBIC_FEET, 0, start=100)
    room.exhaust = 2000 * 60
    room.advance(60 * 60)
    assert room.levels["x"] == pytest.approx(30.1, abs=0.05)
    room.advance((69.3 - 60) * 60)
    assert room.levels["x"] == pytest.approx(25, abs=0.02)


@pytest.mark.parametrize(
    ("changes", "minutes_99", "minutes_99_9"),
    [(2, 138, 207), (4, 69, 104), (6, 46, 69), (12, 23, 35), (20, 14, 21), (50, 6, 8)],
)
def test_purge_table(changes: float, minutes_99: float, minutes_99_9: float) -> None:
    """limits.md section 6: CDC 2003 Table B.1 (confirmed there), whole minutes."""
    for minutes, left in ((minutes_99, 0.01), (minutes_99_9, 0.001)):
        early, late = (_room(30, changes, start=1.0) for _ in range(2))
        early.advance((minutes - 0.5) * 60)
        late.advance((minutes + 0.5) * 60)
        assert late.levels["x"] <= left * (1 + 1e-9) <= early.levels["x"] * (1 + 1e-9)


def test_tracer_decay() -> None:
    """limits.md section 6: 1000 to 200 above background in 1 h is 1.6094 /h (computed)."""
    room = _room(30, 1.6094, start=1420, outdoor=420)
    room.advance(3600)
    assert room.levels["x"] - 420 == pytest.approx(200, abs=0.01)


def test_office_screening() -> None:
    """emissions.md section 2: 113 and 183 µg/min, 45 m³, 1 /h: 150.7, 244.0 µg/m³ (derived)."""
    for rate, level in ((113, 150.7), (183, 244.0)):
        room = _room(45, 1)
        room.sources["x"] = rate * 60
        room.advance(100 * 3600)
        assert room.levels["x"] == pytest.approx(level, abs=0.05)


def test_filter_in_a_test_chamber() -> None:
    """limits.md section 6: V 30 m³, 0.15 /h natural, 151.5 m³/h of clean air: 5.2 /h (computed)."""
    room = _room(30, 0.15, filtered=0.5)
    room.filtering = 2 * 151.5
    assert room.loss_rate("x") == pytest.approx(5.2, abs=1e-12)


def test_any_step_gives_the_closed_form() -> None:
    whole, pieces = (
        _room(45, 0.5, start=9, outdoor=6, penetration=0.8, surface_rate=0.4) for _ in range(2)
    )
    for room in (whole, pieces):
        room.exhaust, room.sources["x"] = 200, 2500
    whole.advance(1800)
    for step in (1, 7, 0.25, 591.75, 1200):
        pieces.advance(step)
    rate = 0.5 + 200 / 45 + 0.4
    steady = (0.8 * (0.5 + 200 / 45) * 6 + 2500 / 45) / rate
    expected = steady + (9 - steady) * math.exp(-rate / 2)
    assert whole.levels["x"] == pytest.approx(expected, rel=1e-12)
    assert pieces.levels["x"] == pytest.approx(expected, rel=1e-12)


def test_a_day_of_changes_matches_an_ode_solver() -> None:
    """Sources, exhaust and filter switched through ten spells, against solve_ivp."""
    room = _room(
        45,
        0.5,
        start=7,
        outdoor=8,
        penetration=0.8,
        surface_rate=0.39,
        surface_level=2,
        filtered=0.7,
    )
    level = 7.0
    for spell in range(10):
        source, exhaust, filtering = 900.0 * spell, 200.0 * (spell % 2), 150.0 * (spell % 3)
        room.sources["x"], room.exhaust, room.filtering = source, exhaust, filtering

        def slope(_: float, c: list[float], s=source, q=exhaust, f=filtering):  # type: ignore[no-untyped-def]
            a = 0.5 + q / 45
            return [0.8 * a * 8 + 0.39 * 2 + s / 45 - (a + 0.39 + 0.7 * f / 45) * c[0]]

        solved = solve_ivp(slope, (0, 0.4), [level], method="DOP853", rtol=1e-12, atol=1e-12)
        level = float(solved.y[0][-1])
        for _ in range(1440):
            room.advance(1)
        assert room.levels["x"] == pytest.approx(level, rel=1e-9)


def test_twice_the_room_is_half_the_concentration() -> None:
    """Common practice, no source: with the same losses in 1/h."""
    small, large = _room(45, 0.5, surface_rate=0.4), _room(90, 0.5, surface_rate=0.4)
    for room in (small, large):
        room.sources["x"] = 2500
        room.advance(1234)
    assert small.levels["x"] == pytest.approx(2 * large.levels["x"], rel=1e-12)
