"""OBD requests on the dashboard: asked as `record` and `verify live` do with leave, else only listened to."""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

import can
import pytest
from virtual_vehicle import POLL, Vehicle, polling_bench

from busprobe.engine.plan import build
from busprobe.errors import DeviceError
from busprobe.health import RequestsNow
from busprobe.report.live_text import LiveStatus, status_line
from busprobe.session import asking
from busprobe.session.live_bench import LiveOptions, run_live
from busprobe.session.live_scene import LiveScene
from busprobe.session.polling import start_polling
from busprobe.tui.view.health import problem_rows
from busprobe.tui.view.requests import request_lines
from busprobe.van.control_units import ControlUnit

SIGNALS = """
[signals]
module_volts = { from = "obd.42", unit = "V" }
rpm = { from = "obd.0C" }
"""
WAIT_S = 30.0
UNITS = {0x0C: b"\x0c\x80", 0x42: b"\x31\x9c"}
"""800 rpm and 12.7 V by the scalings of SAE J1979 / ISO 15031-5 (0C: /4, 42: /1000); values from memory."""


@pytest.fixture(autouse=True)
def no_long_listening(monkeypatch: pytest.MonkeyPatch) -> None:
    """200 ms instead of 5 s before the first request, and before it is said that nobody asks."""
    monkeypatch.setattr(asking, "start_polling", partial(start_polling, listen_ns=200_000_000))
    monkeypatch.setattr(asking, "PATIENCE_NS", 200_000_000)


@contextmanager
def watching(channel: str, *, poll: str = POLL, listen_only: str = "false", allow: bool) -> Iterator[LiveScene]:
    bench = polling_bench(channel, poll, listen_only, SIGNALS)
    scene = LiveScene(build(bench, {}), {}, allow_requests=allow)
    try:
        yield scene
    finally:
        scene.close()


@contextmanager
def a_vehicle(channel: str, *units: ControlUnit) -> Iterator[Vehicle]:
    """units: its control units; none: the engine's."""
    vehicle = Vehicle(channel, *(units or (ControlUnit(0x7E8, UNITS),)))
    vehicle.start()
    try:
        yield vehicle
    finally:
        vehicle.stop()


@contextmanager
def a_tester(channel: str) -> Iterator[list[float]]:
    """Asks for the speed ten times a second, on the functional identifier of ISO 15765-4; gives when it asked."""
    over, asked = threading.Event(), list[float]()

    def ask() -> None:
        with can.Bus(interface="virtual", channel=channel) as bus:
            while not over.wait(0.1):
                asked.append(time.monotonic())
                bus.send(
                    can.Message(arbitration_id=0x7DF, is_extended_id=False, data=bytes.fromhex("02010D0000000000"))
                )

    thread = threading.Thread(target=ask)
    thread.start()
    try:
        yield asked
    finally:
        over.set()
        thread.join()


def until(condition: Callable[[], bool]) -> None:
    end = time.monotonic() + WAIT_S
    while not condition():
        assert time.monotonic() < end, "it does not come"
        time.sleep(0.01)


def value(scene: LiveScene, name: str) -> float | None:
    found = scene.snapshot().signal(name)
    assert found is not None
    return found.value


def the_requests(scene: LiveScene) -> RequestsNow:
    (one,) = scene.snapshot().requests
    return one


def lines(scene: LiveScene) -> list[str]:
    return ["".join(span.text for span in line) for line in request_lines(scene.snapshot())]


def problems(scene: LiveScene) -> str:
    return "\n".join(row.copy for row in problem_rows(scene.snapshot(), "", 100))


def test_with_leave_the_polled_values_come(tmp_path: Path) -> None:
    with a_vehicle(tmp_path.name) as vehicle, watching(tmp_path.name, allow=True) as scene:
        until(lambda: value(scene, "module_volts") == 12.7 and value(scene, "rpm") == 800.0)
        until(lambda: bool(scene.snapshot().requests) and the_requests(scene).sent >= 10)
        found = the_requests(scene)
        assert (found.bus, found.is_polled, found.every_ns, found.other) == ("body", True, 200_000_000, None)
        assert found.paused == ""
        assert 0 < found.per_second <= 10  # the most that is ever sent; both PIDs share one request
        assert lines(scene)[0].startswith(f" body, OBD: {found.sent} requests sent")
        assert "polled every 200 ms" in lines(scene)[0]
        assert scene.snapshot().problems == ()
    heard = len(vehicle.heard)
    assert heard > 0
    assert {(identifier, data[:4]) for identifier, data in vehicle.heard} == {(0x7DF, b"\x03\x01\x0c\x42")}


def test_it_asks_no_more_once_it_is_closed(tmp_path: Path) -> None:
    with a_vehicle(tmp_path.name) as vehicle:
        with watching(tmp_path.name, allow=True):
            until(lambda: len(vehicle.heard) > 1)
        time.sleep(0.5)  # the vehicle may not have read yet what was sent before
        until(vehicle.has_read)
        heard = len(vehicle.heard)
        time.sleep(0.5)
        until(vehicle.has_read)
        assert len(vehicle.heard) == heard


def test_without_leave_nothing_is_sent_and_it_is_said_that_nobody_asks(tmp_path: Path) -> None:
    with a_vehicle(tmp_path.name) as vehicle, watching(tmp_path.name, allow=False) as scene:
        until(lambda: bool(scene.snapshot().problems))
        told = (
            'The bench file polls OBD data on "body" (0C, 42), but nobody asks for it there; unknown until then: '
            "module_volts, rpm. busprobe asks when it is opened with --allow-requests; the answers to another "
            "tester count too."
        )
        assert scene.snapshot().problems == (told,)
        assert told in problems(scene)
        assert value(scene, "module_volts") is None
        assert scene.snapshot().requests == ()
        assert vehicle.heard == []


def test_where_another_tester_asks_for_them_nobody_is_missed(tmp_path: Path) -> None:
    """The sentence goes with the answers: here 0C and 42 come to another tester's requests."""
    with watching(tmp_path.name, allow=False) as scene, can.Bus(interface="virtual", channel=tmp_path.name) as bus:
        until(lambda: bool(scene.snapshot().problems))
        for data in ("0201420000000000", "044142319C000000"):
            identifier = 0x7DF if data.startswith("02") else 0x7E8
            bus.send(can.Message(arbitration_id=identifier, is_extended_id=False, data=bytes.fromhex(data)))
        until(lambda: all("(0C)" in text for text in scene.snapshot().problems))
        bus.send(can.Message(arbitration_id=0x7E8, is_extended_id=False, data=bytes.fromhex("04410C0C80000000")))
        until(lambda: scene.snapshot().problems == ())


def test_without_poll_nobody_is_missed(tmp_path: Path) -> None:
    with watching(tmp_path.name, poll="", allow=True) as scene:
        time.sleep(1.0)
        assert (scene.snapshot().problems, scene.snapshot().requests) == ((), ())


def test_on_a_listen_only_bus_leave_is_refused(tmp_path: Path) -> None:
    with (
        pytest.raises(DeviceError, match='The bus "body" is listen-only'),
        watching(tmp_path.name, listen_only="true", allow=True),
    ):
        pass
    with watching(tmp_path.name, listen_only="true", allow=False) as scene:
        until(lambda: bool(scene.snapshot().problems))
        assert '"listen_only = false"' in scene.snapshot().problems[0]


@pytest.mark.parametrize("allow", [True, False])
def test_another_tester_is_shown_and_nothing_is_asked_beside_it(allow: bool, tmp_path: Path) -> None:
    with a_tester(tmp_path.name) as asked, watching(tmp_path.name, allow=allow) as scene:
        until(lambda: any(one.other is not None and one.other.requests > 20 for one in scene.snapshot().requests))
        found = the_requests(scene)
        assert (found.is_polled, found.sent, found.is_other_asking) == (allow, 0, True)
        assert found.other is not None
        assert found.other.asked == ("01 0D",)
        newest = asked[-found.other.requests :]
        assert found.other.per_second == pytest.approx((len(newest) - 1) / (newest[-1] - newest[0]), rel=0.5)
        assert found.paused == (
            'Another tester asks on the bus "body": its answers are used, nothing is asked beside it.' if allow else ""
        )
        shown = "\n".join(lines(scene))
        assert " body, another tester: It asks as 7DF: " in shown
        assert "for 01 0D." in shown
        assert ("requests paused: Another tester asks" in shown) is allow


@pytest.mark.parametrize("allow", [True, False])
def test_a_run_says_who_else_asks_while_it_goes_on_and_at_its_end(allow: bool, tmp_path: Path) -> None:
    bench, shown, stop = polling_bench(tmp_path.name), list[LiveStatus](), threading.Event()

    def show(status: LiveStatus) -> None:
        shown.append(status)
        if len([one for one in shown if one.testers]) > 2 or len(shown) > 2 * WAIT_S:
            stop.set()

    with a_tester(tmp_path.name):
        outcome = run_live(build(bench, {}), {}, LiveOptions(allow_requests=allow), show=show, stop=stop)
    assert re.search(r"\| tester on body [0-9.]+/s: 01 0D( \||$)", status_line(shown[-1]))
    assert status_line(shown[-1]).endswith("nothing is asked beside it.") is allow
    note = next(note for note in outcome.notes() if "another tester" in note)
    assert re.fullmatch(r"body, another tester: It asks as 7DF: [0-9]+ requests, [0-9.]+ a second, for 01 0D\.", note)
    held_back = [note for note in outcome.notes() if note.startswith("No OBD request was sent. Another tester asks")]
    assert len(held_back) == allow


def test_a_run_in_which_nobody_asks_says_nothing_of_testers(tmp_path: Path) -> None:
    bench, shown = polling_bench(tmp_path.name), list[LiveStatus]()
    outcome = run_live(build(bench, {}), {}, LiveOptions(for_ns=700_000_000), show=shown.append)
    assert [status.testers for status in shown] == [()] * len(shown)
    assert [note for note in outcome.notes() if "tester" in note] == []
