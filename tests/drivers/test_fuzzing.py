"""Ten million bytes of random, mutated and truncated traffic through every decoder, seeded.

No exception escapes, and nothing with a wrong checksum becomes a reading; the checksums are those
of frames.py, not the drivers'.
"""

import re

import pytest

from drivers import fuzzing
from drivers.frames import BLOCKS, STREAMS
from drivers.fuzzing import BYTES, fuzz
from ventwright_drivers import registry
from ventwright_drivers.part import Sample

NAMES = [*STREAMS, *BLOCKS]
WITHOUT_DECODER = {"relay-gpio", "tacho-gpio", "relay-mcp23008", "relay-pcf8574"}
"""Lines, edges and bytes that mean what they are. Let this list not grow."""


@pytest.mark.parametrize("name", NAMES)
def test_ten_million_bytes(name: str) -> None:
    outcome = fuzz(name)
    assert outcome.wrong == []
    assert outcome.fed >= BYTES
    assert outcome.read > 1000, "the traffic has no frame that is whole"


def test_every_driver_that_decodes_is_among_them() -> None:
    plain = [re.sub(r" \(.*\)|, voltage|, resistance", "", name) for name in NAMES]
    told = {model for name in plain for model in name.split(", ")}
    models = {model.removesuffix("-i2c") for model in (*registry.parts(), *registry.relays())}
    assert models - told == WITHOUT_DECODER


CLOSING = {"sds011": 2, "sps30 (serial)": 2}
"""Where the checksum is, counted from the end; last elsewhere."""


@pytest.mark.parametrize("name", ["pms3003", "sds011", "sgp40", "relay-a0", "sps30 (serial)"])
def test_the_rules_know_a_wrong_checksum(name: str) -> None:
    target = {**STREAMS, **BLOCKS}[name]
    for n in range(50):
        frame = target.make(fuzzing.Random(n))
        assert target.sound(frame)
        spoilt = bytearray(frame)
        spoilt[-CLOSING.get(name, 1)] ^= 1
        assert not target.sound(bytes(spoilt))


def broken(data: bytes) -> tuple[int, Sample | None]:
    """A decoder of sds011 that forgets the sum."""
    at = data.find(b"\xaa\xc0")
    return (at + 10, Sample((1.0, 2.0))) if 0 <= at <= len(data) - 10 else (0, None)


def test_traffic_finds_a_decoder_that_forgets_the_sum(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(STREAMS, "sds011", STREAMS["sds011"]._replace(decode=broken))
    assert fuzz("sds011", 100_000).wrong
