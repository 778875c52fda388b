"""What CAN allows: lengths and identifiers. Source: ISO 11898-1:2015."""

from __future__ import annotations

FD_LENGTHS = (0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64)
"""Payload length of a CAN FD frame by its DLC."""
MAX_CLASSIC = 8
"""Longest payload of a classic frame; it is that for the DLCs 9 to 15 too."""
MAX_STANDARD = 0x7FF
MAX_EXTENDED = 0x1FFF_FFFF


def payload_length(dlc: int, is_fd: bool) -> int:
    """Bytes that a DLC from 0 to 15 stands for."""
    return FD_LENGTHS[dlc] if is_fd else min(dlc, MAX_CLASSIC)
