"""Each call to a service fails, once and for ever, by an error or by an answer.

Every message is delivered once to each service, late to the one that failed; the other service
gets all in time.
"""

import smtplib
from collections.abc import Callable
from pathlib import Path

import pytest

from daemon.notifying.test_delivery import Desk, Scripted, note
from failing import Failing, every_call
from ventwright.courier.accounts import counts
from ventwright.courier.file import CourierFile

MESSAGES = 4
MINUTE = 60_000
PATIENCE = 20 * MINUTE


class Refused(Exception):
    """Stands for an answer that the message was not taken."""


class Fragile(Scripted):
    """A service whose calls may fail."""

    def __init__(self, seam: Failing) -> None:
        super().__init__("1 fragile")
        self.seam = seam

    def send(self, title: str, body: str, priority: str) -> str:
        try:
            self.seam.strike()
        except Refused as error:
            return str(error)
        return super().send(title, body, priority)


def life(folder: Path, seam: Failing) -> None:
    """Send a message a minute; the service that fails is healed some time after the last."""
    folder.mkdir()
    file = CourierFile(folder)
    fragile, sound = Fragile(seam), Scripted("2 sound")
    desk = Desk(file, [fragile, sound])
    wanted = [f"Workshop: alarm {n} begin" for n in range(MESSAGES)]
    for n in range(MESSAGES):
        desk.tell(note(f"alarm {n}"))
        desk.run(MINUTE)
        assert [title for title, _ in sound.taken] == wanted[: n + 1]
    seam.stop_counting()
    desk.run(PATIENCE)
    seam.heal()
    desk.run(PATIENCE)
    assert [title for title, _ in fragile.taken] == wanted
    assert [title for title, _ in sound.taken] == wanted
    assert desk.notifier.idle()
    desk.spill_file.close()
    file.close()
    found = counts(folder)
    assert (found["delivered"], found["failed_attempts"]) == (2 * MESSAGES, seam.struck)
    assert found["given_up"] == 0


ERRORS = [
    lambda: Refused("failure: 503"),
    lambda: TimeoutError("timed out"),
    lambda: smtplib.SMTPServerDisconnected("Connection unexpectedly closed"),
    lambda: KeyError("a bug of a service"),
]


@pytest.mark.parametrize("for_ever", [False, True])
@pytest.mark.parametrize("error", ERRORS)
def test_send(tmp_path: Path, error: Callable[[], Exception], for_ever: bool) -> None:
    def live(at: int) -> Failing:
        seam = Failing(at, for_ever, error)
        life(tmp_path / str(at), seam)
        return seam

    assert every_call(live) >= MESSAGES
