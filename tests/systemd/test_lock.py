"""The lists of pinned packages: complete, hashed, and true to pyproject.toml for every machine."""

import re
import tomllib
from importlib.metadata import PackageNotFoundError, requires
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())
MACHINES = [
    {"python_version": python, "platform_machine": machine, "extra": ""}
    for python in ("3.11", "3.13")
    for machine in ("x86_64", "aarch64", "armv7l")
]
WANTED = {
    "build.txt": PROJECT["build-system"]["requires"],
    "run.txt": PROJECT["project"]["dependencies"],
    "analysis.txt": [
        *PROJECT["project"]["dependencies"],
        *PROJECT["project"]["optional-dependencies"]["analysis"],
    ],
}


def pinned(name: str) -> dict[str, tuple[str, int]]:
    """Give version and number of hashes of every package of a list."""
    text = (ROOT / "systemd/lock" / name).read_text()
    entries = re.findall(
        r"^([a-z0-9-]+)==(\S+) \\\n((?:    --hash=sha256:[0-9a-f]{64}.*\n)+)", text, re.M
    )
    lines = [line for line in text.splitlines() if line[:1] not in ("", " ", "#")]
    assert len(entries) == len(lines), "an entry without a version or without hashes"
    return {package: (version, hashes.count("--hash")) for package, version, hashes in entries}


@pytest.mark.parametrize("name", WANTED)
def test_a_list_has_what_the_project_asks_for(name: str) -> None:
    there = pinned(name)
    for text in WANTED[name]:
        wanted = Requirement(text)
        version, _ = there[canonicalize_name(wanted.name)]
        assert wanted.specifier.contains(version), text


@pytest.mark.parametrize("name", WANTED)
def test_a_list_has_what_its_packages_ask_for_on_every_machine(name: str) -> None:
    there = pinned(name)
    for package in there:
        for wanted in _asked(package):
            version, _ = there[canonicalize_name(wanted.name)]
            assert wanted.specifier.contains(version), f"{package}: {wanted}"


def _asked(package: str) -> list[Requirement]:
    try:
        all_of_it = [Requirement(text) for text in requires(package) or ()]
    except PackageNotFoundError:
        return []  # not among what the tests need
    return [r for r in all_of_it if any(_applies(r, machine) for machine in MACHINES)]


def _applies(wanted: Requirement, machine: dict[str, str]) -> bool:
    return wanted.marker is None or wanted.marker.evaluate({**machine, "sys_platform": "linux"})


@pytest.mark.parametrize("package", ["pydantic-core", "pyyaml", "charset-normalizer"])
def test_what_is_compiled_has_hashes_of_the_files_of_all_machines(package: str) -> None:
    assert pinned("run.txt")[package][1] > 6  # two Pythons, three machines, and the source


def test_the_lists_agree() -> None:
    run, analysis = pinned("run.txt"), pinned("analysis.txt")
    assert {name: entry for name, entry in analysis.items() if name in run} == run
