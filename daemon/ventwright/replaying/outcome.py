"""What would have happened: a log played with one configuration, and all that was heard."""

import sqlite3
from contextlib import closing, suppress
from pathlib import Path

from ventwright.quality.judge import PartKind
from ventwright.replaying.air import Air
from ventwright.replaying.blocks import Unpacker
from ventwright.replaying.counts import Counts
from ventwright.replaying.decisions import DECIDED, Decided, Decision, decision
from ventwright.replaying.errors import ReplayError
from ventwright.replaying.player import Listener, Player
from ventwright.replaying.recorded import RecordedLog
from ventwright.replaying.rules import at_pace
from ventwright.replaying.stored import StoredLog, all_events
from ventwright.replaying.tally import Episodes, Fans, Span
from ventwright.settings.findings import listed
from ventwright.settings.model import Settings
from ventwright.storage.reader import Reader


class Outcome:
    """Everything that a replay gathers."""

    def __init__(self, label: str, settings: Settings) -> None:
        """Start empty; `label` names the configuration."""
        self.label = label
        self.settings = settings
        self.decided = Decided()
        self.episodes = Episodes()
        self.fans = Fans()
        self.span = Span()
        self.air = Air()
        self.counts = Counts()
        self.notes: list[str] = []
        """Sentences that a reader of the figures must know."""

    @property
    def decisions(self) -> list[Decision]:
        """Every decision in order."""
        return self.decided.decisions

    @property
    def listeners(self) -> tuple[Listener, ...]:
        """Whoever gathers."""
        return (self.decided, self.episodes, self.fans, self.span, self.air)

    def channels(self) -> list[str]:
        """Name the channels that the log has readings of."""
        return [name for name in self.air.channels if name in self.counts.of]


def replay_store(
    folder: Path, settings: Settings, kinds: dict[str, PartKind], label: str = ""
) -> Outcome:
    """Play the store in `folder`; raises ReplayError if there is none."""
    outcome = Outcome(label, settings)
    unpacker = Unpacker({name: entry.quantities for name, entry in settings.parts.items()})
    try:
        with closing(StoredLog(folder)) as log:
            Player(settings, kinds, outcome.listeners).play(log.items(unpacker))
    except sqlite3.Error as error:
        raise ReplayError(f"{folder} holds no store that can be read: {error}.") from None
    outcome.air.finish()
    outcome.counts = unpacker.counts
    _note_store(outcome, unpacker)
    return outcome


def _note_store(outcome: Outcome, unpacker: Unpacker) -> None:
    if unpacker.left_out:
        names = ", ".join(sorted(unpacker.left_out))
        outcome.notes.append(f"The configuration has no {names}: left out.")
    if unpacker.damaged:
        outcome.notes.append(f"{unpacker.damaged} damaged blocks of readings are left out.")
    _note_silent(outcome)


def _note_silent(outcome: Outcome) -> None:
    watched = {alarm.channel for alarm in outcome.settings.alarms.values()}
    if silent := sorted(watched - outcome.counts.of.keys()):
        outcome.notes.append(f"The log has nothing of {listed(silent)}, which an alarm watches.")


def replay_csv(
    log: RecordedLog, settings: Settings, known: dict[str, PartKind], label: str = ""
) -> Outcome:
    """Play a CSV; `known` parts keep what their drivers tell. Raises ReplayError."""
    kinds = log.kinds(settings, known)
    settings, notes = at_pace(settings, log.periods)
    outcome = Outcome(label, settings)
    player = Player(settings, kinds, (*outcome.listeners, outcome.counts))
    player.play(log.items(settings))
    outcome.air.finish()
    outcome.notes += notes
    _note_csv(outcome, log)
    return outcome


def _note_csv(outcome: Outcome, log: RecordedLog) -> None:
    parts, notes = outcome.settings.parts, outcome.notes
    known = {f"{name}.{q}" for name, entry in parts.items() for q in entry.quantities}
    if strange := [column for column in log.columns if column not in known]:
        notes.append(f"The configuration has no {', '.join(strange)}: left out.")
    if log.table.naive:
        notes.append("Times without an offset were taken as UTC.")
    if repeated := log.table.repeated:
        rows = "1 row repeats" if repeated == 1 else f"{repeated} rows repeat"
        notes.append(
            f"{rows} the time of the row before; of two values of one channel at one time, "
            "the first counts."
        )
    _note_silent(outcome)


def recorded(folder: Path) -> list[Decision]:
    """Read the decisions that were taken when the log was made, but for spoilt ones."""
    found = []
    with closing(Reader(folder)) as reader:
        boots = reader.boots()
        for event in all_events(reader):
            if event.kind in DECIDED:
                t = event.t + boots[event.boot].offset
                with suppress(KeyError, TypeError, AttributeError):
                    found.append(decision(t, event.kind, event.subject, event.body))
    return found
