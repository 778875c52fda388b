"""A pseudo-terminal as a serial port: one end has a path that a program opens, the other is ours."""

from __future__ import annotations

import os
from pathlib import Path

from busprobe.errors import DeviceError
from busprobe.sources.ports import VAN_PREFIX


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
        self._claim = -1

    def link(self, path: Path) -> None:
        """Let `path` stand for the port; it goes when the port closes.

        Raises DeviceError, and closes the port, where it stands for one that is in use.
        """
        try:
            self._claim = _claim(path)
        except DeviceError:
            self.close()
            raise
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
            _lock_file(self._link).unlink(missing_ok=True)
            os.close(self._claim)


def _lock_file(link: Path) -> Path:
    return link.with_name(f"{link.name}.lock")


def _claim(link: Path) -> int:
    """A locked file beside the link, with our process number in it.

    The system takes the lock away with the process, however that ends, so a link that was left
    behind is in nobody's way. Raises DeviceError where another holds the lock.
    """
    import fcntl

    file = _lock_file(link)
    while True:
        claim = os.open(file, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW, 0o600)
        try:
            fcntl.flock(claim, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            process = os.read(claim, 20).decode("ascii", "replace") or "not known"
            os.close(claim)
            raise DeviceError(
                f'The port "{link}" belongs to a simulated van that is running (process {process}).',
                hint='End that one first, or give this one a bench file of its own: another "port" of its bus, and of '
                f'its input box a name that begins with "{VAN_PREFIX}" too, such as "{VAN_PREFIX}second".',
            ) from None
        if _is_at(claim, file):
            os.ftruncate(claim, 0)
            os.write(claim, str(os.getpid()).encode())
            return claim
        os.close(claim)  # the last owner removed it between our two steps


def _is_at(fd: int, file: Path) -> bool:
    """Whether the file of that name is the open one."""
    try:
        return os.path.samestat(os.fstat(fd), file.stat())
    except FileNotFoundError:
        return False
