"""Signals that are gone though their bus lives, and buses that carry nothing of what their databases describe."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from hushed import TRANSMISSION, driving
from scripted import BENCH, van_batches
from test_live_scene import until

from busprobe.recording.write import RecordingWriter
from busprobe.session import live
from busprobe.session.attention import attention
from busprobe.session.replay_scene import ReplayScene
from busprobe.session.scenes import open_scene
from busprobe.session.snapshot import Snapshot
from busprobe.session.vanished import STRANGE_NS, vanished
from busprobe.timeline import ASLEEP, TRUE, UNKNOWN

S = 1_000_000_000
FIRST, LAST = 20 * S, 47 * S
"""TransmissionStatus is lost from the one to the other."""
NAMES = {p.name: p.read_text(encoding="utf-8") for p in (BENCH, BENCH.with_suffix(".dbc"))}


@pytest.fixture(autouse=True)
def patient(monkeypatch: pytest.MonkeyPatch) -> None:
    """A reader that a busy machine holds up is not what these are about."""
    monkeypatch.setattr(live, "SILENT_S", 5.0)


def told(picture: Snapshot) -> list[str]:
    return [one.what for one in attention(picture)]


def code(picture: Snapshot, name: str) -> int:
    found = picture.signal(name)
    assert found is not None
    return found.code


def about(picture: Snapshot, name: str) -> list[str]:
    return [text for text in told(picture) if re.match(rf"(.*, )?{name}(, .*)?: unknown ", text)]


def test_live_a_message_that_no_longer_comes() -> None:
    with driving() as (scene, bus):
        until(lambda: code(scene.snapshot(), "gear") == TRUE and len(scene.snapshot().sources) == 2)
        assert about(scene.snapshot(), "gear") == []
        bus.gone = (TRANSMISSION,)
        until(lambda: code(scene.snapshot(), "gear") == UNKNOWN)
        until(lambda: bool(about(scene.snapshot(), "gear")))  # "too old" until logic can tell that it is lost
        (text,) = about(scene.snapshot(), "gear")
        assert re.fullmatch(
            r'gear: unknown since \d+\.\d{3} s, because message "TransmissionStatus" no longer comes, '
            r"though its bus lives\. Look at .*supply.*",
            text,
        )
        bus.gone = ()
        until(lambda: code(scene.snapshot(), "gear") == TRUE)
        assert about(scene.snapshot(), "gear") == []


def test_live_a_bus_that_falls_asleep_is_no_loss() -> None:
    with driving() as (scene, bus):
        until(lambda: code(scene.snapshot(), "gear") == TRUE and len(scene.snapshot().sources) == 2)
        bus.is_silent = True
        pictures = [scene.snapshot()]
        while code(pictures[-1], "gear") != ASLEEP:
            pictures.append(scene.snapshot())
        assert [about(picture, "gear") for picture in pictures] == [[]] * len(pictures)


@pytest.fixture(scope="module")
def lost(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A minute of the van, TransmissionStatus missing for 27 s of them."""
    path = tmp_path_factory.mktemp("lost") / "lost.duckdb"
    write(path, first_ns=FIRST, last_ns=LAST)
    return path


def write(path: Path, *, first_ns: int, last_ns: int, seconds: int = 60) -> None:
    frames, polls = van_batches(1, seconds)
    start_ns = int(polls[0].t_ns[0])
    with RecordingWriter(path, about={"vehicle": "Van"}, bench=NAMES) as writer:
        for bus, box in zip(frames, polls, strict=True):
            is_out = (bus.t_ns >= start_ns + first_ns) & (bus.t_ns < start_ns + last_ns)
            keep = ~(is_out & (bus.identifier == TRANSMISSION))
            writer.add(bus.take(keep))
            writer.add(box)


@contextmanager
def loaded(path: Path, bench: Path | None = None) -> Iterator[ReplayScene]:
    with closing(open_scene(path, bench)) as scene:
        assert isinstance(scene, ReplayScene)
        scene._thread.join(60)
        yield scene


@pytest.mark.parametrize(("at_s", "is_told"), [(8.0, False), (19.0, False), (22.0, True), (46.5, True), (48.0, False)])
def test_replayed_it_is_told_at_the_play_position(at_s: float, *, is_told: bool, lost: Path) -> None:
    with loaded(lost) as scene:
        scene.player.seek(scene.snapshot().start_ns + round(at_s * S))
        told = about(scene.snapshot(), "gear")
        assert bool(told) == is_told
        if is_told:
            # Its end is known too; the cycle of TransmissionStatus is 100 ms, it is unknown after three.
            found = re.match(r"gear: unknown from 20\.\d{3} s to 4[67]\.\d{3} s \(26\.\d+ s\), because", told[0])
            assert found is not None, told


ENDS = [
    ([(20.0, 30.0), (20.1, 30.5)], "from 20.000 s to 30.500 s (10.5 s)"),
    ([(20.0, 30.0), (20.1, 95.0)], "from 20.000 s, known again between 30.000 s and 95.000 s"),
    ([(20.0, 30.0), (20.1, None)], "since 20.000 s"),
    ([(None, 30.0)], "from the start to 30.000 s"),
    ([(None, None)], "from the start"),
]


@pytest.mark.parametrize(("times", "told"), ENDS)
def test_how_long_signals_are_unknown(times: list[tuple[float | None, float | None]], told: str, lost: Path) -> None:
    def ns(at_s: float | None) -> int | None:
        return None if at_s is None else picture.start_ns + round(at_s * S)

    with loaded(lost) as scene:
        scene.player.seek(scene.snapshot().start_ns + 22 * S)
        picture = scene.snapshot()
        gear = picture.signal("gear")
        assert gear is not None
        signals = tuple(
            dataclasses.replace(gear, name=f"gear{i}", since_ns=ns(since), until_ns=ns(until))
            for i, (since, until) in enumerate(times)
        )
        (gone,) = vanished(dataclasses.replace(picture, signals=signals))
    names = ", ".join(signal.name for signal in signals)
    assert gone.what.startswith(f"{names}: unknown {told}, because ")


def test_a_box_that_is_down_names_its_signals() -> None:
    with driving() as (scene, _):
        until(lambda: code(scene.snapshot(), "battery") == TRUE and len(scene.snapshot().sources) == 2)
        box = scene._run.sources[1]
        box.is_in.clear()  # type: ignore[attr-defined]
        until(lambda: code(scene.snapshot(), "battery") == UNKNOWN)
        (text,) = about(scene.snapshot(), "battery")
        assert ", rear_door, " in text
        assert re.search(r": unknown since \d+\.\d{3} s, because the box is down\. Look at its supply", text)


def described(folder: Path) -> tuple[Path, int]:
    """The van's bench file with a database of identifiers that no vehicle here sends; how many messages it has."""
    bench = folder / BENCH.name
    bench.write_text(NAMES[BENCH.name], encoding="utf-8")
    text = NAMES["patrol_van.dbc"]
    moved = re.sub(r"(?m)^((?:BO_|SG_|CM_|BA_|VAL_)[^\n]*?\b(?:BO_ |VAL_ |SG_ )?)(\d+)( )", _move, text)
    (folder / "patrol_van.dbc").write_text(moved, encoding="utf-8")
    return bench, len(re.findall(r"(?m)^BO_ \d", text))


def _move(found: re.Match[str]) -> str:
    number = int(found[2])
    return f"{found[1]}{number + 1 if number in MESSAGES else number}{found[3]}"


MESSAGES = {int(n) for n in re.findall(r"(?m)^BO_ (\d+) ", NAMES["patrol_van.dbc"])}


def strange(picture: Snapshot) -> list[str]:
    return [text for text in told(picture) if "wrong bench file" in text]


def test_live_a_bus_that_carries_nothing_of_its_database() -> None:
    """Every identifier is the next one: a database of another vehicle."""
    with driving(shift=1) as (scene, _):
        until(lambda: len(scene.snapshot().sources) == 2 and len(scene.snapshot().frames) > 5)
        assert strange(scene.snapshot()) == []
        until(lambda: bool(strange(scene.snapshot())))
        picture = scene.snapshot()
        (text,) = strange(picture)
        (bus,) = (source for source in picture.sources if source.name == "body")
        assert bus.heard_ns is not None
        assert picture.t_ns - bus.heard_ns >= STRANGE_NS
        assert text.startswith(f"None of the {len(MESSAGES)} messages of its database was heard in ")
        assert about(picture, "gear") == []


def test_one_message_of_its_database_is_enough() -> None:
    with driving() as (scene, bus):
        until(lambda: len(scene.snapshot().sources) == 2 and code(scene.snapshot(), "gear") == TRUE)
        bus.shift = 1
        picture = scene.snapshot()
        assert strange(dataclasses.replace(picture, t_ns=picture.t_ns + 2 * STRANGE_NS)) == []


def test_replayed_with_the_wrong_database(tmp_path: Path) -> None:
    folder = tmp_path / "other"
    folder.mkdir()
    bench, count = described(folder)
    path = tmp_path / "drive.duckdb"
    write(path, first_ns=0, last_ns=0, seconds=20)
    with loaded(path, bench) as scene:
        start_ns = scene.snapshot().start_ns
        scene.player.seek(start_ns + 2 * S)
        assert strange(scene.snapshot()) == []
        scene.player.seek(start_ns + 15 * S)
        picture = scene.snapshot()
        (text,) = strange(picture)
        others = len(picture.frames) - sum(n in range(0x7DF, 0x7F0) for n in picture.frames.identifier.tolist())
        assert text.startswith(f"None of the {count} messages of its database was heard in ")
        assert f"while {others} other identifiers were" in text
        assert about(picture, "gear") == []
