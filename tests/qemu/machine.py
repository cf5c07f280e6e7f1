"""A board in QEMU: booted, typed on, plugged and unplugged, its power cut. Knows no Ventwright.

Without hardware acceleration, so that it runs anywhere; with one processor, for the emulator loses
now and then what a kernel changes of its own code while another processor runs it.
"""

import base64
import json
import socket
import subprocess
import time
from pathlib import Path
from typing import Any, NamedTuple

BOOT_S = 600.0
"""Patience with a boot on a machine that is busy; it takes 15 s on one that is not."""
PORTS = 4


class Said(NamedTuple):
    """What a command on the board gave."""

    status: int
    text: str


class Board:
    """One board and its disk; `folder` holds kernel, initrd, disk.img, stick.img and sockets."""

    def __init__(self, folder: Path) -> None:
        """Describe a board that is still off."""
        self._folder = folder
        self._qemu: subprocess.Popen[bytes] | None = None
        self._hand: socket.socket | None = None
        self._qmp: socket.socket | None = None
        self._boots = 0

    def wire(self, port: int) -> Path:
        """Name the socket at whose far end a twin of USB port `port` (from 1) has to be."""
        return self._folder / f"usb{port}.sock"

    @property
    def witness(self) -> Path:
        """Name the socket of a second port into the board."""
        return self._folder / "witness.sock"

    @property
    def console(self) -> Path:
        """What the kernel and systemd wrote to the console in this boot."""
        return self._folder / f"console-{self._boots}.log"

    def _words(self) -> list[str]:
        at = self._folder
        words = f"""qemu-system-x86_64 -machine q35 -accel tcg,thread=single -cpu max -smp 1 -m 512
            -display none -monitor none -nodefaults -no-reboot -nic none
            -serial file:{self.console} -kernel {at}/kernel -initrd {at}/initrd
            -drive file={at}/disk.img,format=raw,if=virtio,cache=none
            -drive file={at}/stick.img,format=raw,if=virtio,readonly=on
            -qmp unix:{at}/qmp.sock,server=on,wait=off
            -device virtio-serial-pci -device virtserialport,chardev=hand,name=hand
            -chardev socket,id=hand,path={at}/hand.sock,server=on,wait=off
            -device virtserialport,chardev=witness,name=witness
            -chardev socket,id=witness,path={self.witness},server=on,wait=off
            -device qemu-xhci,id=usb""".split()
        for port in range(1, PORTS + 1):
            words += ["-chardev", f"socket,id=wire{port},path={self.wire(port)},server=on,wait=off"]
        # A busy machine may give too few ticks while the kernel tries its timer, which is a panic.
        kernel = "console=ttyS0 root=/dev/vda rw panic=-1 mitigations=off no_timer_check quiet"
        return [*words, "-append", kernel]

    def switch_on(self) -> float:
        """Begin to boot; gives the time at which that was, for `wait_booted`."""
        begun = time.monotonic()
        self._boots += 1
        for path in self._folder.glob("*.sock"):
            path.unlink()
        self._qemu = subprocess.Popen(self._words(), stdin=subprocess.DEVNULL)
        self._qmp = self._connected("qmp.sock")
        self._answer(self._qmp)
        self._ask("qmp_capabilities")
        return begun

    def wait_booted(self, begun: float) -> float:
        """Wait until commands are taken; gives the seconds since `begun`."""
        self._hand = self._connected("hand.sock")
        assert self.type("true", BOOT_S).status == 0
        return time.monotonic() - begun

    def _connected(self, name: str) -> socket.socket:
        end = time.monotonic() + BOOT_S
        while True:
            made = socket.socket(socket.AF_UNIX)
            try:
                made.connect(str(self._folder / name))
            except OSError:
                made.close()
                if time.monotonic() > end:
                    raise
                time.sleep(0.05)
            else:
                return made

    def type(self, script: str, timeout: float = 600) -> Said:
        """Run a script of bash as root on the board and give its status and output.

        Raises OSError with the console's last words if the board does not answer.
        """
        assert self._hand is not None
        self._hand.settimeout(timeout)
        try:
            self._hand.sendall(base64.b64encode(script.encode()) + b"\n")
            status, _, text = self._line(self._hand).partition(b" ")
        except OSError as error:
            last = self.console.read_text(errors="replace")[-2000:]
            raise OSError(f"the board is gone, {error}; its console: {last}") from None
        return Said(int(status), base64.b64decode(text).decode(errors="replace"))

    @staticmethod
    def _line(sock: socket.socket) -> bytes:
        data = b""
        while not data.endswith(b"\n"):
            more = sock.recv(65_536)
            if not more:
                raise ConnectionError("the board is gone")
            data += more
        return data

    def _answer(self, sock: socket.socket) -> dict[str, Any]:
        answer: dict[str, Any] = json.loads(self._line(sock).splitlines()[-1])
        return answer

    def _ask(self, what: str, **words: Any) -> None:
        assert self._qmp is not None
        self._qmp.sendall(json.dumps({"execute": what, "arguments": words}).encode() + b"\n")
        while True:
            for line in self._line(self._qmp).splitlines():
                told = json.loads(line)
                if "error" in told:
                    raise RuntimeError(told["error"]["desc"])
                if "return" in told:
                    return

    def plug(self, port: int) -> None:
        """Plug a USB serial adapter into `port`; its wire leads to the port's socket."""
        self._ask(
            "device_add",
            driver="usb-serial",
            id=f"adapter{port}",
            bus="usb.0",
            port=str(port),
            chardev=f"wire{port}",
        )

    def unplug(self, port: int) -> None:
        """Pull the adapter out."""
        self._ask("device_del", id=f"adapter{port}")

    def cut_power(self) -> None:
        """Take the power away, at this instant: SIGKILL, nothing is flushed."""
        if self._qemu is not None:
            self._qemu.kill()
            self._qemu.wait()
        for sock in (self._hand, self._qmp):
            if sock is not None:
                sock.close()
        self._qemu = self._hand = self._qmp = None

    def __enter__(self) -> "Board":
        return self

    def __exit__(self, *_: object) -> None:
        self.cut_power()
