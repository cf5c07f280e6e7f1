"""Stored blocks come out in the order of their times, whatever parts were silent when."""

import tempfile
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from ventwright.events import Readings
from ventwright.quality.marks import Quality
from ventwright.replaying.blocks import Unpacker, in_order
from ventwright.storage.reader import Reader
from ventwright.storage.writer import Writer

KEPT = dict.fromkeys("abcd", ("pm1", "pm2_5"))

commits = st.lists(
    st.lists(st.tuples(st.sampled_from("abcd"), st.integers(1, 5000)), max_size=12), max_size=12
)


def store(folder: Path, boots: list[Any]) -> list[Readings]:
    """Write boots of commits of samples (part, ms since the one before); returns all samples."""
    made = []
    for number, of_boot in enumerate(boots):
        writer, t = Writer(folder, f"boot-{number}", 0), 1000
        for name, kept in KEPT.items():
            writer.part(name, "pms5003", kept)
        for commit in of_boot or [[]]:
            for part, wait in commit:
                t += wait
                steps = (t % 7, None if t % 5 == 0 else t % 11)
                marks = bytes([t % 3, Quality.FAILED if t % 5 == 0 else 0])
                made.append(Readings(t, part, steps, marks))
                writer.add(made[-1])
            writer.commit()
        writer.close()
    return made


@settings(max_examples=40, deadline=None)
@given(st.lists(commits, min_size=1, max_size=3))
def test_all_samples_come_in_order(boots: Any) -> None:
    with tempfile.TemporaryDirectory(prefix="h10-") as folder:
        made = store(Path(folder), boots)
        reader, unpacker = Reader(Path(folder)), Unpacker(KEPT)
        found = [one for _, some in in_order(reader.all_blocks(), unpacker) for one in some]
        reader.close()
    assert found == made
    assert unpacker.counts.total == sum(s is not None for one in made for s in one.steps)


def test_little_is_held_while_a_part_is_silent(tmp_path: Path) -> None:
    """A part that ends early does not hold back what the others go on to say."""
    store(tmp_path, [[[("a", 10), ("b", 10)], *[[("b", 1000)] * 10] * 20]])
    reader, unpacker = Reader(tmp_path), Unpacker(KEPT)
    batches = [len(some) for _, some in in_order(reader.all_blocks(), unpacker)]
    reader.close()
    assert max(batches) <= 20


def test_other_quantities_and_parts_are_left_out_by_name(tmp_path: Path) -> None:
    made = store(tmp_path, [[[("a", 1), ("b", 2)]]])
    unpacker = Unpacker({"a": ("pm10", "pm2_5")})
    reader = Reader(tmp_path)
    found = [one for _, some in in_order(reader.all_blocks(), unpacker) for one in some]
    reader.close()
    assert found == [Readings(1001, "a", (None, made[0].steps[1]), bytes([Quality.FAILED, 0]))]
    assert unpacker.left_out == {"a.pm1", "b.pm1", "b.pm2_5"}


def test_a_damaged_block_costs_itself_only(tmp_path: Path) -> None:
    made = store(tmp_path, [[[("a", 1)], [("a", 2)]]])
    writer = Writer(tmp_path, "boot-0", 0)
    writer._connection().execute("UPDATE blocks SET body = x'00' WHERE id = 1")
    writer.close()
    reader, unpacker = Reader(tmp_path), Unpacker(KEPT)
    found = [one for _, some in in_order(reader.all_blocks(), unpacker) for one in some]
    reader.close()
    assert found == made[1:]
    assert unpacker.damaged == 1
