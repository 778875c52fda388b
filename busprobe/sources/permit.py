"""Leave to send on one bus: nothing is sent without it, and it is given only for OBD requests.

bench file: listen_only = false    and    command line: --allow-requests    ->    SendPermit
"""

from __future__ import annotations

from dataclasses import dataclass

from busprobe.bench.model import Bus
from busprobe.errors import DeviceError

OBD_REQUESTS = "standard OBD requests"


@dataclass(frozen=True)
class SendPermit:
    """Whoever holds it may send on the bus `bus`."""

    bus: str
    reason: str
    """What may be sent, for the user."""


def permit_requests(bus: Bus, allow_requests: bool) -> SendPermit:
    """Leave to send OBD requests on `bus`.

    Raises DeviceError where the bench file or the command line does not want it.
    """
    if bus.listen_only:
        raise DeviceError(
            f'The bus "{bus.name}" is listen-only: nothing is ever sent on it.',
            path=bus.origin.path,
            line=bus.origin.line,
            hint='To ask for OBD data there, write "listen_only = false" in this [[bus]] and give --allow-requests.',
        )
    if not allow_requests:
        raise DeviceError(
            f'Nothing is asked on the bus "{bus.name}" without --allow-requests.',
            hint="With it, busprobe sends standard OBD requests there (services 01, 03, 07, 09 and 0A), "
            "at most 10 a second.",
        )
    return SendPermit(bus.name, OBD_REQUESTS)
