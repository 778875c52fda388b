"""Durations and sizes as they are typed after an option."""

import click
import pytest

from busprobe.cli.live import LEAST_RING, Duration, Size

S = 1_000_000_000
GIB = 2**30


@pytest.mark.parametrize(
    ("text", "ns"),
    [
        ("20s", 20 * S),
        ("10m", 600 * S),
        ("10 min", 600 * S),
        ("1.5h", 5400 * S),
        ("300 ms", 300_000_000),
        ("1m50s", 110 * S),
        ("1 m 50 s", 110 * S),
        ("1h30m", 5400 * S),
        ("2min5s", 125 * S),
        ("1s500ms", 1_500_000_000),
    ],
)
def test_durations(text: str, ns: int) -> None:
    assert Duration().convert(text, None, None) == ns


@pytest.mark.parametrize("text", ["", "m", "10", "1m50", "1m 50", "-5s", "5 s s", "1.2.3s"])
def test_what_is_no_duration(text: str) -> None:
    with pytest.raises(click.BadParameter, match="is no duration"):
        Duration().convert(text, None, None)


@pytest.mark.parametrize(
    ("text", "size"),
    [("500MB", 500_000_000), ("2 GB", 2 * 10**9), ("2GiB", 2 * GIB), ("0.5GiB", GIB // 2), ("10MB", 10**7)],
)
def test_sizes(text: str, size: int) -> None:
    assert Size(LEAST_RING).convert(text, None, None) == size


@pytest.mark.parametrize("text", ["10kB", "2MB", "9.9 MB", "1KiB"])
def test_a_ring_that_is_too_small(text: str) -> None:
    with pytest.raises(click.BadParameter, match=f'"{text}" is too little: at least 10MB'):
        Size(LEAST_RING).convert(text, None, None)


@pytest.mark.parametrize("text", ["2", "2gb", "..MB", "1.2.3GB"])
def test_what_is_no_size(text: str) -> None:
    with pytest.raises(click.BadParameter, match="is no size: write it like 500MB, 2GB or 2GiB"):
        Size(LEAST_RING).convert(text, None, None)
