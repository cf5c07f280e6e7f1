"""What waits, what is sent of it, and what becomes of each message."""

import sqlite3
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ventwright.courier.accounts import counts
from ventwright.courier.file import CourierFile
from ventwright.notifying import outbox as module
from ventwright.notifying.messages import Message
from ventwright.notifying.outbox import Outbox, Waiting, pack

NOW = ("boot", 1000, None)


def message(key: str = "alarm a", stage: str = "begin", priority: str = "medium") -> Message:
    return Message(key, stage, priority, f"{stage} title", f"{stage} body.", "both title")


def rows(*stages: str) -> list[Waiting]:
    return [
        Waiting(i, "k", "boot", i, None, s, "low", f"{s} title", f"{s} body.", "both title")
        for i, s in enumerate(stages)
    ]


@pytest.mark.parametrize(
    ("stages", "title", "note"),
    [
        ("begin", "begin title", ""),
        ("end", "end title", ""),
        ("begin worse", "worse title", " (and 1 earlier change meanwhile)"),
        ("begin end", "both title", ""),
        ("begin worse worse end", "both title", ""),
        ("begin end begin", "begin title", " (and 2 earlier changes meanwhile)"),
        ("begin end begin end", "both title", " (and 2 earlier changes meanwhile)"),
        ("worse end", "end title", " (and 1 earlier change meanwhile)"),
        ("end begin", "begin title", " (and 1 earlier change meanwhile)"),
    ],
)
def test_only_the_newest_state_is_sent(stages: str, title: str, note: str) -> None:
    parcel = pack(rows(*stages.split()))
    assert parcel.title == title
    assert parcel.body == f"{stages.split()[-1]} body.{note}"


@given(st.lists(st.sampled_from(["begin", "worse", "end"]), min_size=1, max_size=30))
def test_every_waiting_message_is_accounted_for(stages: list[str]) -> None:
    parcel = pack(rows(*stages))
    assert [*parcel.others, parcel.newest.id] == list(range(len(stages)))


@pytest.fixture
def file(tmp_path: Path) -> CourierFile:
    return CourierFile(tmp_path)


def test_a_success_at_one_service_leaves_the_other_waiting(file: CourierFile) -> None:
    box = Outbox(file)
    box.add(message(), NOW, ["1 a", "2 b"])
    box.delivered("1 a", box.parcels("1 a")[0])
    assert box.parcels("1 a") == []
    assert len(box.parcels("2 b")) == 1
    box.add(message(stage="end"), NOW, ["1 a", "2 b"])
    assert box.parcels("1 a")[0].title == "end title"
    assert box.parcels("2 b")[0].title == "both title"
    file.close()


def test_high_priority_goes_first_then_the_oldest(file: CourierFile) -> None:
    box = Outbox(file)
    for key, priority in (("a", "low"), ("b", "medium"), ("c", "high"), ("d", "medium")):
        box.add(message(key, priority=priority), NOW, ["1 a"])
    assert [p.newest.key for p in box.parcels("1 a")] == ["c", "b", "d", "a"]
    file.close()


def test_counts_add_up(file: CourierFile, tmp_path: Path) -> None:
    box = Outbox(file)
    for n in range(6):
        box.add(message(f"k{n % 3}", "begin" if n < 3 else "worse"), NOW, ["1 a", "2 b"])
    box.delivered("1 a", box.parcels("1 a")[0])
    box.failed("2 b", box.parcels("2 b")[0], "refused")
    box.give_up(lambda _boot, t, _label: False)
    found = counts(tmp_path)
    told = {key: found[key] for key in ("delivered", "told_later", "given_up", "messages_waiting")}
    assert told == {"delivered": 1, "told_later": 1, "given_up": 0, "messages_waiting": 10}
    box.give_up(lambda _boot, t, _label: True)
    assert counts(tmp_path)["given_up"] == 10
    assert (found["messages"], found["failed_attempts"]) == (6, 1)
    file.close()


def test_what_waits_is_bounded_and_the_oldest_go(
    file: CourierFile, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "MOST_WAITING", 5)
    box = Outbox(file)
    for n in range(8):
        box.add(message(f"k{n}"), NOW, ["1 a"])
    assert [p.newest.key for p in box.parcels("1 a")] == ["k3", "k4", "k5", "k6", "k7"]
    assert counts(tmp_path)["given_up"] == 3
    file.close()


def test_what_is_done_with_is_pruned(file: CourierFile, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MOST_KEPT", 2)
    box = Outbox(file)
    box.add(message("stays"), NOW, ["2 b"])
    for n in range(8):
        box.add(message(f"k{n}"), NOW, ["1 a"])
        box.delivered("1 a", box.parcels("1 a")[0])
    keys = [row[0] for row in file.db.execute("SELECT key FROM messages ORDER BY id")]
    assert keys == ["stays", "k6", "k7"]
    file.close()


def test_what_was_given_up_is_pruned_though_nothing_is_ever_delivered(
    file: CourierFile, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "MOST_KEPT", 2)
    monkeypatch.setattr(module, "MOST_WAITING", 5)
    box = Outbox(file)
    kept = "SELECT (SELECT count(*) FROM messages), (SELECT count(*) FROM deliveries)"
    for n in range(20):
        box.add(message(f"k{n}"), NOW, ["1 a"])
    box.give_up(lambda _boot, _t, _label: False)
    assert file.db.execute(kept).fetchone() == (5, 5)
    box.give_up(lambda _boot, _t, _label: True)
    assert file.db.execute(kept).fetchone() == (2, 2)
    file.close()


def test_a_transaction_is_all_or_nothing(file: CourierFile) -> None:
    def half() -> None:
        with file.transaction() as db:
            module.put(db, message(), NOW, ["1 a"])
            raise sqlite3.OperationalError("the disk is full")

    with pytest.raises(sqlite3.OperationalError):
        half()
    assert Outbox(file).parcels("1 a") == []
    file.close()
