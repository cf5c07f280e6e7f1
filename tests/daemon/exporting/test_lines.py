"""Lines of the line protocol, byte for byte, and against the client library's own writing."""

from hypothesis import given
from hypothesis import strategies as st
from influxdb_client.client.write.point import Point

from ventwright.exporting.lines import escape, head, lines_of, time_of, value_text
from ventwright.quality.marks import Quality
from ventwright.storage.blocks import Block, Column
from ventwright.storage.reader import StoredPart

PART = StoredPart("bench", "pms5003", ("pm1", "pm2_5"))
HEAD = "room_air,room=Workshop,part=bench,model=pms5003"


def made(*columns: Column, offset: int = 0, times: tuple[int, ...] = (0, 1000)) -> list[str]:
    block = Block(list(times), list(columns))
    lines = lines_of(block, PART.quantities, head("room_air", "Workshop", PART), offset).lines
    return [line.decode() for line in lines]


def test_a_line_a_sample() -> None:
    pm1, pm2_5 = Column([30, 31], bytes(2)), Column([45, 60], bytes(2))
    assert made(pm1, pm2_5, offset=1764061200123) == [
        f"{HEAD},quality=good pm1=3,pm2_5=4.5 1764061200123",
        f"{HEAD},quality=good pm1=3.1,pm2_5=6 1764061201123",
    ]


def test_qualities_are_told_apart() -> None:
    mixed = made(Column([30, 31], bytes([0, 1])), Column([45, None], bytes([2, 1])))
    assert mixed == [
        f"{HEAD},quality=good pm1=3 0",
        f"{HEAD},quality=stale pm2_5=4.5 0",
        f"{HEAD},quality=warming_up pm1=3.1 1000",
    ]


def test_a_mark_from_the_future_is_still_pushed() -> None:
    one = made(Column([1, 1], bytes([99, 99])), Column([2, 2], bytes([99, 99])))
    assert one[0] == f"{HEAD},quality=mark_99 pm1=0.1,pm2_5=0.2 0"


def test_samples_without_a_value_give_no_line_and_are_counted() -> None:
    block = Block([0, 1000], [Column([None, 7], bytes([6, 0]))])
    lines = lines_of(block, ("co2",), "m", 0)
    assert lines == ([b"m,quality=good co2=7 1000"], 1)


def test_a_part_without_quantities_gives_none() -> None:
    assert lines_of(Block([0, 1], []), (), "m", 0) == ([], 2)


def test_every_quality_has_a_tag_without_spaces() -> None:
    for mark in Quality:
        column = Column([1], bytes([mark]))
        (line,) = lines_of(Block([0], [column]), ("co2",), "m", 0).lines
        assert line.count(b" ") == 2


@given(st.integers(-(10**7), 10**7), st.sampled_from([1, 10, 100, 1000]))
def test_values_are_exact_and_short(step: int, per_unit: int) -> None:
    text = value_text(step, per_unit)
    assert round(float(text) * per_unit) == step
    assert float(text) == step / per_unit
    assert len(text.partition(".")[2]) < len(str(per_unit))
    assert "e" not in text


NAMES = st.text(st.characters(exclude_categories=("Cc", "Cs")), min_size=1, max_size=12)


@given(NAMES.filter(lambda name: not name.endswith("\\")))
def test_tags_are_escaped_as_the_client_library_does(name: str) -> None:
    wanted = Point("room_air").tag("room", name).field("x", 1.0).time(5).to_line_protocol()
    part = StoredPart("", "", ("co2",))
    assert head("room_air", name, part) == wanted.rpartition(" x=")[0]


def test_what_would_break_a_line_is_taken_out() -> None:
    assert escape("print room\n2\\") == r"print\ room\ 2"
    assert escape("a=b,c") == r"a\=b\,c"


def test_the_time_of_a_line() -> None:
    assert time_of(b"m,room=print\\ room a=1 1764061200123") == 1764061200123
