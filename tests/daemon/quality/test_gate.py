"""The gate of parts without a checksum: what air cannot do is not believed the first time."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fakes import FakeClock, wiring
from ventwright.keeper.process import kind_of
from ventwright.quality.gate import PACES
from ventwright.quality.judge import Judge, PartKind
from ventwright.quality.marks import Quality
from ventwright_drivers import registry
from ventwright_drivers.part import Sample
from ventwright_drivers.quantities import QUANTITIES

CLIMATE = ("temperature", "humidity", "pressure", "gas_resistance")
Q = Quality


def judge(quantities: tuple[str, ...] = CLIMATE, checked: bool = False) -> Judge:
    made = Judge(PartKind("part", quantities, 3000, 10_000, 0, optical=False, checked=checked))
    made.begin(0)
    return made


def marks(found: Judge, t: int, *values: float | None) -> list[Quality]:
    return [Q(m) for m in found.judge(t, Sample(values))[1]]


def test_a_lone_jump_is_inconsistent_and_alone_so() -> None:
    found = judge()
    assert marks(found, 0, 21, 45, 987, 1e5) == [Q.GOOD] * 4
    assert marks(found, 3000, 85, 45, 987, 1e5) == [Q.INCONSISTENT, Q.GOOD, Q.GOOD, Q.GOOD]
    assert marks(found, 6000, 21, 45, 987, 1e5) == [Q.GOOD] * 4
    assert marks(found, 9000, 21, 99, 700, 3e3) == [Q.GOOD, Q.GOOD, Q.INCONSISTENT, Q.GOOD]


def test_a_step_that_stays_is_believed_with_the_second_reading() -> None:
    found = judge(("pressure",))
    assert marks(found, 0, 987) == [Q.GOOD]
    assert marks(found, 3000, 940) == [Q.INCONSISTENT]
    assert marks(found, 6000, 940.5) == [Q.GOOD]
    assert marks(found, 9000, 987) == [Q.INCONSISTENT]


def test_two_damaged_readings_that_differ_are_both_refused() -> None:
    found = judge(("temperature",))
    read = [marks(found, 3000 * n, value)[0] for n, value in enumerate((21, 85, -40, 21.1))]
    assert read == [Q.GOOD, Q.INCONSISTENT, Q.INCONSISTENT, Q.GOOD]


@pytest.mark.parametrize("name", PACES)
def test_the_edge_is_where_it_is_said_to_be(name: str) -> None:
    pace, q = PACES[name], QUANTITIES[name]
    base = {"temperature": 20.0, "humidity": 20.0, "pressure": 1000.0}[name]
    allowed = pace.at_once + 4 * pace.a_second
    step = 1 / q.per_unit
    for value, mark in ((base + allowed, Q.GOOD), (base + allowed + 1.5 * step, Q.INCONSISTENT)):
        found = judge((name,))
        assert marks(found, 0, base) == [Q.GOOD]
        assert marks(found, 4000, value) == [mark]


def test_after_a_new_start_everything_is_believed() -> None:
    found = judge(("temperature",))
    assert marks(found, 0, 21) == [Q.GOOD]
    found.begin(1000)
    assert marks(found, 1000, 60) == [Q.GOOD]


BURST = [5.0, 5.2, 120.0, 500.0, 480.0, 350.0]


@pytest.mark.parametrize("checked", [True, False])
@pytest.mark.parametrize("name", ["pm2_5", "n0_3", "tvoc", "hcho", "co", "gas_resistance"])
def test_the_burst_of_a_print_passes(name: str, checked: bool) -> None:
    """From 5 to 500 within two seconds: particles and gases do that."""
    found = judge((name,), checked)
    assert [marks(found, 1000 * n, value)[0] for n, value in enumerate(BURST)] == [Q.GOOD] * 6


def test_what_has_a_checksum_is_not_gated() -> None:
    found = judge(("temperature",), checked=True)
    assert [marks(found, 1000 * n, value)[0] for n, value in enumerate((21, 85, 21))] == [
        Q.GOOD
    ] * 3


def test_a_missing_or_impossible_value_is_no_news_to_the_gate() -> None:
    found = judge(("temperature",))
    read = [marks(found, 3000 * n, v)[0] for n, v in enumerate((21, None, 999, 21.5))]
    assert read == [Q.GOOD, Q.FAILED, Q.OUT_OF_RANGE, Q.GOOD]


@given(st.lists(st.floats(-0.5, 0.5), min_size=2, max_size=40))
def test_air_that_drifts_is_always_believed(ways: list[float]) -> None:
    found, value = judge(("temperature",)), 20.0
    for n, way in enumerate(ways):
        value += way
        assert marks(found, 3000 * n, value) == [Q.GOOD]


def test_these_parts_have_no_checksum() -> None:
    bare = {name for name, part in registry.parts().items() if not part.checked}
    assert bare == {"ads1115", "bme680", "bme688", "ens160"}
    driver = registry.parts()["bme680"]
    assert not kind_of(driver(driver.Options(), wiring(FakeClock()))).checked
