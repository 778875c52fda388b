"""Which frames go to which message."""

import numpy as np
import pytest

from busprobe.decode.layout import MessageLayout
from busprobe.decode.routing import IdentifierNumbers, Router
from busprobe.frames import ERROR, EXTENDED, LATE, REMOTE, FrameBatch, empty_frames


def message(name, identifier, is_extended=False):
    return MessageLayout(name, identifier, is_extended, 8)


def batch_of(*frames, channels=("body", "drive")):
    """frames: (channel index, identifier, flags)"""
    n = len(frames)
    channel, identifier, flags = (np.array(column) for column in zip(*frames, strict=True))
    return FrameBatch(
        np.arange(n, dtype=np.int64), channels, channel.astype(np.uint8), identifier.astype(np.uint32),
        flags.astype(np.uint8), np.zeros(n, np.uint8), np.zeros(n, np.uint64),
    )  # fmt: skip


def split(router, batch):
    return [(router.messages[index].name, rows.tolist()) for index, rows in router.split(batch)]


def test_frames_by_identifier_with_rising_rows():
    router = Router([(None, message("A", 0x10)), (None, message("B", 0x20))])
    batch = batch_of((0, 0x20, 0), (0, 0x10, 0), (0, 0x30, 0), (0, 0x20, 0), channels=("body",))
    assert split(router, batch) == [("A", [1]), ("B", [0, 3])]


def test_11_bit_and_29_bit_identifiers_are_apart():
    router = Router([(None, message("A", 0x10)), (None, message("B", 0x10, True))])
    assert split(router, batch_of((0, 0x10, EXTENDED), (0, 0x10, 0))) == [("A", [1]), ("B", [0])]


def test_remote_and_error_frames_are_left_out_late_ones_are_not():
    router = Router([(None, message("A", 0x10))])
    batch = batch_of((0, 0x10, REMOTE), (0, 0x10, ERROR), (0, 0x10, LATE), (0, 0x10, 0), channels=("body",))
    assert split(router, batch) == [("A", [2, 3])]


def test_a_message_on_every_channel_comes_once_for_each():
    router = Router([(None, message("A", 0x10))])
    assert split(router, batch_of((1, 0x10, 0), (0, 0x10, 0), (1, 0x10, 0))) == [("A", [1]), ("A", [0, 2])]


def test_messages_of_one_channel():
    router = Router([("body", message("A", 0x10)), ("drive", message("B", 0x10)), ("body", message("C", 0x20))])
    batch = batch_of((0, 0x10, 0), (1, 0x10, 0), (1, 0x20, 0), (0, 0x20, 0))
    assert split(router, batch) == [("A", [0]), ("C", [3]), ("B", [1])]


def test_channels_may_come_in_another_order_and_grow():
    router = Router([("body", message("A", 0x10)), ("drive", message("B", 0x10))])
    assert split(router, batch_of((0, 0x10, 0), channels=("drive",))) == [("B", [0])]
    assert split(router, batch_of((0, 0x10, 0), (1, 0x10, 0), channels=("drive", "body"))) == [("B", [0]), ("A", [1])]


def test_of_two_messages_with_one_identifier_the_channels_own_wins_then_the_earlier():
    router = Router([(None, message("A", 0x10)), (None, message("B", 0x10)), ("drive", message("C", 0x10))])
    assert split(router, batch_of((0, 0x10, 0), (1, 0x10, 0))) == [("A", [0]), ("C", [1])]
    assert router.hidden(["body", "drive"]) == (1,)
    assert router.hidden(["drive"]) == (0, 1)


def test_nothing_to_route():
    assert split(Router([]), batch_of((0, 0x10, 0))) == []
    assert split(Router([(None, message("A", 0x10))]), empty_frames(("body",))) == []
    assert split(Router([(None, message("A", 0x10))]), empty_frames()) == []


@pytest.mark.parametrize("count", [1, 2, 100, 3000, 12000])
def test_every_identifier_has_a_number_of_its_own(count):
    rng = np.random.default_rng(count)
    keys = rng.choice(1 << 29, 2 * count, replace=False).astype(np.uint32) | np.uint32(1 << 31)
    numbers = IdentifierNumbers(keys[:count].tolist())
    assert numbers.of(keys).tolist() == [*range(1, count + 1), *[0] * count]


def test_neighbouring_identifiers():
    keys = np.arange(2048, dtype=np.uint32)
    assert IdentifierNumbers(keys.tolist()).of(keys).tolist() == list(range(1, 2049))
