"""A load for benchmarks: many classic 8-byte frames a second on a udp_multicast bus.

    python -m busprobe.van.load --dbc load.dbc
    python -m busprobe.van.load --port 43113 --rate 8000 --for 60s

Every frame carries how many were sent before it, so a receiver can count what it lost:

    bytes 0-3  counter over all identifiers    bytes 4-5  frames of this identifier so far
    byte 6     noise                           byte 7     0 or 1, changes every 64 frames

The datagrams are those of python-can's udp_multicast: one msgpack map a frame, whose keys are the
arguments of `can.Message`.
"""

from __future__ import annotations

import argparse
import socket
import struct
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import msgpack

from busprobe.bench.model import Bus
from busprobe.bench.units import UnitError, duration_ns
from busprobe.errors import counted
from busprobe.van import noise

FIRST_IDENTIFIER = 0x100
GROUP, PORT = "239.74.163.2", 43113
BURST_S = 0.001
_PLACE = b"\xa5busprob"
"""Stands in a packed frame where its payload goes."""


def send(bus: Bus, frames_per_second: float, seconds: float, identifiers: int = 100, seed: int = 1) -> int:
    """Send at an even rate, in bursts of 1 ms, on a udp_multicast bus; how many were sent.

    A sender that was held up catches up at once, so the number sent does not depend on the machine.
    """
    order = _order(identifiers, seed)
    packed = [_packed_around(FIRST_IDENTIFIER + index).split(_PLACE) for index in order]
    grain = noise.uniform(seed, "load", 256, 0, 256).astype(int).tolist()
    total = round(frames_per_second * seconds)
    payload = struct.Struct("<IHBB").pack
    sent = 0
    with _socket(bus) as out:
        begin = time.monotonic()
        while sent < total:
            due = min(int((time.monotonic() - begin) * frames_per_second) + 1, total)
            for number in range(sent, due):
                round_number, place = divmod(number, identifiers)
                head, tail = packed[place]
                switch = round_number + place >> 6 & 1
                out.send(head + payload(number, round_number & 0xFFFF, grain[number & 0xFF], switch) + tail)
            sent = due
            time.sleep(BURST_S)
    return sent


def _order(identifiers: int, seed: int) -> list[int]:
    """The messages in the order in which they are sent, again and again."""
    draw = noise.uniform(seed, "load order", identifiers).tolist()
    return sorted(range(identifiers), key=lambda index: draw[index])


def _packed_around(identifier: int) -> bytes:
    """A frame as python-can packs it, with `_PLACE` as its payload."""
    frame = {
        "timestamp": 0.0,
        "arbitration_id": identifier,
        "is_extended_id": False,
        "is_remote_frame": False,
        "is_error_frame": False,
        "channel": None,
        "dlc": 8,
        "data": _PLACE,
        "is_fd": False,
        "bitrate_switch": False,
        "error_state_indicator": False,
    }
    packed: bytes = msgpack.packb(frame, use_bin_type=True)
    return packed


def _socket(bus: Bus) -> socket.socket:
    """A socket that sends to the bus's group and keeps to this machine."""
    group, port = bus.channel or GROUP, int(bus.options.get("port", PORT))
    family, kind, protocol, _, address = socket.getaddrinfo(group, port, type=socket.SOCK_DGRAM)[0]
    out = socket.socket(family, kind, protocol)
    if family == socket.AF_INET:
        out.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_TTL, 0)
    else:
        out.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_MULTICAST_HOPS, 0)
    out.connect(address)
    return out


def database_text(identifiers: int = 100) -> str:
    """DBC of the load's messages."""
    lines = ['VERSION "load"', "", "BU_: Load", ""]
    for index in range(identifiers):
        lines += [
            f"BO_ {FIRST_IDENTIFIER + index} Load{index:03d}: 8 Load",
            ' SG_ Counter : 0|32@1+ (1,0) [0|4294967295] "" Load',
            ' SG_ Round : 32|16@1+ (1,0) [0|65535] "" Load',
            ' SG_ Noise : 48|8@1+ (0.5,-40) [-40|87.5] "degC" Load',
            ' SG_ Switch : 56|2@1+ (1,0) [0|3] "" Load',
            "",
        ]
    return "\n".join(lines)


def main(arguments: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m busprobe.van.load", description="Load for benchmarks.")
    parser.add_argument("--group", default=GROUP, help="multicast group (%(default)s)")
    parser.add_argument("--port", type=int, default=PORT, help="UDP port (%(default)s)")
    parser.add_argument("--rate", type=float, default=8000.0, metavar="N", help="frames a second (%(default)g)")
    parser.add_argument("--for", dest="length", default="10s", metavar="TIME", help="how long (%(default)s)")
    parser.add_argument("--identifiers", type=int, default=100, metavar="N", help="(%(default)s)")
    parser.add_argument("--seed", type=int, default=1, metavar="N")
    parser.add_argument("--dbc", type=Path, metavar="FILE", help="only write the database of the load")
    asked = parser.parse_args(arguments)
    if asked.dbc is not None:
        asked.dbc.write_text(database_text(asked.identifiers), encoding="utf-8", newline="\n")
        return 0
    try:
        seconds = duration_ns(asked.length) / 1e9
    except UnitError as error:
        parser.error(str(error))
    bus = Bus("load", "udp_multicast", asked.group, options={"port": asked.port})
    before = time.process_time()
    sent = send(bus, asked.rate, seconds, asked.identifiers, asked.seed)
    used = time.process_time() - before
    sys.stdout.write(f"{counted(sent, 'frame')} sent in {seconds:g} s, {used:.2f} s of processor time\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
