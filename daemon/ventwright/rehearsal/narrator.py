"""Tells a rehearsal while it runs: what is measured, what is decided and why, what is sent."""

from collections.abc import Callable

import click

from ventwright.notifying.messages import Context, compose
from ventwright.rehearsal.course import Course
from ventwright.rehearsal.news import News, seconds_of
from ventwright.rehearsal.phone import Phone
from ventwright.rehearsal.scenario import Scenario
from ventwright.rehearsal.words import (
    Look,
    contact_line,
    course_line,
    event_line,
    message_lines,
    paragraph,
    said_lines,
)
from ventwright.rehearsal.world import Moment
from ventwright.settings.durations import format_duration
from ventwright.storage.reader import StoredEvent

Say = Callable[[str], None]

_LIVELY_EVERY_S, _QUIET_EVERY_S = 60, 300
_LIVELY_FOR_S = 720  # after something happened
_FULL_BAR = 3  # setpoints


class Narrator:
    """Watches the world second by second and says what is worth saying."""

    def __init__(self, scenario: Scenario, news: News, phone: Phone, say: Say) -> None:
        """Tell of `scenario` what the store and the phone get, by `say`."""
        self._scenario = scenario
        self._news = news
        self._phone = phone
        self._say = say
        self._setpoint = scenario.setpoint
        self._context = Context(scenario.room_name)
        self._closed = False
        self._label = ""
        self._lively_until = 0
        self._told = 0
        self.course = Course()
        self.events: list[StoredEvent] = []
        """Everything that was stored as having happened."""
        self.owed = 0
        """Messages that the phone should have got by now."""

    def open(self, seed: int, pace: float | None, out: str) -> None:
        """Say what is about to be seen."""
        scenario = self._scenario
        length = scenario.duration * 1000
        speed = f", in about {format_duration(round(length / pace))}" if pace else ""
        self._say(
            paragraph(
                f"Rehearsal: {scenario.title}, {format_duration(length)}{speed}, seed {seed}. "
                "Keeper and courier are the real ones; room, parts and relay are simulated, and "
                "every byte goes over a pseudo-terminal or an emulated bus."
            )
        )
        self._say(paragraph(f"Everything is kept in {out}"))
        self._say("")
        what = f"1 min means of {scenario.watched} as stored, µg/m³"
        self._say(f"PM2.5 and its rise over the baseline: {what}")
        mark = f"╎ setpoint {self._setpoint:.3g}"
        self._say(f"█ rise   ░ what it would be without extraction, simulated too   {mark}")
        self._say("")

    def watch(self, moment: Moment) -> None:
        """Take the next second of the world."""
        self.course.add(moment)
        self.read_store()
        if moment.label != self._label:
            self._label, self._lively_until = moment.label, moment.second + _LIVELY_FOR_S
        if moment.extracting != self._closed:
            self._closed, self._lively_until = moment.extracting, moment.second + _LIVELY_FOR_S
            self._say(contact_line(moment.second, moment.extracting, self._scenario.relay))
        every = _LIVELY_EVERY_S if moment.second <= self._lively_until else _QUIET_EVERY_S
        if moment.second % every == 0:
            self._say(self._line(moment))
        self.read_phone()

    def _line(self, moment: Moment) -> str:
        mean, rise = self._news.look()
        ghost = moment.without - self._scenario.quiet_level
        look = Look(moment.second, mean, rise, ghost, moment.extracting, moment.label)
        fan = self._scenario.extractor
        return course_line(look, fan, self._setpoint, _FULL_BAR * self._setpoint)

    def heard(self, text: str) -> None:
        """Tell what a visitor was told."""
        self._say(said_lines(text))

    def read_store(self) -> None:
        """Tell what was committed since."""
        for event in self._news.events():
            self.events.append(event)
            if event.kind != "request":  # what came of it is an event of its own
                self._say(event_line(event))
            if compose(event, self._context) is not None:
                self.owed += 1

    def read_phone(self) -> None:
        """Tell what the phone got since."""
        for message in self._phone.messages[self._told :]:
            self._told += 1
            self._say(message_lines(message))

    def detection(self) -> float | None:
        """Tell how long after the first particles the first alarm was raised, s; None if never."""
        raised = (e.t for e in self.events if e.kind == "alarm" and e.body["change"] == "raised")
        first = next(raised, None)
        return None if first is None else seconds_of(first) - self._scenario.dusty[0]

    def hint(self, text: str) -> None:
        """Say something beside the story."""
        self._say(click.style(text, dim=True))
