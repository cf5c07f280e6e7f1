"""Releases side by side in /opt/ventwright/releases; `now` points to the one in use.

A release is a virtual environment with bytecode, and its units. It is built whole before
anything else changes, and carries a mark once it is complete.
"""

import hashlib
import os
import shutil
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from installer.machine import Machine, Refusal, last_words
from installer.needs import add_packages, offline

HOME = "/opt/ventwright"
_SOURCES = ("pyproject.toml", "README.md", "daemon", "drivers", "config", "systemd")
_MARK, _ANALYSIS = "complete", "-analysis"
_NOW = "now"
_PIP = ("-m", "pip", "--disable-pip-version-check", "--no-input", "--retries", "2")
_KEPT = 2


class Release(NamedTuple):
    """One built version in a folder of its own."""

    folder: Path

    @property
    def python(self) -> Path:
        """Its interpreter."""
        return self.folder / "bin/python"

    @property
    def command(self) -> Path:
        """Its `ventwright`."""
        return self.folder / "bin/ventwright"

    @property
    def units(self) -> Path:
        """The units and rules that belong to it."""
        return self.folder / "source/systemd"

    @property
    def analysis(self) -> bool:
        """Whether it has what plots and statistics need."""
        return self.folder.name.endswith(_ANALYSIS)

    @property
    def complete(self) -> bool:
        """Whether it was built to the end."""
        return (self.folder / _MARK).exists()


def _files(source: Path) -> Iterator[Path]:
    for name in _SOURCES:
        top = source / name
        found = sorted(top.rglob("*")) if top.is_dir() else [top]
        yield from (p for p in found if p.is_file() and _wanted(p.relative_to(source)))


def _wanted(path: Path) -> bool:
    return not any(p == "__pycache__" or p.endswith((".egg-info", ".pyc")) for p in path.parts)


def name_of(source: Path, analysis: bool) -> str:
    """Name the release that this source and this Python make: the same again for the same."""
    project = tomllib.loads((source / "pyproject.toml").read_text())["project"]
    digest = hashlib.sha256()
    for path in _files(source):
        content = path.read_bytes()
        digest.update(f"{path.relative_to(source)} {len(content)} ".encode() + content)
    python = f"py{sys.version_info.major}.{sys.version_info.minor}"
    extra = _ANALYSIS * analysis
    return f"{project['version']}-{digest.hexdigest()[:10]}-{python}{extra}"


def current(machine: Machine) -> Release | None:
    """Give the release in use, if any."""
    return linked(machine, _NOW)


def use(machine: Machine, release: Release) -> None:
    """Point `now` to a release."""
    link(machine, _NOW, release)


def linked(machine: Machine, name: str) -> Release | None:
    """Give the release that a link beside the releases points to, if any."""
    place = machine.at(f"{HOME}/{name}")
    return Release(place.resolve()) if place.is_symlink() and place.exists() else None


def link(machine: Machine, name: str, release: Release) -> None:
    """Point a link beside the releases to one of them, at one stroke."""
    place = machine.at(f"{HOME}/{name}")
    beside = place.with_name(f"{name}.new")
    beside.unlink(missing_ok=True)
    beside.symlink_to(Path("releases") / release.folder.name)
    os.replace(beside, place)  # noqa: PTH105 - it replaces the link, not what it points to


def unlink(machine: Machine, name: str) -> None:
    """Remove a link beside the releases, if it is there."""
    machine.at(f"{HOME}/{name}").unlink(missing_ok=True)


def build(machine: Machine, source: Path, analysis: bool) -> Release:
    """Build the release of this source unless it is there; raises Refusal, nothing changed then."""
    release = Release(machine.at(f"{HOME}/releases/{name_of(source, analysis)}"))
    if release.complete:
        return release
    machine.say("Building it in a folder of its own; on a small board this takes some minutes ...")
    shutil.rmtree(release.folder, ignore_errors=True)
    try:
        _build(machine, release, source, "analysis.txt" if analysis else "run.txt")
    except BaseException:
        shutil.rmtree(release.folder, ignore_errors=True)
        raise
    return release


def _build(machine: Machine, release: Release, source: Path, lock: str) -> None:
    machine.must(
        "No virtual environment could be made", sys.executable, "-m", "venv", release.folder
    )
    copy = release.folder / "source"
    for path in _files(source):
        place = copy / path.relative_to(source)
        place.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(path, place)
    locks = copy / "systemd/lock"
    machine.say("Fetching packages, each checked against the hash in systemd/lock ...")
    _install(machine, release, "--require-hashes", "--only-binary=:all:", "-r", locks / "build.txt")
    _add_locked(machine, release, locks / lock)
    _install(machine, release, "--no-deps", copy)
    machine.run(release.python, *_PIP, "uninstall", "-q", "-y", "setuptools")
    machine.say("Compiling ...")
    library = next(release.folder.glob("lib/python*/site-packages"))
    machine.run(release.python, "-m", "compileall", "-q", "-j", "0", "-x", "/pip/", library)
    machine.must("What was built does not start", release.command, "--version")
    os.sync()  # the mark must not outlive a power cut that the rest does not
    (release.folder / _MARK).touch()


def _add_locked(machine: Machine, release: Release, lock: Path) -> None:
    """Install what the lock names; a compiler is fetched only where a package has no binary."""
    try:
        _install(machine, release, "--require-hashes", "--only-binary=:all:", "-r", lock)
    except NoBinaryError:
        machine.say("Not every package is there in binary for this machine; building the rest ...")
        add_packages(machine, "gcc", "libc6-dev", "python3-dev")
        _install(machine, release, "--require-hashes", "--prefer-binary", "-r", lock)


class NoBinaryError(Refusal):
    """The index has no binary of a package for this machine."""


def _install(machine: Machine, release: Release, *words: str | Path) -> None:
    options = ("--quiet", "--no-build-isolation", "--no-compile", "--no-cache-dir")
    done = machine.run(release.python, *_PIP, "install", *options, *words)
    if done.returncode == 0:
        return
    said = done.stdout
    if "DO NOT MATCH THE HASHES" in said:
        raise Refusal(
            "A package that came is not the one that systemd/lock names, so it was not used: "
            f"{last_words(said)}; nothing was changed."
        )
    if offline(said):
        raise Refusal(
            "The packages could not be fetched, for the package index does not answer: see to the "
            "network, then run this again; nothing was changed."
        )
    if "No space left on device" in said:
        raise Refusal(
            "The packages could not be installed, for the disk is full: make room, then run this "
            "again; nothing was changed."
        )
    kind = NoBinaryError if "No matching distribution" in said else Refusal
    raise kind(f"The packages could not be installed: {last_words(said)}; nothing was changed.")


def forget_old(machine: Machine, *wanted: Release | None) -> None:
    """Delete all releases but those wanted and the newest ones."""
    names = {release.folder.name for release in wanted if release}
    folders = sorted(machine.at(f"{HOME}/releases").iterdir(), key=lambda f: f.stat().st_mtime)
    for folder in folders[:-_KEPT]:
        if folder.name not in names:
            shutil.rmtree(folder, ignore_errors=True)
