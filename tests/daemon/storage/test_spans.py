"""What lies between two times is found whole, whatever the boots, and little else is read."""

import random
from pathlib import Path

import pytest

from ventwright.events import Readings
from ventwright.storage import spans
from ventwright.storage.reader import Reader
from ventwright.storage.spans import between, newest
from ventwright.storage.writer import Writer

START = 1_790_000_000_000


def fill(folder: Path, boots: int = 4, minutes: int = 400) -> None:
    """Boots half a day apart; one part speaks in bursts, so the ends of blocks are not in order."""
    dice = random.Random(3)
    for number in range(boots):
        store = Writer(folder, f"boot-{number}", START + number * 43_200_000)
        for part in ("a", "b", "c"):
            store.part(part, "pms5003", ("pm1",))
        for minute in range(minutes):
            for part in ("a", "b", "c"):
                if part != "c" or dice.random() < 0.5:
                    t = minute * 60_000 + dice.randrange(0, 30_000)
                    store.add(Readings(t, part, (minute,), b"\0"))
                    store.add(Readings(t + dice.randrange(1, 30_000), part, (minute,), b"\0"))
            store.commit()
        store.close()


@pytest.fixture
def reader(tmp_path: Path) -> Reader:
    fill(tmp_path)
    return Reader(tmp_path)


@pytest.mark.parametrize("seed", range(8))
def test_it_finds_what_reading_everything_finds(reader: Reader, seed: int) -> None:
    dice = random.Random(seed)
    first = START + dice.randrange(-10_000_000, 160_000_000)
    last = first + dice.choice([0, 1000, 3_600_000, 90_000_000])
    offsets = {boot.id: boot.offset for boot in reader.boots().values()}
    wanted = [
        block
        for block in reader.all_blocks()
        if block.last + offsets[block.boot] >= first and block.first + offsets[block.boot] <= last
    ]
    found = list(between(reader, first, last))
    assert [block for _, block in found] == wanted
    assert all(offset == offsets[block.boot] for offset, block in found)
    reader.close()


def test_it_reads_little_else(reader: Reader, monkeypatch: pytest.MonkeyPatch) -> None:
    read = []
    whole = Reader.blocks

    def counted(self: Reader, after: int = 0, limit: int = 1000) -> list[object]:
        found = whole(self, after, limit)
        read.append(len(found))
        return list(found)

    monkeypatch.setattr(Reader, "blocks", counted)
    monkeypatch.setattr(spans, "_PAGE", 50)
    assert len(list(between(reader, START, START + 60_000))) > 1
    assert sum(read) < 700  # of 4000
    reader.close()


def test_the_newest_sample_of_any_part(reader: Reader) -> None:
    offsets = {boot.id: boot.offset for boot in reader.boots().values()}
    assert newest(reader) == max(b.last + offsets[b.boot] for b in reader.all_blocks())
    reader.close()


def test_an_empty_store_has_none(tmp_path: Path) -> None:
    store = Writer(tmp_path, "boot", START)
    store.commit()
    store.close()
    reader = Reader(tmp_path)
    assert newest(reader) is None
    assert list(between(reader, 0, START * 2)) == []
    reader.close()
