"""A bit that flipped where SQLite's own check does not look: in an event, a part, or a saved state.

It costs itself only, and is counted. Rows are spoilt by SQL, as a worn card would spoil them.
"""

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

import rooms
from daemon.courier.beside import MINUTE, Phone, World
from daemon.replaying.lives import Life
from receivers import Endpoint
from rooms import measured
from stored import OFFSET, fill, points_in, points_of, record, samples_of, writer
from ventwright.commands.status import courier_lines
from ventwright.courier.accounts import counts
from ventwright.courier.file import file_path
from ventwright.events import SPOILT
from ventwright.replaying.outcome import recorded
from ventwright.reporting.happenings import happenings
from ventwright.reporting.load import alarm_load
from ventwright.settings.model import HOUR, Storage
from ventwright.source.uses import clearances
from ventwright.storage.damage import examine
from ventwright.storage.reader import Reader
from ventwright.storage.schema import store_path
from ventwright.storage.summaries import summaries
from ventwright.storage.upkeep import EVERY_EVENT, Upkeep

WAYS = {
    "no JSON": ("body", b'{"change": "raised", "state"" 1}'),
    "no text": ("body", b'{"change": "raised\xff\xfe}'),
    "no object": ("body", b'"change"'),
    "no boot": ("boot", 4097),
}
EVENTS_LOST = ("spoilt", "events_dropped", "events_waiting")


def spoil(folder: Path, table: str, column: str, value: Any, where: str) -> None:
    """Change a cell, as text where it is one; SQLite finds nothing wrong with it."""
    with closing(sqlite3.connect(store_path(folder))) as db:
        put = "CAST(? AS TEXT)" if isinstance(value, bytes) else "?"
        done = db.execute(f"UPDATE {table} SET {column} = {put} WHERE {where}", (value,))
        assert done.rowcount == 1
        db.commit()
    assert not examine(store_path(folder))


@pytest.mark.parametrize("way", WAYS)
def test_a_spoilt_event_is_passed_over_and_all_others_are_told_and_pushed(
    world: World, base: Endpoint, owner: Phone, way: str
) -> None:
    fill(world.store, 30)
    for name in ("bench", "door", "shelf"):
        world.happen("part", name, change="lost", why="gone")
    spoil(world.folder, "events", *WAYS[way], "id = 2")
    world.run(5 * MINUTE)
    assert owner.titles == ["Workshop: part bench lost", "Workshop: part shelf lost"]
    assert {line.split("subject=")[1].split(" ")[0] for line in base.lines() if "_events" in line} \
        == {"bench", "shelf"}  # fmt: skip
    assert points_in(base.lines()) == points_of(world.folder)
    found = counts(world.folder)
    assert [found[name] for name in EVENTS_LOST] == [1, 1, 0]
    assert "cannot be read" in found["latest_refused"][0]["reason"]
    said = "\n".join(courier_lines(world.settings, found))
    assert "store: 1 of its events cannot be read, nobody was told of them" in said


def test_one_that_is_the_newest_is_counted_at_once_and_only_once(world: World) -> None:
    world.happen("part", "bench", change="lost", why="gone")
    spoil(world.folder, "events", *WAYS["no JSON"], "id = 1")
    for _ in range(3):
        world.run(5 * MINUTE)
        world.restart()
    assert [counts(world.folder)[name] for name in EVENTS_LOST] == [1, 1, 0]


def test_an_event_that_lacks_what_its_kind_has_costs_itself_only(
    world: World, owner: Phone
) -> None:
    world.alarm("raised")
    world.alarm("cleared")
    spoil(world.folder, "events", "body", json.dumps({"change": "raised", "over": [1]}), "id = 1")
    world.happen("part", "bench", change="lost", why="gone")
    world.run(5 * MINUTE)
    assert "Workshop: part bench lost" in owner.titles
    assert counts(world.folder)["spoilt"] == 1


def test_more_spoilt_events_than_a_page_has_end_no_reading(tmp_path: Path) -> None:
    store = writer(tmp_path)
    for n in range(7):
        record(store, "part", "bench", n, change="back")
    store.close()
    for number in range(1, 7):
        spoil(tmp_path, "events", *WAYS["no JSON"], f"id = {number}")
    with closing(Reader(tmp_path)) as reader:
        assert [event.id for event in reader.events(limit=2)] == [7]
        assert reader.events(7, limit=2) == []
        assert [one.id for one in reader.page(limit=2).spoilt] == [1, 2]
        last = reader.last_event("part")
        assert last is not None
        assert last.id == 7
        assert [event.id for event in reader.events_of("part")] == [7]


@pytest.mark.parametrize("way", [*WAYS, "other keys"])
def test_reports_and_replays_go_without_it(tmp_path: Path, way: str) -> None:
    life = Life(tmp_path, rooms.room(), 0)
    for second in range(1, 300):
        life.event(measured(second * 1000, 8 if second < 200 else 90))
    life.stop()
    with closing(Reader(tmp_path)) as reader:
        raised = next(e.id for e in reader.events() if e.kind == "alarm")
    before = recorded(tmp_path)
    ways = WAYS | {"other keys": ("body", json.dumps({"chanfe": "raised"}))}
    spoil(tmp_path, "events", *ways[way], f"id = {raised}")
    assert recorded(tmp_path) == before[1:]
    with closing(Reader(tmp_path)) as reader:
        assert happenings(reader, 2**62).losses
    assert alarm_load(tmp_path, OFFSET + 300_000)["last 24 h"] == 0
    assert clearances(tmp_path) == ({}, "")


def test_pruning_and_reducing_go_on_beside_what_is_spoilt(tmp_path: Path) -> None:
    store = writer(tmp_path, offset=OFFSET // HOUR * HOUR)
    for n in range(5):
        fill(store, 60, start=n * HOUR)
    record(store, "store", "", 0, change="shortened", most=1)
    fill(store, 60, start=6 * HOUR)
    spoil(tmp_path, "events", *WAYS["no JSON"], "id = 1")
    spoil(tmp_path, "parts", "quantities", b'["pm1, "pm2_5"]', "name = 'door'")
    settings = Storage(tmp_path, keep_readings=HOUR, most_megabytes=0)
    upkeep = Upkeep(settings, EVERY_EVENT, EVERY_EVENT)
    for n in range(4):
        upkeep.step(store, (20 + n) * HOUR)
    with closing(Reader(tmp_path)) as reader:
        assert min(block.first for block in reader.all_blocks()) >= 5 * HOUR
        pruned = reader.pruned()
        assert pruned
    spoil(tmp_path, "state", "body", b'{"block"" 7}', "key = 'pruned'")
    fill(store, 60, start=30 * HOUR)
    upkeep.step(store, 40 * HOUR)
    with closing(Reader(tmp_path)) as reader:
        assert min(block.first for block in reader.all_blocks()) >= 6 * HOUR
    store.close()
    assert list(summaries(tmp_path, "bench.pm1", "hour", 0, 2**62))


def test_readings_of_a_spoilt_part_are_set_aside_and_all_others_are_pushed(
    world: World, base: Endpoint
) -> None:
    fill(world.store, 30)
    spoil(world.folder, "parts", "quantities", b'["pm1, "pm2_5"]', "name = 'door'")
    world.run(5 * MINUTE)
    found = counts(world.folder)
    assert (found["dropped"], found["waiting"]) == (30, 0)
    assert found["pushed"] + found["empty"] == samples_of(world.folder) - 30
    assert {point[0] for point in points_in(base.lines())} == {"bench"}


def test_a_note_of_the_courier_that_is_spoilt_ends_nothing(world: World, owner: Phone) -> None:
    world.alarm("raised")
    world.run(5 * MINUTE)
    world.courier.close()
    with closing(sqlite3.connect(file_path(world.folder))) as db:
        assert db.execute("UPDATE state SET body = CAST(x'7b22ff3a' AS TEXT)").rowcount
        db.commit()
    world.start()
    world.happen("part", "bench", change="lost", why="gone")
    world.run(5 * MINUTE)
    assert owner.titles[-1] == "Workshop: part bench lost"
    assert counts(world.folder)["troubles"] is not None


def test_a_keeper_whose_saved_state_is_spoilt_starts_and_says_so(tmp_path: Path) -> None:
    life = Life(tmp_path, rooms.room(), 0)
    for second in range(1, 300):
        life.event(measured(second * 1000, 8))
    life.stop()
    spoil(tmp_path, "state", "body", memoryview(b"\x78\x9c\x00damaged"), "key = 'core'")
    again = Life(tmp_path, rooms.room(), 300_000)
    assert again.core.channels["bench.pm2_5"].mean(300_000, MINUTE, 0.5).value == 8
    with closing(Reader(tmp_path)) as reader:
        started = reader.last_event("keeper")
    assert started is not None
    assert started.body["why"] == SPOILT
    again.kill()
