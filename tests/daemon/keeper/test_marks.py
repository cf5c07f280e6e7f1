"""Marks of trials: recorded as they are, refused in a sentence, and nothing is decided by them."""

from typing import Any

import pytest

import rooms
from rooms import records
from ventwright.control.server import parse
from ventwright.events import Request


def asked(**words: Any) -> tuple[dict[str, Any], list[Any]]:
    done = rooms.core().handle(Request(1000, "ada", "mark", words))
    return records(done, "request")[0].body["answer"], records(done, "mark")


def test_a_mark_is_recorded_with_its_labels_and_who_made_it() -> None:
    answer, marks = asked(name="pla-1", phase="print", labels={"material": "PLA", "grams": 12})
    assert answer["done"]
    assert marks[0].subject == "pla-1"
    assert marks[0].body == {
        "phase": "print",
        "labels": {"material": "PLA", "grams": 12},
        "who": "ada",
    }


def test_a_print_that_already_happened_is_marked_with_its_times() -> None:
    answer, marks = asked(name="pla-1", phase="past", at={"print": 1, "end": 2})
    assert answer["done"]
    assert marks[0].body["at"] == {"print": 1, "end": 2}


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ({"phase": "print"}, "needs a name"),
        ({"name": 7, "phase": "print"}, "needs a name"),
        ({"name": "x" * 61, "phase": "print"}, "up to 60 letters"),
        ({"name": "a", "phase": "lunch"}, '"lunch" is no phase'),
        ({"name": "a"}, "is no phase"),
        ({"name": "a", "phase": "print", "labels": "PLA"}, '"labels" must be a table'),
        ({"name": "a", "phase": "past", "at": {"print": "noon"}}, "whole ms"),
        ({"name": "a", "phase": "print", "who": "eve"}, "told by the system"),
    ],
)
def test_nonsense_is_refused_in_a_sentence(words: dict[str, Any], says: str) -> None:
    answer, marks = asked(**words)
    assert not answer["done"]
    assert says in answer["says"]
    assert not marks


def test_one_table_within_the_words_is_understood_and_no_deeper() -> None:
    words = {"name": "a", "labels": {"material": "PLA"}}
    assert parse({"verb": "mark", "words": words}) == ("mark", words)
    for bad in ({"a": {"b": {"c": 1}}}, {"a": {"b": [1]}}, {"a": {"b": "x" * 201}}, {"a": [1]}):
        with pytest.raises(ValueError, match="plain values"):
            parse({"verb": "mark", "words": bad})
    with pytest.raises(ValueError, match="plain values"):
        parse({"verb": "mark", "words": {"labels": {str(n): n for n in range(17)}}})
