"""How sources were doing and who asked for OBD data, as rows of the table `states`.

`condition` is "health", `note` a JSON object; counts are those from the start of the recording on:

    {"errors": 12, "lost": 0, "uncertainty_ns": 2100000, "period_ns": 10000000, "state": "", "listening": "",
     "faults": [{"kind": "time-out", "count": 12, "last": "It does not answer within 45 ms.", "hint": "..."}]}

A source gets a row when something of this has changed, every second at most, and one at the end.

So does a bus on which somebody asks, or nobody asks for what the bench file polls. `condition` is then
"requests"; "other" is null where no other tester was heard:

    {"is_polled": true, "sent": 40, "per_second": 2.0, "every_ns": 500000000, "period_ns": 500100000,
     "unanswered": 1, "refused": 2, "incomplete": 0, "not_taken": 0, "paused": "", "unasked": "",
     "is_other_asking": false, "other": {"identifiers": [2015], "requests": 12, "first_ns": 1, "last_ns": 2,
     "per_second": 2.0, "asked": ["01 0C"], "stray_answers": 0}}
"""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from busprobe.health import Faults, Health, HealthRow, OtherTester, RequestsNow, RequestsRow

HEALTH = "health"
REQUESTS = "requests"
"""Conditions of these rows."""


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


def requests_note(requests: RequestsNow) -> str:
    """The text that keeps it; the bus is the source of the row."""
    text = asdict(requests)
    del text["bus"]
    return json.dumps(text, ensure_ascii=False)


def requests_row(t_ns: int, bus: str, note: str) -> RequestsRow | None:
    """A row read back; None where it is none of ours."""
    try:
        text = json.loads(note)
        other = text["other"]
        requests = RequestsNow(
            bus,
            bool(text["is_polled"]),
            int(text["sent"]),
            float(text["per_second"]),
            _whole(text["every_ns"]),
            _whole(text["period_ns"]),
            int(text["unanswered"]),
            int(text["refused"]),
            int(text["incomplete"]),
            str(text["paused"]),
            None if other is None else _tester(other),
            bool(text["is_other_asking"]),
            int(text["not_taken"]),
            str(text["unasked"]),
        )
    except (ValueError, KeyError, TypeError):
        return None
    return RequestsRow(t_ns, requests)


def _tester(text: dict[str, Any]) -> OtherTester:
    per_second = text["per_second"]
    return OtherTester(
        tuple(int(one) for one in text["identifiers"]),
        int(text["requests"]),
        int(text["first_ns"]),
        int(text["last_ns"]),
        None if per_second is None else float(per_second),
        tuple(str(one) for one in text["asked"]),
        int(text["stray_answers"]),
    )


def _whole(number: object) -> int | None:
    return None if number is None else int(str(number))
