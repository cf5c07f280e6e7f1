"""What facts come to: what to do, the most important first, and nothing where all is well."""

from typing import Any

import pytest

from ventwright.reporting.verdict import advice, answers, headline

WELL: dict[str, Any] = {
    "main": "bench.pm2_5",
    "from": "2026-09-21T00:00:00+00:00",
    "since": "2026-09-21T00:00:00+00:00",
    "channels": [
        {
            "channel": "bench.pm2_5",
            "title": "PM2.5",
            "unit": "µg/m³",
            "mean": 5.0,
            "worst hour": {"mean": 30.0, "from": "2026-09-24T13:00:00+00:00"},
            "coverage": 0.98,
            "limits": [],
        }
    ],
    "days": [{"above": False}, {"above": False}, {"above": None}],
    "alarms": {"raised": 0, "a day": 0.0, "by alarm": {}, "standing": []},
    "extractors": [
        {
            "extractor": "fan",
            "hours": 3.0,
            "runs": 2,
            "clearance": {"commissioned": 3.0, "share": 0.98, "words": ""},
        }
    ],
    "losses": [],
}


def with_(**changed: Any) -> dict[str, Any]:
    return {**WELL, **changed}


def test_where_all_is_well_nothing_needs_doing() -> None:
    assert list(advice(WELL)) == []
    assert headline(WELL) == (
        "PM2.5 was below the guideline for a day on all 2 days known. The worst hour had 30 µg/m³: "
        "Thursday 24 Sep, 13 to 14 h."
    )


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        (
            {"days": [{"above": True}, {"above": False}]},
            "let extraction start earlier (a lower setpoint)",
        ),
        ({"days": [{"above": True}], "extractors": []}, "air the room while printing"),
        (
            {
                "extractors": [
                    {
                        "extractor": "fan",
                        "runs": 2,
                        "clearance": {"commissioned": 3.0, "share": 0.6, "words": ""},
                    }
                ]
            },
            "cleared the air at 60 % of what was commissioned: look at filter, duct and window.",
        ),
        (
            {
                "extractors": [
                    {
                        "extractor": "fan",
                        "runs": 1,
                        "clearance": {"commissioned": None, "share": None, "words": ""},
                    }
                ]
            },
            "fan was never commissioned",
        ),
        (
            {
                "losses": [
                    {
                        "what": "part bench",
                        "to": None,
                        "from": "2026-09-24T13:05:00+00:00",
                        "why": "no frame came",
                    }
                ]
            },
            "Part bench is lost since Thursday 24 Sep, 13:05: no frame came.",
        ),
        (
            {"channels": [{**WELL["channels"][0], "coverage": 0.4}]},
            "bench measured for 40 % of the time only",
        ),
        (
            {
                "alarms": {
                    "raised": 90,
                    "a day": 12.9,
                    "by alarm": {"print": 80, "slow": 10},
                    "standing": ["slow"],
                }
            },
            "13 alarms a day are more than anybody heeds; most often print",
        ),
    ],
)
def test_what_to_do(changed: dict[str, Any], says: str) -> None:
    assert any(says in one for one in advice(with_(**changed)))


def test_a_lost_part_is_not_told_twice() -> None:
    loss = {"what": "part bench", "to": None, "from": "2026-09-24T13:05:00+00:00", "why": "gone"}
    poor = [{**WELL["channels"][0], "coverage": 0.4}]
    assert len(list(advice(with_(losses=[loss], channels=poor)))) == 1


def test_days_above_the_guideline_come_first() -> None:
    said = headline(with_(days=[{"above": True}, {"above": False}, {"above": False}]))
    assert said.startswith("PM2.5 was above the guideline for a day on 1 of 3 days. The worst hour")


def test_what_is_not_known_is_not_called_clean() -> None:
    unknown = {**WELL["channels"][0], "mean": None, "worst hour": None, "coverage": 0.2}
    told = with_(channels=[unknown], days=[])
    assert headline(told) == "Too little is known: PM2.5 was measured for 20 % of the time."
    assert {q: a for q, a, _ in answers(told)}["How was the air?"] == "not known"
