"""What only the running program knows of its requests: told by the live run, and by its recording."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import replace
from functools import partial
from pathlib import Path

import can
import pytest
from test_asking import a_tester, a_vehicle
from test_replay_scene import loaded
from virtual_vehicle import BENCH, POLL, Vehicle

from busprobe.frames import StateBatch
from busprobe.health import OtherTester, RequestsNow, RequestsRow
from busprobe.report.live_text import LiveStatus
from busprobe.session import asking, live_bench
from busprobe.session.healths import EVERY_NS, HealthRows, RequestsKept
from busprobe.session.live_bench import LiveOptions, LiveOutcome, run_live
from busprobe.session.polling import start_polling
from busprobe.session.request_notes import request_notes
from busprobe.session.surveying import survey
from busprobe.session.verifying import load_plan, verify
from busprobe.sources import manners
from busprobe.timeline import FOREVER
from busprobe.tui.view.requests import request_lines
from busprobe.van.control_units import Conduct, ControlUnit

MS = 1_000_000
SIGNALS = '[signals]\nrpm = { from = "obd.0C" }\n'
ENGINE = ControlUnit(0x7E8, {0x0C: b"\x0c\x80"})
REFUSING = ControlUnit(0x7E9, conduct=Conduct(refuses={0x01: 0x22}))
"""Refuses service 01: 7F 01 22, conditions not correct (ISO 14229-1, from memory)."""
WAIT_S = 30.0


@contextmanager
def one_frame(channel: str) -> Iterator[None]:
    """The bus carries something once, and sleeps then but for those who ask."""
    with can.Bus(interface="virtual", channel=channel) as bus:
        bus.send(can.Message(arbitration_id=0x0F6, is_extended_id=False, data=bytes(8)))
        yield


PAUSES: dict[str, tuple[Callable[[str], AbstractContextManager[object]], str, int]] = {
    "asleep": (
        one_frame, 'The bus "body" is asleep: nothing is asked, so as not to keep it awake, until it wakes up.', 0,
    ),
    "another tester": (
        a_tester, 'Another tester asks on the bus "body": its answers are used, nothing is asked beside it.', 1,
    ),
    "none": (lambda channel: nullcontext(), "", 0),
}  # fmt: skip


@pytest.fixture(autouse=True)
def no_long_listening(monkeypatch: pytest.MonkeyPatch) -> None:
    """200 ms before the first request instead of 5 s, and before it is said that nobody asks; soon asleep."""
    monkeypatch.setattr(asking, "start_polling", partial(start_polling, listen_ns=200 * MS))
    monkeypatch.setattr(asking, "PATIENCE_NS", 200 * MS)
    monkeypatch.setattr(manners, "ASLEEP_NS", 300 * MS)
    monkeypatch.setattr(live_bench, "STATUS_S", 0.1)


def bench_file(folder: Path, poll: str = POLL) -> Path:
    path = folder / "van.toml"
    path.write_text(BENCH.format(channel=folder.name, listen_only="false", poll=poll) + SIGNALS)
    return path


def asked_for_a_while(
    bench: Path, recording: Path, pause: Callable[[str], AbstractContextManager[object]], reason: str
) -> LiveOutcome:
    """A run with leave that asks a few times and is then held back."""
    stop, held_back = threading.Event(), []
    end = time.monotonic() + WAIT_S
    with a_vehicle(bench.parent.name, ENGINE, REFUSING) as vehicle, pause_when(vehicle, pause, bench.parent.name):

        def show(status: LiveStatus) -> None:
            held_back.extend([status.unasked] if status.unasked == reason and len(vehicle.heard) > 3 else [])
            if len(held_back) > 2 or time.monotonic() > end:
                stop.set()

        options = LiveOptions(record=recording, allow_requests=True)
        return run_live(*load_plan(bench), options, show=show, stop=stop)


@contextmanager
def pause_when(
    vehicle: Vehicle, pause: Callable[[str], AbstractContextManager[object]], channel: str
) -> Iterator[None]:
    """What holds requests back, once some have been sent."""
    over = threading.Event()

    def wait() -> None:
        while len(vehicle.heard) < 4 and not over.wait(0.02):
            pass
        with pause(channel):
            over.wait(WAIT_S)

    thread = threading.Thread(target=wait)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()


@pytest.mark.parametrize(("pause", "reason", "testers"), PAUSES.values(), ids=list(PAUSES))
def test_the_report_of_the_run_and_that_of_its_recording_say_the_same_of_requests(
    pause: Callable[[str], AbstractContextManager[object]], reason: str, testers: int, tmp_path: Path
) -> None:
    bench, recording = bench_file(tmp_path), tmp_path / "asked.duckdb"
    outcome = asked_for_a_while(bench, recording, pause, reason)
    live = outcome.notes()
    own = live[0]
    assert own.startswith(f"{outcome.run.healths.requests()[0].sent} OBD requests sent on body: every 200 ms")
    assert " refused" in own
    assert (reason in live) == bool(reason)
    assert len([note for note in live if note.startswith("body, another tester: It asks as 7DF: ")]) == testers
    assert list(verify(recording, bench).notes) == live
    surveyed = survey(recording, bench).notes
    assert [note for note in surveyed if note in live] == live

    (found,) = outcome.run.healths.requests()
    found = replace(found, per_second=0.0, is_other_asking=False)  # what time alone changes
    with loaded(recording, bench) as scene:
        scene.player.seek(FOREVER)
        (kept,) = scene.snapshot().requests
        shown = ["".join(span.text for span in line) for line in request_lines(scene.snapshot())]
        scene.player.seek(scene.snapshot().start_ns)
        (first,) = scene.snapshot().requests
    assert replace(kept, per_second=0.0, is_other_asking=False) == found
    assert f", ! {found.refused} refused" in shown[0]
    assert (f" body, requests paused: {reason}" in shown) == bool(reason)
    assert first.sent < found.sent
    assert first.other is None


def test_a_replay_says_too_that_nobody_asked(tmp_path: Path) -> None:
    bench, recording = bench_file(tmp_path), tmp_path / "unasked.duckdb"
    with a_vehicle(tmp_path.name, ENGINE, REFUSING):
        run_live(*load_plan(bench), LiveOptions(record=recording, for_ns=500 * MS))
    with loaded(recording, bench) as scene:
        scene.player.seek(FOREVER)
        picture = scene.snapshot()
    assert picture.requests == ()
    assert [text.split(";")[0] for text in picture.problems if "nobody asks" in text] == [
        'The bench file polls OBD data on "body" (0C, 42), but nobody asks for it there'
    ]


TESTER = OtherTester((0x7DF,), 5, 10, 90, 2.0, ("01 0C",), 1)


def test_a_recording_begun_in_mid_run_tells_of_its_own_time() -> None:
    now = [RequestsNow("body", True, 10, other=TESTER), RequestsNow("chassis", other=TESTER)]
    rows = HealthRows({}, lambda: now)
    assert [(one.sent, one.other) for one in rows.requests()] == [(0, None), (0, None)]
    now = [
        RequestsNow("body", True, 17, 2.0, unanswered=1, refused=3, other=replace(TESTER, requests=9, last_ns=95)),
        RequestsNow("chassis", other=TESTER),
    ]
    heard_since = replace(TESTER, requests=4, last_ns=95, stray_answers=0)
    assert rows.requests() == (
        RequestsNow("body", True, 7, 2.0, unanswered=1, refused=3, other=heard_since),
        RequestsNow("chassis"),
    )


class _Kept:
    """A recorder that keeps the rows of requests."""

    def __init__(self) -> None:
        self.rows: list[RequestsRow] = []

    def put(self, batch: StateBatch) -> None:
        self.rows += batch.requests


def test_every_second_at_most_and_only_news_and_at_the_end_all_there_is() -> None:
    sent, kept = [0], _Kept()
    rows = HealthRows({}, lambda: [RequestsNow("body", True, sent[0])] if sent[0] else [])
    for t_ns, count, is_end in (
        (0, 0, False), (EVERY_NS, 1, False), (EVERY_NS + 1, 2, False), (2 * EVERY_NS, 3, False),
        (3 * EVERY_NS, 3, False), (3 * EVERY_NS + 1, 4, True), (3 * EVERY_NS + 2, 4, True),
    ):  # fmt: skip
        sent[0] = count
        rows.tell(kept, t_ns, is_end=is_end)  # type: ignore[arg-type]
    assert [(row.t_ns, row.requests.sent) for row in kept.rows] == [
        (EVERY_NS, 1), (2 * EVERY_NS, 3), (3 * EVERY_NS + 1, 4),
    ]  # fmt: skip
    told = RequestsKept()
    told.add(kept.rows)
    assert [[one.sent for one in told.at(t_ns)] for t_ns in (0, EVERY_NS, 3 * EVERY_NS, FOREVER)] == [[], [1], [3], [4]]


@pytest.mark.parametrize(
    ("found", "notes"),
    [
        (
            RequestsNow("body", True, 12, every_ns=500 * MS, period_ns=501 * MS, unanswered=1, refused=2, incomplete=3),
            [("12 OBD requests sent on body: every 500 ms, 501 ms achieved, 1 unanswered, 2 refused, 3 with an "
              "answer that broke off.")],
        ),
        (RequestsNow("body", True, paused="It sleeps.", not_taken=1),
         ["No OBD request was sent. The adapter did not take 1 OBD request. It sleeps."]),
        (RequestsNow("body", other=TESTER),
         ["body, another tester: It asks as 7DF: 5 requests, 2 a second, for 01 0C."]),
        (RequestsNow("body", unasked="Nobody asks."), []),
    ],
    ids=["asked", "held back", "by others", "by nobody"],
)  # fmt: skip
def test_sentences_of_the_report(found: RequestsNow, notes: list[str]) -> None:
    assert request_notes([found]) == notes
