"""The nine-byte gas parts: bytes from protocols.md sections 7 to 9, its misprints, and silence."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.byte_pairs import byte_pairs
from fakes import FakeClock, twin_wiring
from ventwright_drivers import registry
from ventwright_drivers.emulated import nine_bytes as twins
from ventwright_drivers.errors import DeviceLost, NoAnswer
from ventwright_drivers.part import Sample
from ventwright_drivers.serial.electrochemical import (
    CO,
    HCHO,
    UPLOAD,
    WzS,
    Ze07Co,
    Ze08Ch2o,
    sample,
)
from ventwright_drivers.serial.mh_z19 import MhZ19B, MhZ19C
from ventwright_drivers.serial.nine_bytes import READ, checksum, decode, request

# Datasheet, via protocols.md section 7, confirmed.
READ_CO2 = "FF 01 86 00 00 00 00 00 79"
CALIBRATES = "FF 01 79 A0 00 00 00 00 E6"
CALIBRATES_NOT = "FF 01 79 00 00 00 00 00 86"
PPM_544 = "FF 86 02 20 00 00 00 00 58"
PPM_608 = "FF 86 02 60 47 00 00 00 D1"
SOME_CONFIRM = "FF 79 01 00 00 00 00 00 86"  # code-index drivers

# Sections 8 and 9: layouts confirmed, frames computed there, the manuals' sums being misprints.
CO_37 = "FF 04 03 01 00 25 13 88 38"
CO_ANSWER = "FF 86 00 25 00 00 00 00 55"
ZE08_37 = "FF 17 04 00 00 25 13 88 25"
WZ_37 = "FF 17 04 00 00 25 07 D0 E9"
HCHO_ANSWER = "FF 86 00 2A 00 00 00 20 30"  # manual, confirmed: 42 µg/m³, 32 ppb
UPLOADS = "FF 01 78 40 00 00 00 00 47"
ANSWERS = "FF 01 78 41 00 00 00 00 46"

UG_37 = 37 * 30.03 / 24.45  # 45.4 µg/m³ at 25 °C and 1 atm
AIR = {"co": 3.7, "co2": 544.0, "hcho": 42.0}
KINDS = (0x86, 0x17)


@pytest.mark.parametrize(
    ("code", "values", "frame"),
    [
        (0x86, (), READ_CO2),
        (0x87, (), "FF 01 87 00 00 00 00 00 78"),
        (0x88, (0x07, 0xD0), "FF 01 88 07 D0 00 00 00 A0"),
        (0x79, (0xA0,), CALIBRATES),
        (0x79, (0,), CALIBRATES_NOT),
        (0x99, (0, 0, 0, 0x07, 0xD0), "FF 01 99 00 00 00 07 D0 8F"),
        (0x99, (0, 0, 0, 0x13, 0x88), "FF 01 99 00 00 00 13 88 CB"),
        (0x99, (0, 0, 0, 0x27, 0x10), "FF 01 99 00 00 00 27 10 2F"),
        (0x78, (0x40,), UPLOADS),
        (0x78, (0x41,), ANSWERS),
    ],
)
def test_commands(code: int, values: tuple[int, ...], frame: str) -> None:
    assert request(code, *values) == bytes.fromhex(frame)


@pytest.mark.parametrize("driver", [MhZ19B, MhZ19C])
@pytest.mark.parametrize(("wanted", "sent"), [(False, CALIBRATES_NOT), (True, CALIBRATES)])
@pytest.mark.parametrize("said", ["", SOME_CONFIRM])
def test_self_calibration_is_set_at_every_start(
    driver: type, wanted: bool, sent: str, said: str
) -> None:
    pairs = [(sent, said), (READ_CO2, PPM_544)] * 2
    with byte_pairs(driver, pairs, self_calibration=wanted) as part:
        for _ in range(2):
            part.start()
            assert part.read() == Sample((544,))


def test_self_calibration_is_off_unless_asked_for() -> None:
    assert MhZ19B.Options(port="/dev/x").self_calibration is False


def test_preheating_is_told_by_time() -> None:
    assert (MhZ19B.warm_up_ms, MhZ19C.warm_up_ms) == (180_000, 60_000)


@pytest.mark.parametrize(
    ("frame", "ppm"), [(PPM_544, 544), (PPM_608, 608), ("FF 86 02 20 41 00 00 00 17", 544)]
)
def test_co2(frame: str, ppm: int) -> None:
    with byte_pairs(MhZ19C, [(CALIBRATES_NOT, b""), (READ_CO2, frame)]) as part:
        part.start()
        assert part.read() == Sample((ppm,))


def test_nothing_yet_is_no_value() -> None:
    frame = "FF 86 00 00 00 00 00 00 7A"
    with byte_pairs(MhZ19B, [(CALIBRATES_NOT, b""), (READ_CO2, frame)]) as part:
        part.start()
        assert part.read() == Sample((None,))


def test_a_missed_question_is_asked_again() -> None:
    broken = PPM_544[:-2] + "59"
    pairs = [(CALIBRATES_NOT, b""), (READ_CO2, b""), (READ_CO2, broken), (READ_CO2, PPM_544)]
    with byte_pairs(MhZ19B, pairs) as part:
        part.start()
        assert part.read() == Sample((544,))
        assert part.clock.now() == 2000


def test_a_mute_part_is_no_answer_after_its_silence() -> None:
    pairs = [(CALIBRATES_NOT, b""), *[(READ_CO2, b"")] * 10]
    with byte_pairs(MhZ19B, pairs) as part:
        part.start()
        with pytest.raises(NoAnswer, match=r"sent nothing for 1 s, asked again and again for 10 s"):
            part.read()
        assert part.clock.now() == part.silence_ms


def test_the_range_in_the_wrong_place_has_the_right_sum() -> None:
    """Protocols.md section 26, 2: an old manual has the range in bytes 3-4."""
    right = request(0x99, 0, 0, 0, 0x07, 0xD0)
    wrong = request(0x99, 0x07, 0xD0)
    assert right != wrong
    assert right[-1] == wrong[-1] == 0x8F
    twin = twins.MhZ19BTwin(AIR.__getitem__)
    twin.receive(right, 0)
    assert twin.range == 2000


@pytest.mark.parametrize(("frame", "misprint"), [(CO_37, "25"), (WZ_37, "25")])
def test_the_sums_that_manuals_misprint(frame: str, misprint: str) -> None:
    """Protocols.md section 26, 1."""
    kinds = (0x04, 0x17)
    assert decode(kinds, bytes.fromhex(frame)) == (9, bytes.fromhex(frame))
    assert decode(kinds, bytes.fromhex(frame[:-2] + misprint))[1] is None


def test_the_sum_leaves_the_first_byte_out() -> None:
    """Protocols.md section 26, 6."""
    assert checksum(bytes.fromhex(PPM_544)[1:-1]) == 0x58


@pytest.mark.parametrize(
    ("driver", "frame", "value"),
    [
        (Ze07Co, CO_37, 3.7),
        (Ze07Co, CO_ANSWER, 3.7),
        (Ze07Co, "FF 04 03 00 00 25 01 F4 DF", 37),  # computed: no decimals
        (Ze08Ch2o, ZE08_37, UG_37),
        (Ze08Ch2o, HCHO_ANSWER, 42),
        (Ze08Ch2o, "FF 86 00 2E 00 00 00 25 27", 46),
        (WzS, WZ_37, UG_37),
        (WzS, HCHO_ANSWER, 42),
    ],
)
def test_uploads_and_answers_are_told_apart_by_their_second_byte(
    driver: type, frame: str, value: float
) -> None:
    with byte_pairs(driver, [(UPLOADS, b""), (None, frame)]) as part:
        part.start()
        assert part.read().values == pytest.approx((value,))


def test_37_ppb_are_45_micrograms() -> None:
    found = sample(HCHO, bytes.fromhex(WZ_37))
    assert found is not None
    assert found.values[0] == pytest.approx(45.44, abs=0.01)


@pytest.mark.parametrize(
    ("driver", "frame"),
    [
        (Ze07Co, ZE08_37),  # another gas
        (WzS, CO_37),
        (WzS, "FF 17 03 00 00 25 07 D0 EA"),  # ppm, which no manual knows
        (WzS, "FF 17 04 07 00 25 07 D0 E2"),  # seven decimals
        (WzS, WZ_37[:-2] + "EA"),  # wrong sum
        (WzS, UPLOADS),  # our own command come back
    ],
)
def test_what_is_no_measurement_of_this_part(driver: type, frame: str) -> None:
    with byte_pairs(driver, [(UPLOADS, b""), (None, frame)]) as part:
        part.start()
        with pytest.raises(NoAnswer, match="nothing usable for 10 s"):
            part.read()


def test_a_silent_co_part_says_that_it_is_no_alarm() -> None:
    with byte_pairs(Ze07Co, [(UPLOADS, b"")]) as part:
        part.start()
        with pytest.raises(NoAnswer, match=r"for 10 s; this is not a certified CO alarm"):
            part.read()
        part.close()
        with pytest.raises(DeviceLost):
            part.read()
    assert "NOT a certified CO alarm" in (Ze07Co.__doc__ or "")


@pytest.mark.parametrize(
    ("model", "name"), [("ze07-co", "co"), ("ze08-ch2o", "hcho"), ("wz-s", "hcho")]
)
def test_a_part_left_in_question_mode_is_brought_back(model: str, name: str) -> None:
    twin = registry.twins()[model](AIR.__getitem__, speaks=False)
    clock = FakeClock()
    driver = registry.parts()[model]
    with driver(driver.Options(port="/dev/twin"), twin_wiring(clock, twin)) as part:
        assert part.read().values == pytest.approx((AIR[name],), abs=0.7)
    assert twin.speaks
    assert clock.now() == 1000


def say(twin: twins._NineByteTwin, text: str, now: int = 0) -> bytes:
    twin.receive(bytes.fromhex(text), now)
    return twin.emit(now + 20)


def test_the_twins_answer_as_the_manuals_do() -> None:
    assert say(twins.Ze07CoTwin(AIR.__getitem__), ANSWERS + READ_CO2) == bytes.fromhex(CO_ANSWER)
    said = say(twins.WzSTwin(AIR.__getitem__), ANSWERS + READ_CO2)
    assert said == bytes.fromhex("FF 86 00 2A 00 00 00 22 2E")  # 42 µg/m³ are 34 ppb
    assert say(twins.MhZ19CTwin(AIR.__getitem__), CALIBRATES_NOT) == bytes.fromhex(SOME_CONFIRM)
    assert say(twins.MhZ19BTwin(AIR.__getitem__), CALIBRATES_NOT) == b""


def test_the_twins_upload_as_the_manuals_do() -> None:
    for twin, frame in [(twins.Ze07CoTwin, CO_37), (twins.WzSTwin, WZ_37)]:
        made = twin(lambda name: 3.7 if name == "co" else UG_37)
        assert made.emit(0) == b""
        assert [made.emit(now) for now in (999, 1000, 1500)] == [b"", bytes.fromhex(frame), b""]
        assert say(made, READ_CO2, 1500) == b""  # questions are not answered while it uploads


def test_the_twin_preheats_and_saturates() -> None:
    twin = twins.MhZ19BTwin({"co2": 9000.0}.__getitem__)
    assert say(twin, READ_CO2, 0)[2:4] == b"\x01\x9a"  # a constant 410
    assert say(twin, READ_CO2, 180_000)[2:4] == b"\x13\x88"  # 5000, its range
    assert say(twin, "FF 01 87 00 00 00 00 00 78") == b""
    assert twin.calibrations == 1


def test_two_halves_are_no_frame_even_if_their_sum_is_right() -> None:
    spliced = bytes.fromhex("FF 86 02 FF 86 02 20 00")
    spliced += bytes((checksum(spliced[1:]),))
    assert decode(KINDS, spliced) == (1, None)


def every(data: bytes) -> list[bytes]:
    found, used = [], 1
    while used and data:
        used, frame = decode(KINDS, data)
        assert 0 <= used <= len(data)
        data = data[used:]
        found += [frame] if frame else []
    return found


heads = st.sampled_from([b"\xff", b"\xff\x86", b"\xff\x17\x04", bytes.fromhex(PPM_544)[:8], READ])
garbage = st.lists(heads | st.binary(max_size=12), max_size=8).map(b"".join)


@given(garbage)
def test_no_bytes_raise_and_none_hide_the_frame_behind_them(data: bytes) -> None:
    frame = bytes.fromhex(PPM_544)
    assert every(data + 2 * frame)[-1] == frame  # the head of the first may pass for a sum


@given(st.binary(min_size=6, max_size=6), st.integers(1, 255), st.sampled_from(KINDS))
def test_a_wrong_sum_is_never_a_frame(body: bytes, error: int, kind: int) -> None:
    frame = bytes((0xFF, kind, *body, (checksum(bytes((kind,)) + body) + error) & 0xFF))
    used, found = decode(KINDS, frame)
    assert used >= 1
    assert found is None


@given(st.binary(min_size=9, max_size=9))
def test_any_frame_is_a_sample_or_none(frame: bytes) -> None:
    for gas in (CO, HCHO):
        found = sample(gas, frame)
        assert found is None or len(found.values) == 1


def test_upload_is_what_the_driver_sends() -> None:
    assert bytes.fromhex(UPLOADS) == UPLOAD
