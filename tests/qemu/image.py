"""Builds the disk of a Debian board and the stick that a newcomer plugs in; knows nothing of QEMU.

The disk is Debian as its archive gives it: kernel, systemd, udev, Python. Kernel modules that no
such board needs are left out, which halves the time. The only thing of ours on it is the hand, a
shell behind a virtio port by which a test types commands.
"""

import os
import shutil
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path

ROOT = Path(__file__).parents[2]
PYTHONS = {"bookworm": "3.11", "trixie": "3.13"}
"""The Debian suites that a board may run, 12 and 13, and the Python of each."""

PACKAGES = "linux-image-amd64,tiny-initramfs,systemd,systemd-sysv,udev,python3,python3-venv,kmod"
BOOT_MODULES = "virtio_pci,virtio_blk,ext4"
DISK_BYTES = 3 << 30

_DRIVERS = (
    "ata bluetooth crypto dma edac gpu hwmon iio infiniband input isdn leds md media mfd misc mmc",
    "mtd net nvdimm nvme pinctrl platform power regulator scsi spi staging target thunderbolt",
    "usb/gadget vfio video",
)
_OTHERS = (
    "arch drivers/char/ipmi fs/btrfs fs/ceph fs/f2fs fs/gfs2 fs/jfs fs/nfs fs/nfsd fs/ocfs2",
    "fs/reiserfs fs/smb fs/ubifs fs/udf fs/xfs net sound",
)
_UNWANTED = [
    *(f"/lib/modules/*/kernel/drivers/{name}/*" for name in " ".join(_DRIVERS).split()),
    *(f"/lib/modules/*/kernel/{name}/*" for name in " ".join(_OTHERS).split()),
    *("/usr/share/doc/*", "/usr/share/man/*", "/usr/share/locale/*"),
]

_HAND = """#!/bin/bash
# Runs what comes in by the port, one script a line, and answers with its exit status and output.
until exec 3<>/dev/virtio-ports/hand; do sleep 0.2; done 2>/dev/null
while read -r line <&3; do
    base64 -d <<<"$line" >/run/hand.sh
    bash /run/hand.sh </dev/null >/run/hand.out 2>&1
    echo "$? $(base64 -w0 /run/hand.out)" >&3
done
"""
_HAND_UNIT = """[Unit]
Description=Commands typed by a test
[Service]
ExecStartPre=/sbin/modprobe virtio_console
Environment=HOME=/root
ExecStart=/usr/local/bin/hand
Restart=always
[Install]
WantedBy=multi-user.target
"""
_FSTAB = """/dev/vda / ext4 defaults,noatime 0 1
/dev/vdb /media/stick ext4 ro,nofail 0 0
"""
_PIP = """[global]
no-index = true
find-links = /media/stick/wheels
"""


class OutsideError(RuntimeError):
    """What a board is made of could not be fetched: no fault of ours."""


def _fetch(*words: str | Path) -> None:
    """Run what asks the package registries; raises OutsideError."""
    try:
        _run(*words)
    except RuntimeError as error:
        raise OutsideError(str(error)) from None


def _run(*words: str | Path, **given: object) -> None:
    done = subprocess.run(
        [str(word) for word in words],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        **given,  # type: ignore[call-overload]
    )
    if done.returncode:
        raise RuntimeError(f"{words[0]} failed: {done.stdout[-2000:]}{done.stderr[-2000:]}")


def build_root(folder: Path, suite: str) -> None:
    """Unpack Debian into `folder`; needs root. Takes about half a minute. Raises OutsideError."""
    left_out = [f"--dpkgopt=path-exclude={pattern}" for pattern in _UNWANTED]
    plain = ["--variant=minbase", "--quiet", '--aptopt=Acquire::Languages "none"']
    _fetch("mmdebstrap", *plain, f"--include={PACKAGES}", *left_out, suite, folder)
    _make_initrd(folder)
    _furnish(folder)


def _make_initrd(folder: Path) -> None:
    version = next((folder / "lib/modules").iterdir()).name
    modules = f"--include-modules={BOOT_MODULES}"
    _run("chroot", folder, "mktirfs", "-o", "/boot/initrd", "-m", "no", modules, version)
    shutil.copy(folder / f"boot/vmlinuz-{version}", folder / "boot/kernel")


def _furnish(folder: Path) -> None:
    files = {
        "etc/hostname": "board\n",
        "etc/fstab": _FSTAB,
        "etc/systemd/system/hand.service": _HAND_UNIT,
        "etc/pip.conf": _PIP,
        "etc/systemd/journald.conf.d/board.conf": "[Journal]\nStorage=persistent\n",
        "usr/local/bin/hand": _HAND,
    }
    for name, text in files.items():
        place = folder / name
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(text)
    (folder / "usr/local/bin/hand").chmod(0o755)
    (folder / "media/stick").mkdir()
    _run("chroot", folder, "systemctl", "enable", "hand.service")
    _run("chroot", folder, "useradd", "-m", "maker")


def build_disk(folder: Path, disk: Path, size: int = DISK_BYTES) -> None:
    """Make an ext4 disk of a folder."""
    _run("mke2fs", "-q", "-t", "ext4", "-F", "-d", folder, disk, str(size >> 10))


def fetch_wheels(folder: Path, suite: str) -> None:
    """Fetch what the installer will want, by the lock and its hashes; raises OutsideError."""
    locks = ROOT / "systemd/lock"
    for lock in ("build.txt", "run.txt"):
        words = ["-m", "pip", "download", "-q", "--no-deps", "--require-hashes"]
        target = ["--only-binary=:all:", f"--python-version={PYTHONS[suite]}", "-d", folder]
        _fetch(sys.executable, *words, *target, "-r", locks / lock)


def checkout(folder: Path) -> None:
    """Copy what a newcomer would clone: the files under version control, as they are now."""
    listed = subprocess.run(
        ["git", "-C", ROOT, "ls-files", "-z", "-co", "--exclude-standard"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    copy(filter(None, listed.split("\0")), folder)


def copy(names: Iterable[str], folder: Path) -> None:
    """Copy files of this checkout, by their names in it."""
    for name in names:
        if (ROOT / name).is_file():
            place = folder / name
            place.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, place)


def build_stick(folder: Path, stick: Path, suite: str) -> None:
    """Make the stick: this checkout, and a folder of wheels in place of the package index."""
    checkout(folder / "ventwright")
    (folder / "wheels").mkdir()
    fetch_wheels(folder / "wheels", suite)
    build_disk(folder, stick, 64 << 20)


def prebuild(root: Path, stick: Path) -> None:
    """Build the release inside `root` by the installer itself, at this machine's speed.

    The installer on the board then finds it complete, for the same source makes the same release.
    """
    place = root / "media/stick"
    shutil.copytree(stick, place, dirs_exist_ok=True)
    script = (
        "import os; os.umask(0o022); from pathlib import Path; from installer import releases; "
        "from installer.machine import Machine; "
        "releases.build(Machine(), Path('/media/stick/ventwright'), False)"
    )
    python = ["env", "PYTHONPATH=/media/stick/ventwright/systemd", "python3", "-B", "-c", script]
    environment = {name: value for name, value in os.environ.items() if "PIP" not in name}
    _run("chroot", root, *python, env=environment)
    shutil.rmtree(place)
    place.mkdir()
