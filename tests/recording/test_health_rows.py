"""How sources were doing, as rows of a recording."""

import json
from pathlib import Path

import duckdb
import pytest

from busprobe.frames import Condition, SourceState, StateBatch
from busprobe.health import Faults, Health, HealthRow, OtherTester, RequestsNow, RequestsRow
from busprobe.recording.health_rows import health_note, health_row, requests_note, requests_row
from busprobe.recording.read import open_recording
from busprobe.recording.write import RecordingWriter

T0 = 1_764_000_000_000_000_000
AILING = Health(0, 3, 1, 2_000_000, 10_000_000, "silent", "", (Faults("time-out", 3, "It said “nothing”.", "Wait."),))
LISTENING = Health(listening="no wire: nothing to acknowledge", state="active")


def test_they_come_back_between_the_states_in_order_of_time(tmp_path: Path) -> None:
    path = tmp_path / "health.duckdb"
    rows = (HealthRow(T0 + 1, "body", LISTENING), HealthRow(T0 + 3, "box", AILING))
    down = SourceState(T0 + 2, "box", Condition.DOWN, "pulled out")
    with RecordingWriter(path, about={}, bench={}) as writer:
        writer.add(StateBatch((), None, rows[:1]))
        writer.add(StateBatch((down,)))
        writer.add(StateBatch((), T0 + 4, rows[1:]))
    for size in (1, 2, 1000):
        with open_recording(path) as kept:
            batches = [batch for batch in kept.batches(size) if isinstance(batch, StateBatch)]
        assert tuple(row for batch in batches for row in batch.healths) == rows
        assert tuple(row for batch in batches for row in batch.rows) == (down,)
        assert batches[-1].complete_to_ns == T0 + 4


def test_any_client_can_read_them(tmp_path: Path) -> None:
    """The keys that `health_rows` promises."""
    path = tmp_path / "health.duckdb"
    with RecordingWriter(path, about={}, bench={}) as writer:
        writer.add(StateBatch((), T0, (HealthRow(T0, "box", AILING),)))
    with duckdb.connect(str(path), read_only=True) as con:
        ((t_ns, source, note),) = con.execute(
            "SELECT t_ns, source, note FROM states WHERE condition = 'health'"
        ).fetchall()
    assert (t_ns, source) == (T0, "box")
    assert json.loads(note) == {
        "errors": 3, "lost": 1, "uncertainty_ns": 2_000_000, "period_ns": 10_000_000, "state": "silent",
        "listening": "",
        "faults": [{"kind": "time-out", "count": 3, "last": "It said “nothing”.", "hint": "Wait."}],
    }  # fmt: skip


@pytest.mark.parametrize("note", ["", "3", "[]", '{"errors": 1}', health_note(AILING).replace('"count": 3, ', "")])
def test_what_cannot_be_read_is_passed_over(note: str) -> None:
    assert health_row(T0, "box", note) is None


TESTER = OtherTester((0x7DF, 0x18DB33F1), 12, T0, T0 + 5, None, ("01 0C", "03"), 2)
ASKED = RequestsNow(
    "body", True, 40, 1.5, 500_000_000, 500_100_000, 1, 2, 3, "It “sleeps”.", TESTER, True, 4, "Nobody asks."
)


def test_what_was_asked_comes_back(tmp_path: Path) -> None:
    path = tmp_path / "asked.duckdb"
    rows = (RequestsRow(T0 + 1, RequestsNow("body")), RequestsRow(T0 + 2, ASKED))
    health = HealthRow(T0 + 1, "body", LISTENING)
    with RecordingWriter(path, about={}, bench={}) as writer:
        writer.add(StateBatch((), None, (health,), rows[:1]))
        writer.add(StateBatch((), T0 + 4, (), rows[1:]))
    for size in (1, 2, 1000):
        with open_recording(path) as kept:
            batches = [batch for batch in kept.batches(size) if isinstance(batch, StateBatch)]
        assert tuple(row for batch in batches for row in batch.requests) == rows
        assert tuple(row for batch in batches for row in batch.healths) == (health,)


def test_any_client_can_read_what_was_asked(tmp_path: Path) -> None:
    """The keys that `health_rows` promises."""
    assert json.loads(requests_note(ASKED)) == {
        "is_polled": True, "sent": 40, "per_second": 1.5, "every_ns": 500_000_000, "period_ns": 500_100_000,
        "unanswered": 1, "refused": 2, "incomplete": 3, "paused": "It “sleeps”.", "is_other_asking": True,
        "not_taken": 4, "unasked": "Nobody asks.",
        "other": {
            "identifiers": [0x7DF, 0x18DB33F1], "requests": 12, "first_ns": T0, "last_ns": T0 + 5,
            "per_second": None, "asked": ["01 0C", "03"], "stray_answers": 2,
        },
    }  # fmt: skip


@pytest.mark.parametrize("note", ["", "3", "[]", '{"sent": 1}', requests_note(ASKED).replace('"asked"', '"was_asked"')])
def test_what_was_asked_and_cannot_be_read_is_passed_over(note: str) -> None:
    assert requests_row(T0, "body", note) is None
