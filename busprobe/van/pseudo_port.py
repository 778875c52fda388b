"""A pseudo-terminal as a serial port: one end has a path that a program opens, the other is ours."""

from __future__ import annotations

import os
from pathlib import Path

from busprobe.errors import DeviceError


class PseudoPort:
    """One pseudo-terminal. Raises DeviceError where the system has none."""

    def __init__(self) -> None:
        if os.name != "posix":
            raise DeviceError(
                "This system has no pseudo-terminals: the simulated input boxes need Linux or macOS.",
                hint="Use a recording, or a real input box.",
            )
        import tty

        self.fd, self._far = os.openpty()
        # Without this the terminal would send back what it is given until somebody opens it.
        tty.setraw(self._far)
        os.set_blocking(self.fd, False)
        self.path = os.ttyname(self._far)
        self._link: Path | None = None

    def link(self, path: Path) -> None:
        """Let `path` stand for the port; it goes when the port closes."""
        path.unlink(missing_ok=True)
        path.symlink_to(self.path)
        self._link = path

    def write(self, data: bytes) -> None:
        """What finds no room is lost, as on a wire that nobody reads."""
        try:
            os.write(self.fd, data)
        except BlockingIOError:
            return

    def read(self) -> bytes:
        """What has come; may be nothing."""
        try:
            return os.read(self.fd, 4096)
        except BlockingIOError:
            return b""

    def close(self) -> None:
        """As if unplugged; harmless twice."""
        if self.fd < 0:
            return
        os.close(self.fd)
        os.close(self._far)
        self.fd = -1
        if self._link is not None:
            self._link.unlink(missing_ok=True)
