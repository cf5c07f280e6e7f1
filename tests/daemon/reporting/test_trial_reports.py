"""`ventwright report trial` and `comparison`, from the store's marks to the page."""

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from daemon.reporting.pages import alone
from daemon.reporting.prints import EMISSION, GRAMS, fill
from ventwright.cli import main


@pytest.fixture(scope="module")
def config(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return fill(tmp_path_factory.mktemp("prints"))


def report(config: Path, *words: str) -> Result:
    result = CliRunner().invoke(main, ["report", *words, "--config", str(config)])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def told(config: Path, *words: str) -> Any:
    return json.loads(report(config, *words, "--json").stdout)


def test_a_print_comes_out_as_it_was_emitted(config: Path) -> None:
    found = told(config, "trial", "pla-1")["per_gram"]
    true = EMISSION["pla-1"] / 2 / GRAMS  # half an hour
    assert found["low"] <= true <= found["high"]
    assert found["value"] == pytest.approx(true, rel=0.1)


def test_a_print_becomes_a_page_with_pictures(config: Path, tmp_path: Path) -> None:
    out = tmp_path / "r.html"
    said = report(config, "trial", "abs-1", "--out", str(out), "--png", str(tmp_path)).stdout
    assert "trial-abs-1-print.png holds: PM2.5 of abs-1" in said
    assert "trial-abs-1-emission.png" in said
    words = alone(out.read_text(encoding="utf-8"))
    assert "abs-1 put" in words
    assert words.count("over a year") >= 2


def test_a_comparison_becomes_a_page(config: Path, tmp_path: Path) -> None:
    out = tmp_path / "r.html"
    assert report(config, "comparison", "--out", str(out)).exit_code == 0
    words = alone(out.read_text(encoding="utf-8"))
    assert "ABS is" in words
    assert "Ultrafine particles, which printers emit most of, are not seen" in words
    assert "times PLA" in words
    assert len(told(config, "comparison")["conditions"]) == 2
    assert told(config, "comparison", "--method", "holm")["method"] == "holm"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("trial", "asa-1"), 'there is no whole trial "asa-1"'),
        (("comparison", "pla-1", "pla-2"), "two conditions are needed to compare"),
        (("comparison", "--reference", "ASA"), 'there is no condition "ASA"'),
        (("trial", "pla-1", "--channel", "bench.co"), "bench.co"),
    ],
)
def test_mistakes_get_a_sentence(config: Path, words: tuple[str, ...], says: str) -> None:
    result = report(config, *words)
    assert result.exit_code == 1
    assert says in result.stderr
