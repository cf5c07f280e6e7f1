"""Student's t, F and chi-squared against scipy 1.11 or newer."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from ventwright.standards import distributions as ours

df = st.floats(0.5, 500)


@given(st.floats(0, 60), df)
def test_tail_of_t(t: float, freedom: float) -> None:
    assert ours.t_tail(t, freedom) == pytest.approx(2 * stats.t.sf(t, freedom), rel=1e-9, abs=1e-13)


@given(st.floats(0.001, 300), df, df)
def test_tail_of_f(f: float, above: float, below: float) -> None:
    wanted = stats.f.sf(f, above, below)
    assert ours.f_tail(f, above, below) == pytest.approx(wanted, rel=1e-9, abs=1e-12)


@given(st.floats(0.001, 900), df)
def test_tail_of_chi_squared(value: float, freedom: float) -> None:
    wanted = stats.chi2.sf(value, freedom)
    assert ours.chi2_tail(value, freedom) == pytest.approx(wanted, rel=1e-7, abs=1e-12)


@pytest.mark.parametrize("freedom", [1, 2, 3.5, 12, 47, 1000])
def test_quantiles(freedom: float) -> None:
    assert ours.t_quantile(0.95, freedom) == pytest.approx(stats.t.ppf(0.975, freedom), rel=1e-10)
    wanted = stats.chi2.ppf(0.95, freedom)
    assert ours.chi2_quantile(0.95, freedom) == pytest.approx(wanted, rel=1e-9)


def test_nothing_is_known_without_freedom() -> None:
    assert ours.t_quantile(0.95, 0) == float("inf")
    assert ours.f_tail(0, 3, 3) == 1
    assert ours.chi2_tail(0, 3) == 1
