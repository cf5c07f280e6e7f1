"""Pushing into the real database on loopback, read back through its own export."""

from pathlib import Path

from fakes import FakeClock
from receivers import eventually, metrics
from stored import OFFSET, database, fill, points_of, settings, writer
from ventwright.courier.main import Courier


def test_the_database_holds_exactly_what_was_stored(tmp_path: Path) -> None:
    folder = tmp_path / "store"
    with metrics(tmp_path / "metrics") as server:
        made = Courier(
            settings(folder, database=database(server.url)), FakeClock(), {}, boot="boot-1"
        )
        store = writer(folder)
        for minute in range(0, 20, 5):
            fill(store, 300, start=60_000 * minute, seed=minute)
            assert made.drain()
        store.close()
        again = writer(folder, "boot-2", OFFSET + 10_000_000)
        fill(again, 60)
        again.close()
        assert made.drain()
        made.close()
        wanted = points_of(folder)
        eventually(lambda: len(server.points()) >= len(wanted))
        assert server.points() == wanted


def test_pushing_all_again_changes_nothing(tmp_path: Path) -> None:
    folder = tmp_path / "store"
    store = writer(folder)
    fill(store, 120)
    store.close()
    with metrics(tmp_path / "metrics") as server:
        for _ in range(3):
            made = Courier(
                settings(folder, database=database(server.url)), FakeClock(), {}, boot="boot-1"
            )
            assert made.drain()
            made.close()
            for file in folder.glob("courier.sqlite*"):
                file.unlink()
        wanted = points_of(folder)
        eventually(lambda: len(server.points()) >= len(wanted))
        assert server.points() == wanted
