"""How exactly a box's polls are stamped: stated before it is opened, recorded, and shown in a replay."""

from __future__ import annotations

from pathlib import Path

import pytest

from busprobe.bench.load import loads
from busprobe.session.live_bench import live_sources, stated_uncertainty
from busprobe.session.replay_scene import ReplayScene
from busprobe.session.scenes import open_scene

MS = 1_000_000
RECORDINGS = Path(__file__).parents[2] / "recordings"
HEAD = '[vehicle]\nname = "t"\n[[inputs]]\nname = "box"\nport = "/dev/null"\n'
LINE = '[[inputs.line]]\nname = "a"\nnumber = 0\n'


@pytest.mark.parametrize(
    ("box", "least_ms", "most_ms"),
    [
        # Half of the 24 ms that eight inputs take at 9600 baud, and of the 5 ms at 115200, box time apart.
        ('driver = "modbus"\nperiod = "100 ms"\nbaudrate = 9600\n', 7, 12.5),
        ('driver = "modbus"\nperiod = "100 ms"\nbaudrate = 115200\n', 0.5, 3),
        # The line of text at 115200 baud and 1 ms of drift.
        ('driver = "text-lines"\nperiod = "10 ms"\n', 1, 6),
        ('driver = "modem-lines"\nperiod = "20 ms"\nlatency = "16 ms"\n', 16, 16),
    ],
    ids=["modbus 9600", "modbus 115200", "text-lines", "modem-lines"],
)
def test_stated_before_it_is_opened(box: str, least_ms: float, most_ms: float) -> None:
    bench = loads(HEAD + box + LINE)
    stated = stated_uncertainty(bench, live_sources(bench))
    assert least_ms * MS <= stated["box"] <= most_ms * MS


def test_replay_shows_what_was_recorded() -> None:
    """The period is the one achieved, up to the instant; the uncertainty the one stated when it was recorded."""
    scene = open_scene(RECORDINGS / "handover.duckdb")
    assert isinstance(scene, ReplayScene)
    scene._thread.join(60)
    try:
        start = scene.snapshot().start_ns
        periods = []
        for seconds in (0, 100, 300):
            scene.player.seek(start + seconds * 1_000_000_000)
            box = next(s for s in scene.snapshot().sources if s.name == "box")
            assert box.uncertainty_ns == scene._uncertainty_of("box")
            periods.append(box.period_ns)
        assert periods[1:] == [pytest.approx(10 * MS, rel=0.02)] * 2
    finally:
        scene.close()
