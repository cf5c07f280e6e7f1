"""Whatever is written, the answer is settings or sentences, never a traceback."""

import tempfile
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from ventwright.settings.errors import ConfigurationError
from ventwright.settings.load import load
from ventwright.settings.model import Settings

NAMES = st.sampled_from(
    [
        "room",
        "store",
        "parts",
        "relays",
        "extractors",
        "alarms",
        "clock",
        "database",
        "phone",
        "name",
        "volume",
        "folder",
        "commit_every",
        "model",
        "port",
        "quantities",
        "bus",
        "address",
        "channel",
        "safe_state",
        "repeat_every",
        "relay",
        "when_blind",
        "blind_after",
        "run_on",
        "setpoint",
        "deadband",
        "compare",
        "over",
        "coverage",
        "limit",
        "url",
        "bucket",
        "batch",
        "token_file",
        "services_file",
        "too_old",
        "bench",
        "climate",
        "board",
        "hood",
        "fast",
        "has_battery",
    ]
)
KEYS = NAMES | st.text(max_size=8)
ODD_TEXTS = [
    "pms5003",
    "sht40",
    "relay-a0",
    "relay-gpio",
    "bench.pm2_5",
    "on",
    "rise",
    "who-pm2_5-24h",
    "/",
    "./",
    ".",
]
ODD_TEXTS += ["5 min", "9" * 400 + " d", "/dev/ttyUSB0", "a\0b", "é."]
TEXTS = st.sampled_from(ODD_TEXTS) | st.text(max_size=12) | NAMES
VALUES = (
    TEXTS
    | st.booleans()
    | st.integers()
    | st.sampled_from([10**400, -(10**400), 2**63])
    | st.floats()
    | st.dates()
    | st.times()
    | st.lists(TEXTS | st.integers(), max_size=3)
)
TREES = st.recursive(VALUES, lambda inner: st.dictionaries(KEYS, inner, max_size=6), max_leaves=25)

GOOD: dict[str, Any] = {
    "room": {"name": "workshop", "volume": 40},
    "store": {"folder": "/var/lib/ventwright"},
    "parts": {
        "bench": {"model": "pms5003", "port": "/dev/ttyUSB0"},
        "climate": {"model": "sht40", "address": 0x44},
    },
    "relays": {"board": {"model": "relay-a0", "port": "/dev/ttyUSB1"}},
    "extractors": {"hood": {"relay": "board", "when_blind": "on"}},
    "alarms": {"fast": {"channel": "bench.pm2_5", "setpoint": 25, "deadband": 5}},
}


def quoted(text: str) -> str:
    return '"' + "".join(f"\\U{ord(c):08X}" for c in text) + '"'


def written(value: Any) -> str:
    """Write a value as TOML, tables inline."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{quoted(k)} = {written(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(written, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return quoted(value)
    return value.isoformat() if hasattr(value, "isoformat") else str(value)


def document(tree: dict[str, Any]) -> str:
    return "\n".join(f"{quoted(key)} = {written(value)}" for key, value in tree.items())


def answer(content: bytes, environ: dict[str, str]) -> Settings | ConfigurationError:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "config.toml"
        path.write_bytes(content)
        try:
            return load(path, environ)
        except ConfigurationError as error:
            return error


def check(content: bytes, environ: dict[str, str]) -> None:
    given = answer(content, environ)
    if isinstance(given, ConfigurationError):
        sentences = str(given).split("\n")
        assert len(sentences) == len(given.mistakes) > 0
        assert all(sentence.isprintable() for sentence in sentences)


def put(tree: Any, place: tuple[str, ...], value: Any) -> dict[str, Any]:
    """Give the tree with one value put at a place."""
    branch = dict(tree) if isinstance(tree, dict) else {}
    head, *rest = place
    branch[head] = put(branch.get(head), tuple(rest), value) if rest else value
    return branch


PLACES = st.sampled_from(
    [(s, k) for s in ("room", "store") for k in GOOD[s]]
    + [
        (s, n, k)
        for s in ("parts", "relays", "extractors", "alarms")
        for n in GOOD[s]
        for k in (*GOOD[s][n], "limit", "quantities", "over", "channel")
    ]
)


@settings(max_examples=120, deadline=None)
@given(place=PLACES, value=TREES)
def test_any_value_at_a_known_key(place: tuple[str, ...], value: Any) -> None:
    check(document(put(GOOD, place, value)).encode(), {})


@settings(max_examples=120, deadline=None)
@given(tree=st.dictionaries(KEYS, TREES, max_size=8))
def test_any_tree(tree: dict[str, Any]) -> None:
    check(document(tree).encode(), {})


@settings(max_examples=120, deadline=None)
@given(content=st.binary(max_size=200) | st.text(max_size=200).map(lambda t: t.encode("utf-8")))
def test_any_bytes(content: bytes) -> None:
    check(content, {})


VARIABLES = st.lists(KEYS, min_size=1, max_size=5).map(lambda keys: "__".join(keys).upper())
TEXT_VALUES = TREES.map(written) | TEXTS | st.sampled_from(["\udcff", "[" * 5000])


@settings(max_examples=120, deadline=None)
@given(variables=st.dictionaries(VARIABLES, TEXT_VALUES, max_size=4))
def test_any_environment(variables: dict[str, str]) -> None:
    check(document(GOOD).encode(), {f"VENTWRIGHT_{k}": v for k, v in variables.items()})


def test_the_good_tree_is_good() -> None:
    assert isinstance(answer(document(GOOD).encode(), {}), Settings)
