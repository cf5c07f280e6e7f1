"""Exact rolling means against a brute-force oracle that looks at every reading every time."""

import gc
from itertools import accumulate

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ventwright.means.history import _SIZE, History, Window, _Chunk

PERIOD, REACH = 1000, 5000

gaps = st.lists(
    st.tuples(
        st.one_of(st.integers(1, 2000), st.sampled_from([PERIOD, REACH, REACH + 1, 10**9])),
        st.integers(-5000, 100_000),
    ),
    max_size=80,
)


def pieces(readings: list[tuple[int, int]]) -> list[tuple[int, int, int]]:
    """The rule in words: a reading speaks since the one before, after a gap for one period."""
    found, last = [], None
    for t, step in readings:
        start = t - PERIOD if last is None or t - last > REACH else last
        found.append((start, t, step))
        last = t
    return found


def oracle(readings: list[tuple[int, int]], t: int, length: int) -> tuple[int, int]:
    area = cover = 0
    for start, end, step in pieces(readings):
        part = max(0, min(end, t) - max(start, t - length))
        area, cover = area + step * part, cover + part
    return area, cover


def at_times(steps: list[tuple[int, int]], t: int = 0) -> list[tuple[int, int]]:
    readings = []
    for gap, step in steps:
        t += gap
        readings.append((t, step))
    return readings


@given(gaps, st.lists(st.integers(1, 20_000), min_size=1, max_size=4), st.integers(0, 30_000))
def test_every_window_is_exact_after_every_reading_and_later(
    steps: list[tuple[int, int]], lengths: list[int], later: int
) -> None:
    history = History(PERIOD, REACH)
    windows = [history.window(length) for length in lengths]
    readings = at_times(steps)
    for n, (t, step) in enumerate(readings, 1):
        history.add(t, step)
        assert [w.sums(t) for w in windows] == [oracle(readings[:n], t, m) for m in lengths]
    end = (readings[-1][0] if readings else 0) + later
    assert [w.sums(end) for w in windows] == [oracle(readings, end, m) for m in lengths]


@given(gaps, st.integers(1, 50_000), st.lists(st.integers(0, 9000), max_size=9))
def test_a_window_asked_seldom_is_exact_too(
    steps: list[tuple[int, int]], length: int, waits: list[int]
) -> None:
    history, readings = History(PERIOD, REACH), at_times(steps)
    window = history.window(length)
    for t, step in readings:
        history.add(t, step)
    t = readings[-1][0] if readings else 0
    for wait in waits:
        t += wait
        assert window.sums(t) == oracle(readings, t, length)


@pytest.mark.parametrize("count", [_SIZE - 1, _SIZE, _SIZE + 1, 2 * _SIZE, 2 * _SIZE + 1])
@pytest.mark.parametrize("length", [1, 999, 1000, 1001, _SIZE * 1000, 10**8])
def test_chunk_boundaries_do_not_show(count: int, length: int) -> None:
    history = History(PERIOD, REACH)
    window = history.window(length)
    readings = [(n * 1000 + n % 7, n * n % 1013) for n in range(count)]
    for t, step in readings:
        history.add(t, step)
    end = readings[-1][0]
    for t in sorted({end, end + 1, end + length // 2, end + length, end + length + 1}):
        assert window.sums(t) == oracle(readings, t, length)


def test_times_beyond_32_bits_start_a_new_chunk() -> None:
    history = History(PERIOD, REACH)
    window = history.window(1 << 33)
    readings = [(5, 1), ((1 << 31) + 7, 2), ((1 << 32) + 9, 3), ((1 << 32) + 1009, 4)]
    for t, step in readings:
        history.add(t, step)
    assert window.sums(1 << 33) == oracle(readings, 1 << 33, 1 << 33)


def test_a_window_opened_later_sees_what_is_added_from_then_on() -> None:
    history = History(PERIOD, REACH)
    history.add(1000, 50)
    window = history.window(10_000)
    history.add(2000, 70)
    assert window.sums(2000) == (70 * 1000, 1000)


def test_no_reading_is_no_cover() -> None:
    assert History(PERIOD, REACH).window(1000).sums(10**9) == (0, 0)


def fed(history: History, windows: list[Window], count: int, start: int = 0) -> None:
    for n in range(start, start + count):
        history.add(n * 1000, n % 100)
        if n % 50 == 0:
            for window in windows:
                window.sums(n * 1000)


def chunks_alive() -> int:
    gc.collect()
    return sum(isinstance(found, _Chunk) for found in gc.get_objects())


def test_chunks_that_no_window_needs_are_freed() -> None:
    before = chunks_alive()
    history = History(PERIOD, REACH)
    windows = [history.window(60_000), history.window(2 * _SIZE * 1000)]
    fed(history, windows, 20 * _SIZE)
    assert chunks_alive() - before <= 4


def reachable(window: Window) -> list[_Chunk]:
    found, chunk = [], window._chunk
    while chunk is not None:
        found.append(chunk)
        chunk = chunk.next  # type: ignore[assignment]
    return found


@settings(max_examples=20)
@given(st.integers(2, 40))
def test_memory_does_not_grow_with_the_length_of_the_log(chunks: int) -> None:
    history = History(PERIOD, REACH)
    window = history.window(_SIZE * 1000)
    fed(history, [window], chunks * _SIZE)
    assert len(reachable(window)) <= 3


def test_a_window_that_nobody_asks_holds_no_more_than_its_length() -> None:
    before = chunks_alive()
    history = History(PERIOD, REACH)
    windows = [history.window(60_000), history.window(2 * _SIZE * 1000)]
    for n in range(20 * _SIZE):
        history.add(n * 1000, n % 100)
    assert chunks_alive() - before <= 4
    end = (20 * _SIZE - 1) * 1000
    areas = [sum(n % 100 * 1000 for n in range(20 * _SIZE)[-k:]) for k in (60, 2 * _SIZE)]
    assert [window.sums(end) for window in windows] == [
        (areas[0], 60_000),
        (areas[1], 2 * _SIZE * 1000),
    ]


@given(
    st.lists(st.tuples(st.integers(1, 9000), st.integers(-50, 5000)), min_size=1, max_size=60),
    st.integers(0, 59),
    st.integers(1, 70),
)
def test_many_at_once_are_as_one_by_one(
    pairs: list[tuple[int, int]], cut: int, repeats: int
) -> None:
    pairs = pairs * repeats
    times = list(accumulate((gap for gap, _ in pairs), initial=0))[1:]
    steps = [step for _, step in pairs]
    one, many = History(1000, 5000), History(1000, 5000)
    windows = [history.window(100_000) for history in (one, many)]
    for t, step in zip(times, steps, strict=True):
        one.add(t, step)
    many.extend(times[:cut], steps[:cut])
    many.extend(times[cut:], steps[cut:])
    assert (one.area, one.cover, one.last, one.step) == (
        many.area,
        many.cover,
        many.last,
        many.step,
    )
    assert windows[0].sums(times[-1]) == windows[1].sums(times[-1])
    assert windows[0].sums(times[-1] + 50_000) == windows[1].sums(times[-1] + 50_000)
