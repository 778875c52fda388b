"""Every field of a snapshot says something: over many situations it takes at least two values, live and replayed."""

from __future__ import annotations

import dataclasses

import pytest
from situations import PARTS, Picturing, live, replayed

LIVE, REPLAY = "live", "replay"
RECORDER = "A recording that is replayed is not recorded."
PLAYER = "Marks are where a player can go to; a live vehicle has no player."
NOW = "A live vehicle is always shown as it is now."
ONE_VALUE = {
    LIVE: {
        ("Mark", "t_ns"): PLAYER,
        ("Mark", "kind"): PLAYER,
        ("Mark", "text"): PLAYER,
        ("Mark", "until_ns"): PLAYER,
        ("SignalNow", "until_ns"): "When a signal will be known again only the rest of a recording tells.",
        ("Snapshot", "mode"): "It is live.",
        ("Snapshot", "title"): "It stands for the name of a file, which there is not.",
        ("Snapshot", "is_playing"): NOW,
        ("Snapshot", "speed"): NOW,
        ("Snapshot", "loaded"): NOW,
    },
    REPLAY: {
        ("RecorderNow", "name"): RECORDER,
        ("RecorderNow", "rows"): RECORDER,
        ("RecorderNow", "bytes"): RECORDER,
        ("RecorderNow", "free"): RECORDER,
        ("RecorderNow", "failure"): RECORDER,
        ("RecorderNow", "is_closing"): RECORDER,
        ("Snapshot", "mode"): "It is a replay.",
        ("Snapshot", "recorder"): RECORDER,
        ("Snapshot", "lost"): "What was lost between reader and recorder of this program: nothing is, from a file.",
    },
}
"""(part, field) -> why it has one value at most."""
FIELDS = [(part.__name__, field.name) for part in PARTS for field in dataclasses.fields(part)]


@pytest.fixture(scope="module")
def seen(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Picturing]:
    folder = tmp_path_factory.mktemp("fields")
    found = {LIVE: Picturing(), REPLAY: Picturing()}
    with pytest.MonkeyPatch.context() as patch:
        live(found[LIVE], folder, patch)
    replayed(found[REPLAY], folder)
    return found


@pytest.mark.parametrize("mode", [LIVE, REPLAY])
def test_every_field_varies(mode: str, seen: dict[str, Picturing]) -> None:
    constant = {field for field in FIELDS if len(seen[mode].seen[field]) < 2}
    assert constant == set(ONE_VALUE[mode])


def test_nothing_is_excused_in_both_modes() -> None:
    """But for the mode itself, which is one in each."""
    assert set(ONE_VALUE[LIVE]) & set(ONE_VALUE[REPLAY]) == {("Snapshot", "mode")}
