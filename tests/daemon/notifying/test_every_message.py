"""Every message that can be sent, held to what somebody needs who reads it on a lock screen."""

import re

from daemon.notifying.every_message import alarms, every_message, itself, machines
from ventwright.notifying.words import fitted

MESSAGES = every_message()


def test_titles_name_the_room_and_end_where_they_should() -> None:
    for title in [title for m in MESSAGES for title in (m.title, m.unheard) if title]:
        room, _, what = fitted(title).partition(": ")
        assert what == title.partition(": ")[2]  # nothing is cut off
        assert room == "Room 12" or " 24 h mean " in what or len(room) >= 4


def test_bodies_are_whole_sentences() -> None:
    for body in [message.body for message in MESSAGES]:
        assert body[:1].isupper() or body.startswith("3 readings were lost")
        assert body.endswith(".")
        assert not re.search(r"\s\s|\.\.|\s[.,]|None|nan|\d 1/|index index", body), body


def sentences(kind: str, stage: str) -> set[str]:
    return {m.body for m in alarms() if f"{kind} at bench" in m.body and m.stage == stage}


def test_nobody_is_sent_out_of_a_room_that_is_only_warm() -> None:
    for title in ("CO2", "CO2 inferred from VOC", "emperature", "humidity", "pressure", "an speed"):
        assert sentences(title, "begin")
        assert not [body for body in sentences(title, "begin") if "stay out" in body]
    for title in ("PM2.5", "articles above 0.3 µm", "ormaldehyde", "TVOC"):
        assert [body for body in sentences(title, "begin") if "Best stay out." in body]


def test_of_co_the_first_words_say_what_to_do_and_the_last_what_this_is_not() -> None:
    begun = [b for b in sentences("CO", "begin") if "no good reading" not in b and "Find" not in b]
    assert begun
    assert all(body.startswith("Leave the room and air it. ") for body in begun)
    for body in [*begun, *sentences("CO", "end")]:
        if "good reading" not in body:
            assert "Certified CO alarms stay, and what they say counts." in body


def test_a_low_reading_of_particles_is_never_told_as_clean_air() -> None:
    for body in sentences("PM2.5", "end") | sentences("articles above 0.3 µm", "end"):
        if "good readings again" not in body:
            assert "do not see ultrafine particles" in body


def test_what_is_no_concentration_says_so_also_when_it_is_over() -> None:
    for title in ("VOC index (no concentration)", "NOx index (no concentration)"):
        for body in sentences(title, "end"):
            assert "An index is no concentration." in body or "good readings again" in body


def test_a_value_and_its_setpoint_are_in_one_unit() -> None:
    emitting = [m for m in alarms() if "puts about 3.4 mg/h" in m.body and "Setpoint" in m.body]
    assert emitting
    assert all("Setpoint: emission of 2.4 mg/h." in m.body for m in emitting)


def test_an_end_tells_how_long_how_high_and_how_much() -> None:
    ends = [m.body for m in alarms() if m.stage == "end" and "PM2.5" in m.body]
    assert len(ends) == 6
    assert all(body.startswith("It lasted from 14:05 to 14:30 (25 min). ") for body in ends)
    assert len([body for body in ends if "Dose" in body]) == 3


def test_all_kinds_of_events_are_in_the_listing() -> None:
    assert len({m.key.split()[0] for m in (*machines(), *itself())}) >= 11


def test_what_to_do_stands_where_a_lock_screen_still_shows_it() -> None:
    """The first 200 characters or so, before times to come and comparisons."""
    (ahead,) = [m.body for m in MESSAGES if "It rises as from a source" in m.body]
    assert ahead.index("Best stay out.") < ahead.index("Something emits; if it stopped now")
    plain = [m.body for m in MESSAGES if "Best stay out." in m.body and m.stage == "begin"]
    assert max(body.index("Best stay out.") for body in plain) <= 260
