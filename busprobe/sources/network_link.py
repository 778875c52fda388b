"""The state of a CAN network interface of Linux, and how to set it up.

    $ ip -details -json link show can0
    [{"ifname": "can0", "flags": ["NOARP", "UP", "LOWER_UP", "ECHO"], "operstate": "UP", "link_type": "can",
      "linkinfo": {"info_kind": "can", "info_data": {"ctrlmode": ["LISTEN-ONLY"], "state": "ERROR-ACTIVE",
      "bittiming": {"bitrate": 500000}}}}]

The names are those of iproute2 (ip/iplink_can.c), written from memory of it.
"""

from __future__ import annotations

import json
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from busprobe.errors import DeviceError, nearest

NETWORK = Path("/sys/class/net")
ARP_TYPE_CAN = "280"
"""ARPHRD_CAN of Linux if_arp.h."""
PATIENCE_S = 5.0
DEFAULT_BITRATE = 500_000


@dataclass(frozen=True)
class Link:
    """A CAN network interface as it is now."""

    name: str
    is_up: bool
    is_virtual: bool = False
    """Leads to no wire ("vcan", "vxcan")."""
    listen_only: bool = False
    bitrate: int | None = None
    state: str = ""
    """Of the controller: "ERROR-ACTIVE", "BUS-OFF" ..., as the kernel names it."""

    def up_command(self, bitrate: int | None, *, listen_only: bool) -> str:
        """The command that sets it up."""
        if self.is_virtual:
            return f"sudo ip link set {self.name} up"
        mode = " listen-only on" if listen_only else ""
        return f"sudo ip link set {self.name} up type can bitrate {bitrate or self.bitrate or DEFAULT_BITRATE}{mode}"


def can_links(network: Path = NETWORK) -> tuple[str, ...]:
    """Names of the CAN network interfaces, up or down; none on other systems than Linux."""
    if not network.is_dir():
        return ()
    return tuple(sorted(p.parent.name for p in network.glob("*/type") if p.read_text("ascii").strip() == ARP_TYPE_CAN))


def read_link(name: str) -> Link | None:
    """The interface `name`; None where it is not there or the program `ip` is not."""
    try:
        shown = _ip("-details", "-json", "link", "show", name)
    except (OSError, subprocess.SubprocessError):
        return None
    return link_of(shown.stdout) if shown.returncode == 0 else None


def link_of(text: str) -> Link | None:
    """The first interface that `ip -details -json` printed, None where it printed nothing readable."""
    try:
        entry: dict[str, Any] = json.loads(text)[0]
        info = entry.get("linkinfo", {})
        details = info.get("info_data", {})
        return Link(
            name=entry["ifname"],
            is_up="UP" in entry.get("flags", ()),
            is_virtual=info.get("info_kind") in ("vcan", "vxcan"),
            listen_only="LISTEN-ONLY" in details.get("ctrlmode", ()),
            bitrate=details.get("bittiming", {}).get("bitrate"),
            state=details.get("state", ""),
        )
    except (ValueError, KeyError, IndexError, TypeError, AttributeError):
        return None


def set_bitrate(name: str, bitrate: int) -> None:
    """Set the bit rate of an interface and make it listen-only. Raises DeviceError where that is not allowed."""
    steps: Sequence[Sequence[str]] = (
        ("link", "set", name, "down"),
        ("link", "set", name, "up", "type", "can", "bitrate", str(bitrate), "listen-only", "on"),
    )
    for step in steps:
        try:
            done = _ip(*step)
        except (OSError, subprocess.SubprocessError) as error:
            raise DeviceError(f"The program ip, which sets {name}, does not run: {error}.") from error
        if done.returncode:
            said = done.stderr.strip().rstrip(".")
            raise DeviceError(
                f'"ip {" ".join(step)}" says "{said}".',
                hint="Setting a network interface needs root: run this command with sudo. "
                "Some adapters know neither this bit rate nor listen-only.",
            )


def missing_link(bus: str, name: str, present: Sequence[str]) -> DeviceError:
    """There is no such network interface."""
    there = ", ".join(f'"{other}"' for other in present)
    return DeviceError(
        f'Bus "{bus}": there is no network interface "{name}".{nearest(name, present)}',
        hint=(f"CAN interfaces there: {there}. " if present else "No CAN interface is there. ")
        + 'Plug the adapter in; "ip link" lists interfaces, and "busprobe adapters" says what else is there.',
    )


def _ip(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(["ip", *arguments], capture_output=True, text=True, timeout=PATIENCE_S, check=False)
