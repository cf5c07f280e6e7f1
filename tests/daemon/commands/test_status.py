"""What `ventwright status` says of readings pushed and messages told."""

from pathlib import Path

from stored import database, phone, settings
from ventwright.commands.status import courier_lines


def test_it_says_how_old_the_counts_are_and_names_what_was_told_together(tmp_path: Path) -> None:
    configured = settings(tmp_path, database=database("http://nowhere"), phone=phone(tmp_path))
    counted = {"pushed": 7, "messages": 12, "delivered": 10, "told_later": 2}
    pushed, events, told = courier_lines(configured, counted)
    assert pushed.endswith("(as of up to 5 min ago)")
    assert "0 events pushed, 0 waiting, 0 refused, 0 dropped, 0 too old" in events
    assert "10 of 12 deliveries made, 2 told together with a later one, 0 waiting" in told
    *_, told = courier_lines(configured, {"messages": 1, "delivered": 1})
    assert "together" not in told


def test_what_it_counts_adds_up_with_two_services_too(tmp_path: Path) -> None:
    configured = settings(tmp_path, database=database("http://nowhere"), phone=phone(tmp_path))
    counted = {"pushed": 7, "empty": 3, "messages": 2, "delivered": 3, "messages_waiting": 1}
    pushed, _, told = courier_lines(configured, counted | {"passed_over": 5})
    assert "3 without a value" in pushed
    assert "3 of 4 deliveries made, 1 waiting, 0 given up" in told
    assert told.endswith("5 too old to be told when they were found")
