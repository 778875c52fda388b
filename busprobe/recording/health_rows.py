"""How sources were doing, as rows of the table `states`.

`condition` is "health", `note` a JSON object; counts are those from the start of the recording on:

    {"errors": 12, "lost": 0, "uncertainty_ns": 2100000, "period_ns": 10000000, "state": "", "listening": "",
     "faults": [{"kind": "time-out", "count": 12, "last": "It does not answer within 45 ms.", "hint": "..."}]}

A source gets a row when something of this has changed, every second at most, and one at the end.
"""

from __future__ import annotations

import json
from dataclasses import asdict

from busprobe.health import Faults, Health, HealthRow

HEALTH = "health"
"""Condition of these rows."""


def health_note(health: Health) -> str:
    """The text that keeps it; how many records there were is counted from the recording itself."""
    text = asdict(health)
    del text["records"]
    return json.dumps(text, ensure_ascii=False)


def health_row(t_ns: int, source: str, note: str) -> HealthRow | None:
    """A row read back; None where it is none of ours."""
    try:
        text = json.loads(note)
        health = Health(
            errors=int(text["errors"]),
            lost=int(text["lost"]),
            uncertainty_ns=int(text["uncertainty_ns"]),
            period_ns=None if text["period_ns"] is None else int(text["period_ns"]),
            state=str(text["state"]),
            listening=str(text["listening"]),
            faults=tuple(
                Faults(str(one["kind"]), int(one["count"]), str(one["last"]), str(one["hint"]))
                for one in text["faults"]
            ),
        )
    except (ValueError, KeyError, TypeError):
        return None
    return HealthRow(t_ns, source, health)
