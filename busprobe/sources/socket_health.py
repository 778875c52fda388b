"""What the kernel tells of the socket behind a bus: room for frames, and frames that found none."""

from __future__ import annotations

import contextlib
import os
import socket
import stat
import struct
import sys

SO_MEMINFO = 55
"""Linux include/uapi/asm-generic/socket.h; the numbers that it gives are in sock_diag.h."""
_MEMINFO = struct.Struct("=9I")
_DROPS = 8
"""SK_MEMINFO_DROPS."""
WANTED_BYTES = 4 << 20
"""Room for about 5,000 frames: the kernel takes some 770 bytes for each."""
AMPLE_BYTES = 400_000
"""With this much room, 500 frames, a reader may look every few milliseconds instead of at every frame."""
SO_RCVBUFFORCE = 33
"""Linux: more room than net.core.rmem_max, for those who may administer the network."""


def is_socket(fd: int) -> bool:
    return fd >= 0 and stat.S_ISSOCK(os.fstat(fd).st_mode)


def make_room(fd: int) -> int:
    """Give a socket as much room as the system allows; the bytes it has then.

    Linux gives twice what is asked for, and to an ordinary user at most twice net.core.rmem_max.
    """
    with socket.socket(fileno=os.dup(fd)) as same:
        for option in (socket.SO_RCVBUF, SO_RCVBUFFORCE) if sys.platform == "linux" else (socket.SO_RCVBUF,):
            if same.getsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF) < WANTED_BYTES:
                with contextlib.suppress(OSError):
                    same.setsockopt(socket.SOL_SOCKET, option, WANTED_BYTES // 2)
        return same.getsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF)


def dropped(fd: int) -> int:
    """Frames that the kernel had to drop on a socket since it was opened; 0 where it does not tell."""
    if sys.platform != "linux":
        return 0
    try:
        with socket.socket(fileno=os.dup(fd)) as same:
            info = same.getsockopt(socket.SOL_SOCKET, SO_MEMINFO, _MEMINFO.size)
    except OSError:
        return 0
    return int(_MEMINFO.unpack(info)[_DROPS]) if len(info) == _MEMINFO.size else 0
