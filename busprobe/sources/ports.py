"""Ports of the simulated van: its input boxes have no device file, only a name such as "van-box"."""

from __future__ import annotations

import tempfile
from pathlib import Path

VAN_PREFIX = "van-"


def van_port(name: str) -> Path:
    """Where the simulated van puts a link to the port `name`: in the folder for temporary files."""
    return Path(tempfile.gettempdir()) / f"busprobe-{name}"


def device_path(port: str) -> str:
    """What to open for the `port` of a bench file: itself, or the van's link for a name such as "van-box"."""
    return str(van_port(port)) if port.startswith(VAN_PREFIX) else port
