"""A keeper in a crash loop is told of twice, then once for all, and again after a quiet hour."""

from pathlib import Path

from ventwright.courier.file import CourierFile
from ventwright.notifying.message import Message
from ventwright.notifying.restarts import Restarts

MINUTE, HOUR = 60_000, 3_600_000
STARTED = Message("keeper", "end", "medium", "room: watching again after 5 s", "", "")


def judged(file: CourierFile, label: int) -> str:
    with file.transaction() as db:
        message = Restarts(file, "room").judge(db, STARTED, label)
    return message.title if message else ""


def test_a_loop_of_starts_is_three_messages_and_not_a_hundred(tmp_path: Path) -> None:
    file = CourierFile(tmp_path)
    told = [judged(file, 5 * HOUR + n * MINUTE // 2) for n in range(200)]
    assert told[:3] == [STARTED.title, STARTED.title, "room: the watch starts again and again"]
    assert set(told[3:]) == {""}
    end = 5 * HOUR + 199 * MINUTE // 2
    assert judged(file, end + 59 * MINUTE) == ""
    assert judged(file, end + 59 * MINUTE + HOUR) == STARTED.title
    file.close()


def test_starts_now_and_then_are_told_each(tmp_path: Path) -> None:
    file = CourierFile(tmp_path)
    assert {judged(file, n * 2 * HOUR) for n in range(10)} == {STARTED.title}
    file.close()
