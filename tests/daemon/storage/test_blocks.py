"""Blocks come back exactly as they went in, and damaged ones are refused."""

import zlib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ventwright.quality.marks import Quality
from ventwright.storage.blocks import pack, unpack

FAR = 1 << 61
steps = st.one_of(st.none(), st.integers(-FAR, FAR), st.integers(0, 5000))
marks = st.sampled_from(list(Quality))


@st.composite
def blocks(draw: Any) -> tuple[list[int], list[tuple[list[int | None], bytes]]]:
    count, width = draw(st.integers(1, 70)), draw(st.integers(1, 9))
    gaps = draw(st.lists(st.integers(1, 100_000), min_size=count, max_size=count))
    start = draw(st.integers(0, 1 << 50))
    times = [start + sum(gaps[: n + 1]) for n in range(count)]
    columns = [
        (
            draw(st.lists(steps, min_size=count, max_size=count)),
            bytes(draw(st.lists(marks, min_size=count, max_size=count))),
        )
        for _ in range(width)
    ]
    return times, columns


@given(blocks())
def test_what_is_packed_comes_back(block: Any) -> None:
    times, columns = block
    found = unpack(pack(times, columns), times[0], len(times), len(columns))
    assert found.times == times
    assert [(c.steps, c.marks) for c in found.columns] == columns


TIMES = [1000, 2000, 3000]
COLUMNS: list[tuple[list[int | None], bytes]] = [([1, None, 3], bytes(3)), ([4, 5, 6], b"\5\0\6")]
BODY = pack(TIMES, COLUMNS)


@pytest.mark.parametrize("at", range(len(BODY)))
def test_a_body_cut_short_anywhere_is_refused(at: int) -> None:
    with pytest.raises(ValueError, match="block"):
        unpack(BODY[:at], 1000, 3, 2)


@pytest.mark.parametrize("at", range(len(BODY)))
def test_a_flipped_byte_is_refused_or_harmless(at: int) -> None:
    body = bytearray(BODY)
    body[at] ^= 0x55
    try:
        found = unpack(bytes(body), 1000, 3, 2)
    except ValueError:
        return
    assert found == unpack(BODY, 1000, 3, 2)


@pytest.mark.parametrize(("count", "width"), [(2, 2), (4, 2), (3, 1), (3, 3)])
def test_a_body_of_another_shape_is_refused(count: int, width: int) -> None:
    with pytest.raises(ValueError, match="wrong length"):
        unpack(BODY, 1000, count, width)


@given(st.binary(max_size=100))
def test_garbage_is_refused(data: bytes) -> None:
    with pytest.raises(ValueError, match="block"):
        unpack(data, 0, 3, 2)
    if len(data) != 4 * 3 + 9 * 3 * 2:
        with pytest.raises(ValueError, match="wrong length"):
            unpack(zlib.compress(data), 0, 3, 2)


def test_still_air_costs_next_to_nothing() -> None:
    quiet: list[tuple[list[int | None], bytes]] = [([7] * 60, bytes(60))] * 3
    assert len(pack([1000 * n for n in range(60)], quiet)) < 60
