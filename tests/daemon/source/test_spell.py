"""The balance of one time of emission, by plain figures."""

import pytest

from ventwright.source.bank import Estimate
from ventwright.source.spell import Spell

STEP_H = 1 / 180


def total(most: float, still: float) -> float:
    """A level of 10 at 6/h, of which 5/h by extraction, for an hour that ends as quiet."""
    spell = Spell(most)
    for n in range(200):
        quiet = 1.0 if n < 5 or n > 184 else 0.0
        air = Estimate(10.0, 0.1, 60.0, 1.0, quiet, 6.0, 0.1, still, 1.0, 5.0)
        spell.take(20_000 * n, STEP_H, air, 7.0)
    return spell.total


def test_what_extraction_brings_in_is_no_emission() -> None:
    assert total(4.2, 0.0) == pytest.approx(60.0, rel=0.05)
    assert total(4.2, 10.0) == pytest.approx(50.0, rel=0.05)


def test_a_source_that_fades_slowly_is_not_all_taken_for_air_from_outside() -> None:
    assert total(4.2, 50.0) == pytest.approx(60.0 - 4.2 * 5.0, rel=0.05)
