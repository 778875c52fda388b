"""The whole program stands still while frames come: no time is wrong for it, and no check passes."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import can
import pytest

from busprobe.session.gaps import HELD_UP
from tests.sources.live_reading import GROUP, free_port

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="the kernel stamps datagrams on Linux")

BENCH = """
[vehicle]
name = "a van"
[[bus]]
name = "body"
interface = "udp_multicast"
channel = "{group}"
port = {port}
databases = ["lamps.dbc"]
[signals]
gear = {{ from = "body.Gear.Reverse", max_age = "3 s" }}
lamp = {{ from = "body.Lamp.Lit", max_age = "3 s" }}
[[check]]
name = "Lamp after gear"
when = "gear == 1"
expect = "lamp == 1"
within = "300 ms"
"""
LAMPS = """VERSION ""
NS_ :
BS_:
BU_: X
BO_ 291 Gear: 8 X
 SG_ Reverse : 0|1@1+ (1,0) [0|1] "" X
BO_ 292 Lamp: 8 X
 SG_ Lit : 0|1@1+ (1,0) [0|1] "" X
"""
BEFORE_S, LATER_S, AFTER_S = 0.3, 1.3, 0.5


@pytest.mark.parametrize("kind", ["kernel", "reader"], ids=["stamped by the kernel", "stamped as it is read"])
def test_a_lamp_that_is_late_while_the_program_stands_still(tmp_path: Path, kind: str) -> None:
    """The lamp comes 1.3 s after the gear, both while the program is stopped: read at once, they look simultaneous."""
    port = free_port()
    (tmp_path / "van.toml").write_text(BENCH.format(group=GROUP, port=port))
    (tmp_path / "lamps.dbc").write_text(LAMPS)
    command = [sys.executable, str(Path(__file__).with_name("held_up.py")), str(tmp_path / "van.toml"), kind]
    with (
        subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as run,
        can.Bus(interface="udp_multicast", channel=GROUP, port=port, hop_limit=0) as other,
    ):
        assert run.stdin is not None
        assert run.stdout is not None
        assert run.stdout.readline() == "ready\n"

        def drive(for_s: float, gear: int, lamp: int) -> None:
            end, times = time.monotonic() + for_s, 0
            while time.monotonic() < end or times < 80 * for_s:  # who drives may be held up too
                times += 1
                for identifier, level in ((291, gear), (292, lamp)):
                    other.send(can.Message(arbitration_id=identifier, data=[level] + [0] * 7, is_extended_id=False))
                time.sleep(0.01)

        drive(BEFORE_S, 0, 0)
        os.kill(run.pid, signal.SIGSTOP)
        try:
            drive(0.1, 0, 0)
            drive(LATER_S, 1, 0)
            drive(0.1, 1, 1)
        finally:
            os.kill(run.pid, signal.SIGCONT)
        drive(AFTER_S, 1, 1)
        run.stdin.write("\n")
        run.stdin.flush()
        found = json.loads(run.stdout.readline())
    assert found["frames"] > 200
    assert "passed" not in found["outcomes"]
    if kind == "reader":
        assert ["down", HELD_UP] in found["states"]
    elif not found["states"]:  # else the machine held its reader up besides, and said so
        assert found["outcomes"] == ["failed"]
