import math
from statistics import fmean, stdev

import pytest

from ventwright.rehearsal.sensing import Sense, Senses, vapour_at_saturation

LEVELS = {"fine": 20.0, "middle": 1.0, "coarse": 0.5, "temperature": 21.0, "vapour": 8.0}
NOISY = dict.fromkeys(("fine", "middle", "coarse"), Sense(0.0, 1.0, 0.05, 0.3))


def _view(senses: dict[str, Sense], seed: int = 1, part: str = "bench") -> Senses:
    view = Senses(part, seed, senses)
    view.follow(LEVELS, 1)
    return view


def test_lag_is_first_order() -> None:
    view = _view({"fine": Sense(lag_s=10)})
    for _ in range(10):
        view.follow({**LEVELS, "fine": 120.0}, 1)
    assert view("pm1") == pytest.approx(20 + 100 * (1 - math.exp(-1)))


def test_lag_does_not_depend_on_the_step() -> None:
    coarse, fine = _view({"fine": Sense(lag_s=10)}), _view({"fine": Sense(lag_s=10)})
    coarse.follow({**LEVELS, "fine": 120.0}, 8)
    for _ in range(16):
        fine.follow({**LEVELS, "fine": 120.0}, 0.5)
    assert coarse("pm1") == pytest.approx(fine("pm1"))


def test_bias_is_a_factor() -> None:
    assert _view({"fine": Sense(bias=1.1)})("pm1") == pytest.approx(22.0)


def test_noise_has_the_spread_that_was_asked_for() -> None:
    view = _view(NOISY)
    shown = []
    for _ in range(4000):
        view.follow(LEVELS, 1)
        shown.append(view("pm1"))
    spread = 0.05 * 20 + 0.3
    assert fmean(shown) == pytest.approx(20, abs=4 * spread / math.sqrt(4000))
    assert stdev(shown) == pytest.approx(spread, rel=0.05)


def test_larger_includes_smaller_in_every_sample() -> None:
    view = _view(NOISY)
    for _ in range(2000):
        view.follow(LEVELS, 1)
        assert 0 <= view("pm1") <= view("pm2_5") <= view("pm4") <= view("pm10")
        assert view("n0_3") >= view("n0_5") >= view("n1") >= view("n2_5") >= view("n5")


def test_one_sample_is_of_one_piece() -> None:
    view = _view(NOISY)
    assert view("pm2_5") == view("pm2_5")


def test_same_seed_same_noise() -> None:
    assert _view(NOISY)("pm10") == _view(NOISY)("pm10")
    assert _view(NOISY)("pm10") != _view(NOISY, seed=2)("pm10")
    assert _view(NOISY)("pm10") != _view(NOISY, part="door")("pm10")


def test_vapour_at_saturation() -> None:
    """limits.md section 9, checks of the 6.1094 set: 20 °C 50 % is 8.624 g/m³ (computed)."""
    assert vapour_at_saturation(20) * 0.5 == pytest.approx(8.624, abs=5e-4)
    assert vapour_at_saturation(25) * 0.6 == pytest.approx(13.787, abs=5e-4)


def test_warmer_air_of_the_same_water_is_drier() -> None:
    view = _view({})
    before = view("humidity")
    view.follow({**LEVELS, "temperature": 24.0}, 1)
    assert 0 < view("humidity") < before < 100
