"""Tables for other programs: what is stored is what is in them, and `replay` reads them back."""

import csv
import io
import json
import sqlite3
from pathlib import Path

import pyarrow.parquet
import pytest
from click.testing import CliRunner

from stored import MODELS, OFFSET, QUANTITIES_OF, fill, points_of, writer
from ventwright.cli import main
from ventwright.exporting import tables
from ventwright.exporting.tables import iso, write_csv
from ventwright.replaying.errors import ReplayError
from ventwright.replaying.table import Table
from ventwright.storage.reader import Reader
from ventwright.storage.rows import Head, Readings, Row, Wanted, channels_in
from ventwright.storage.schema import store_path
from ventwright.storage.summaries import summaries

EVER = 2**52


@pytest.fixture
def store(tmp_path: Path) -> Path:
    made = writer(tmp_path / "store")
    fill(made, 4000)
    made.close()
    text = f'[room]\nname = "r"\nvolume = 40\n[store]\nfolder = "{tmp_path}/store"\n'
    for name, model in MODELS.items():
        place = f'port = "{tmp_path}/x"' if name == "bench" else "bus = 1\naddress = 0x62"
        kept = json.dumps(QUANTITIES_OF[name])
        text += f'[parts.{name}]\nmodel = "{model}"\n{place}\nquantities = {kept}\n'
    (tmp_path / "c.toml").write_text(text)
    return tmp_path / "store"


def run(store: Path, *words: str) -> tuple[int, str]:
    done = CliRunner().invoke(main, [*words, "--config", str(store.parent / "c.toml")])
    return done.exit_code, done.output


def good_points(store: Path) -> dict[tuple[str, int], float]:
    return {
        (f"{part}.{name}", t): value
        for (part, quality, name, t), value in points_of(store).items()
        if quality == "good"
    }


def test_a_csv_holds_every_good_reading_once_with_units_and_replay_reads_it(store: Path) -> None:
    file = store.parent / "out.csv"
    status, said = run(store, "export", str(file))
    assert status == 0, said
    head = file.read_text().splitlines()[0].split(",")
    assert head[:3] == ["time", "bench.pm1 (µg/m³)", "bench.pm2_5 (µg/m³)"]
    table = Table(file)
    found = {
        (column, row.t): value
        for row in table.rows()
        for column, value in zip(table.columns, row.values, strict=True)
        if value is not None
    }
    assert found == good_points(store)
    status, said = run(store, "replay", str(file))
    assert status == 0, said
    assert "bench.pm2_5" in said


def test_with_quality_every_reading_is_there_with_its_mark(store: Path) -> None:
    file = store.parent / "out.csv"
    assert run(store, "export", str(file), "--quality")[0] == 0
    found = set()
    lines = file.read_text().splitlines()
    names = [name.partition(" (")[0] for name in lines[0].split(",")]
    for line in lines[1:]:
        cells = dict(zip(names, line.split(","), strict=True))
        for name in channels_in(store):
            if cells[name]:
                mark = cells[f"{name} quality"].replace(" ", "_")
                found.add((name, mark, cells["time"], float(cells[name])))
    assert found == {
        (f"{part}.{name}", quality, iso(t), value)
        for (part, quality, name, t), value in points_of(store).items()
    }
    assert list(Table(file).rows())


@pytest.mark.parametrize("each", ["reading", "minute", "hour"])
def test_parquet_holds_the_same_as_the_csv(store: Path, each: str) -> None:
    for kind in ("csv", "parquet"):
        assert run(store, "export", str(store.parent / f"out.{kind}"), "--each", each)[0] == 0
    table = pyarrow.parquet.read_table(store.parent / "out.parquet")
    lines = (store.parent / "out.csv").read_text().splitlines()
    assert table.num_rows == len(lines) - 1 > 0
    units = {f.name: (f.metadata or {}).get(b"unit", b"").decode() for f in table.schema}
    named = [f"{name} ({unit})" if unit else name for name, unit in units.items()]
    assert named == lines[0].split(",")
    columns = [table.column(n).to_pylist() for n in range(table.num_columns)]
    for line, *cells in zip(lines[1:], *columns, strict=True):
        time, *values = line.split(",")
        assert time == cells[0].isoformat(timespec="milliseconds").replace("+00:00", "Z")
        assert [float(v) if v else None for v in values] == cells[1:]


@pytest.mark.parametrize("each", ["minute", "hour"])
def test_means_are_the_summaries_and_replay_takes_their_means(store: Path, each: str) -> None:
    file = store.parent / "out.csv"
    assert run(store, "export", str(file), "--each", each, "--channel", "door.co2")[0] == 0
    wanted = list(summaries(store, "door.co2", each, 0, EVER))  # type: ignore[arg-type]
    lines = file.read_text().splitlines()
    assert lines[0] == (
        "time,door.co2 (ppm),door.co2 lowest (ppm),door.co2 highest (ppm),door.co2 coverage (1)"
    )
    assert len(lines) - 1 == len(wanted) > 0
    table = Table(file)
    assert table.columns == ["door.co2"]
    for row, one in zip(table.rows(), wanted, strict=True):
        assert row.t == one.start
        assert row.values[0] == pytest.approx(one.mean, abs=1e-6)


@pytest.mark.parametrize("each", ["minute", "hour"])
def test_the_means_of_every_channel_stand_under_its_name(store: Path, each: str) -> None:
    file = store.parent / "out.csv"
    assert run(store, "export", str(file), "--each", each)[0] == 0
    with file.open(encoding="utf-8", newline="") as opened:
        rows = list(csv.DictReader(opened))
    assert len({row["time"] for row in rows}) == len(rows)
    for channel in channels_in(store):
        wanted = list(summaries(store, channel, each, 0, EVER))  # type: ignore[arg-type]
        head = next(name for name in rows[0] if name.startswith(f"{channel} ("))
        told = {row["time"]: float(row[head]) for row in rows if row[head]}
        assert told == pytest.approx({iso(one.start): one.mean for one in wanted}, abs=1e-6)


def test_a_time_that_is_chosen_begins_and_ends_there(store: Path) -> None:
    first, until = OFFSET + 500_000, OFFSET + 700_000
    words = Wanted(("bench.pm1",), first, until)
    times = [row.t for row in Readings(words, marks=False).rows(store)]
    assert min(times) >= first
    assert max(times) < until
    assert len(times) > 150


def test_rows_before_a_row_before_them_are_told(store: Path) -> None:
    made = writer(store, "boot-2", OFFSET - 10_000_000)
    fill(made, 100)
    made.close()
    status, said = run(store, "export", str(store.parent / "out.csv"))
    assert status == 0
    assert "are earlier than a row before them" in said


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["out.txt"], "must end in .csv or .parquet"),
        (["/nowhere/at/all.csv"], "cannot be written: No such file or directory"),
        (["-", "--channel", "bench.pm4"], 'has no channel "bench.pm4"; it has: bench.pm1'),
        (["-", "--each", "hour", "--quality"], "--quality is for readings"),
    ],
)
def test_mistakes_are_one_sentence(store: Path, words: list[str], said: str) -> None:
    status, found = run(store, "export", *words)
    assert status == 1
    assert said in found
    assert found.count("\n") == 1


def test_without_pyarrow_a_sentence_says_what_to_do(
    store: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(__import__("sys").modules, "pyarrow", None)
    assert run(store, "export", str(store.parent / "o.parquet")) == (1, f"{tables.NO_PARQUET}\n")


def test_a_wrong_unit_is_refused_by_replay(tmp_path: Path) -> None:
    file = tmp_path / "x.csv"
    file.write_text("time,bench.pm1 (mg/m³)\n2026-01-01T00:00:00Z,1\n")
    with pytest.raises(ReplayError, match=r"must be in µg/m³"):
        Table(file)


def test_numbers_and_words_are_written_plainly() -> None:
    file = io.StringIO()
    heads = [Head("a", "ppm"), Head("b", "")]
    order = write_csv(file, heads, [Row(1, [1e9, "x, y"]), Row(0, [None, None])])
    assert file.getvalue() == (
        'time,a (ppm),b\n1970-01-01T00:00:00.001Z,1000000000,"x, y"\n1970-01-01T00:00:00.000Z,,\n'
    )
    assert (order.rows, order.earlier) == (2, 1)


def test_a_copy_is_whole_and_of_one_moment_while_the_store_is_written(store: Path) -> None:
    made = writer(store)
    fill(made, 60, start=9_000_000)
    wanted = points_of(store)
    copy = store.parent / "copy"
    status, said = run(store, "copy", str(copy))
    assert status == 0, said
    assert "nothing in it is damaged" in said
    fill(made, 60, start=10_000_000)
    made.close()
    assert points_of(copy) == wanted
    assert store_path(copy).stat().st_mode & 0o777 == 0o640
    reader, original = Reader(copy), Reader(store)
    assert reader.identity == original.identity
    reader.close()
    original.close()
    again, said = run(store, "copy", str(copy))
    assert again == 1
    assert "already; choose another folder" in said


def test_what_is_no_store_is_not_copied(store: Path) -> None:
    store_path(store).write_bytes(b"nonsense" * 999)
    status, said = run(store, "copy", str(store.parent / "copy"))
    assert status == 1
    assert "cannot be copied" in said
    assert not store_path(store.parent / "copy").exists()


def test_a_damaged_store_is_named_as_such_and_leaves_no_half_copy(store: Path) -> None:
    whole = store_path(store)
    with sqlite3.connect(whole) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.close()
    with whole.open("r+b") as file:
        file.seek(2 * 1024)
        file.write(b"\xff" * 8192)
    status, said = run(store, "copy", str(store.parent / "copy"))
    assert status == 1
    assert "damaged" in said or "malformed" in said
    assert "copy/readings" not in said
    assert list((store.parent / "copy").iterdir()) == []


@pytest.mark.parametrize("suffix", [".csv", ".parquet"])
def test_an_export_that_breaks_off_leaves_the_file_of_before_and_no_half(
    store: Path, suffix: str
) -> None:
    file = store.parent / f"out{suffix}"
    file.write_text("of yesterday")
    with store_path(store).open("r+b") as whole:
        whole.truncate(store_path(store).stat().st_size * 2 // 3)
    status, said = run(store, "export", str(file))
    assert status == 1
    assert "cannot be read" in said
    assert file.read_text() == "of yesterday"
    assert {path.name for path in store.parent.iterdir()} == {"store", "c.toml", file.name}
