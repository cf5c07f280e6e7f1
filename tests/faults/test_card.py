"""What the reference load has a card take: real sectors of a real ext4, its journal included."""

import os
from pathlib import Path

from bench.card import card
from bench.writing import device_bytes
from faults.house_in_fast_time import Fast, Sink
from ventwright.settings.model import HOUR, SECOND

MOST = 6_000_000
"""Bytes an hour; from the measurements on flash wear in the notes on reliability, section 3."""


def test_an_hour_of_the_reference_load_gives_a_card_less_than_6_mb(tmp_path: Path) -> None:
    base, owner = Sink(), Sink()
    with card(tmp_path) as place:
        addresses = f"http://127.0.0.1:{base.port}", f"127.0.0.1:{owner.port}"
        house = Fast(place / "store", *addresses, SECOND)
        os.sync()
        before = device_bytes(place)
        house.run(HOUR)
        os.sync()
        written = device_bytes(place) - before
        house.close()
    base.close()
    owner.close()
    assert base.taken > 0
    print(f"{written / 1e6:.2f} MB")
    assert 0 < written < MOST
