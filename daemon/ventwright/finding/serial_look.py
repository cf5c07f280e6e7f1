"""Looks at one serial port: listens first, and asks only where nothing at all is heard."""

from collections.abc import Callable
from itertools import groupby

from ventwright.finding.found import Found, Models, in_use, naming, refused
from ventwright.finding.questions import QUESTIONS, Question
from ventwright.finding.streams import heard
from ventwright_drivers.errors import DeviceLost
from ventwright_drivers.part import Wiring
from ventwright_drivers.serial.link import SerialLink

LISTEN_MS = 5000
"""Longer than the slowest part that speaks by itself needs for two frames (2.3 s each)."""

_MOST = 65_536  # bytes that are worth looking at

_SILENT = (
    "is silent: nothing is there, it has no power, RX and TX are swapped, it sleeps, or it is a "
    "relay board that never answers (relay-a0, or relay-modbus at another address or speed)"
)
_STRANGE = "sends something that none of our parts sends at 9600 baud; nothing was sent to it"
_ODD_ANSWER = "answers, but as none of our parts does"

Tell = Callable[[str], None]


def look_at_port(path: str, wiring: Wiring, tell: Tell) -> Found:
    """Find out what is at a port, in about 10 s; never raises a driver's error."""
    if user := in_use(path):
        return Found(path, user, trouble=True)
    try:
        return _looked(path, wiring, tell)
    except DeviceLost as error:
        cause = error.__cause__
        why = refused(path, "dialout", cause if isinstance(cause, OSError) else error)
        return Found(path, why, trouble=True)


def listened(path: str, wiring: Wiring) -> Models:
    """Name what speaks by itself at a port, without a byte sent; raises DeviceLost."""
    link = SerialLink(wiring, path, QUESTIONS[0].baud)
    try:
        return heard(_collected(link, LISTEN_MS))
    finally:
        link.close()


def _looked(path: str, wiring: Wiring, tell: Tell) -> Found:
    for baud, questions in groupby(QUESTIONS, key=lambda question: question.baud):
        link = SerialLink(wiring, path, baud)
        try:
            found = _talked(link, list(questions), baud == QUESTIONS[0].baud, tell)
        finally:
            link.close()
        if found:
            return found
    return Found(path, _SILENT)


def _talked(link: SerialLink, questions: list[Question], listens: bool, tell: Tell) -> Found | None:
    if listens:
        tell(f"listening at {link.path}")
        if said := _collected(link, LISTEN_MS):
            models = _narrowed(link, said)
            return named(link.path, models) if models else Found(link.path, _STRANGE, trouble=True)
    for question in questions:
        tell(f"asking at {link.path}")
        if found := _asked(link, question):
            return found
    return None


def _narrowed(link: SerialLink, said: bytes) -> Models:
    """Listen once more where it may help: a part just powered up sends two frames of zeros."""
    models = heard(said)
    return heard(said + _collected(link, LISTEN_MS)) if len(models) > 1 else models


def _asked(link: SerialLink, question: Question) -> Found | None:
    link.send(question.sent)
    said = _collected(link, question.wait_ms)
    if models := question.answered(said):
        return named(link.path, models)
    if said.replace(question.sent, b""):  # some adapters return what is sent
        return Found(link.path, _ODD_ANSWER, trouble=True)
    return None


def _collected(link: SerialLink, for_ms: int) -> bytes:
    until = link.clock.now() + for_ms
    data = b""
    while link.clock.now() < until and len(data) < _MOST and not link.clock.stopped:
        data += link.receive(until)
    return data


def named(path: str, models: Models) -> Found:
    """Say what is at a port."""
    relay = models[0].startswith("relay-")
    return Found(path, naming(models), models, {"port": path}, relay)
