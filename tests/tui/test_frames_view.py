"""Rows of the Frames screen: order, filter, marks of change, silence, columns at each width."""

from __future__ import annotations

import dataclasses

import fake_van
import numpy as np
import pytest

from busprobe.session.snapshot import EMPTY_TABLE, FrameTable
from busprobe.timeline import NEVER
from busprobe.tui.view.frames import (
    ORDERS,
    FrameRows,
    PayloadTexts,
    Wanted,
    bits_cell,
    bytes_cell,
    columns,
    next_order,
    none_text,
    reached,
    reached_text,
    shown,
    title,
)
from busprobe.tui.view.spans import Tone, plain, share

TABLE = fake_van.frame_table()
NOW, S = fake_van.NOW, fake_van.S


def listed(table: FrameTable, wanted: Wanted, *, t_ns: int = NOW) -> FrameRows:
    return FrameRows(table, shown(table, wanted, t_ns), t_ns, PayloadTexts(), bits=wanted.bits)


def texts(rows: FrameRows) -> list[tuple[str, ...]]:
    return [tuple(plain(part) for part in row.cells) for row in rows]


def test_a_row_tells_all_of_an_identifier() -> None:
    assert texts(listed(TABLE, Wanted("E4")))[0] == (
        "0E4", "10,000", "20 ms", "0.21", "▸01▸1F 5A 20▸43▸C1", "TransmissionStatus", "2.4%", "now",
    )  # fmt: skip


def test_the_key_of_a_row_names_channel_and_identifier() -> None:
    two = dataclasses.replace(
        fake_van.frame_table(12), channels=("body", "chassis"), channel=np.array([0] * 11 + [1], np.uint8)
    )
    rows = listed(two, Wanted())
    assert rows[0].key == "body 0C2"
    assert rows[11].key == "chassis 000008C2x"
    assert plain(rows[11].cells[0]) == "chassis 000008C2x"


@pytest.mark.parametrize(
    ("order", "first"),
    [
        ("first heard", ["0C2", "0D0", "0E4"]),
        ("identifier", ["0C2", "0D0", "0E4"]),
        ("count", ["0D0", "0C2", "0E4"]),
        ("period", ["0C2", "0D0", "0E4"]),
        ("share", ["0C2", "0D0", "110"]),
    ],
)
def test_order(order: str, first: list[str]) -> None:
    assert [row[0] for row in texts(listed(TABLE, Wanted(order=order)))][:3] == first


def test_identifier_order_is_of_numbers_not_of_hearing() -> None:
    turned = dataclasses.replace(TABLE, identifier=TABLE.identifier[::-1].copy())
    assert [row[0] for row in texts(listed(turned, Wanted(order="identifier")))][:2] == ["0C2", "0D0"]


def test_newest_change_comes_first_and_what_never_changed_last() -> None:
    changed_ns = np.arange(len(TABLE), dtype=np.int64) * S + NOW - 100 * S
    changed_ns[[2, 9]] = NEVER
    changed_ns[7] = NOW - 3 * S
    table = dataclasses.replace(TABLE, changed_ns=changed_ns)
    order = shown(table, Wanted(order="newest change"), NOW)
    assert TABLE.identifier[order[0]] == 0x1A0
    assert list(TABLE.identifier[order[-2:]]) == [0x0E4, 0x2F0]


@pytest.mark.parametrize(
    ("ago", "text"),
    [
        (None, "-"), (0, "now"), (-20_000_000, "now"), (80_000_000, "now"), (400_000_000, "just now"),
        (S, "1.0 s ago"), (42 * S, "42.0 s ago"), (221 * S, "3 min ago"), (5 * 3600 * S, "5 h ago"),
    ],
)  # fmt: skip
def test_when_a_payload_changed_comes_from_the_data(ago: int | None, text: str) -> None:
    """... not from what a screen has watched: one picture is enough. Live, a tally may be ahead of the picture."""
    changed_ns = np.full(len(TABLE), NEVER if ago is None else NOW - (ago or 0), np.int64)
    table = dataclasses.replace(TABLE, changed_ns=changed_ns, changed=np.zeros_like(TABLE.changed))
    assert texts(listed(table, Wanted("E4")))[0][7] == text


@pytest.mark.parametrize(
    ("times", "text"),
    [
        ({}, ""),
        ({2: NOW}, "0E4 TransmissionStatus"),
        ({9: NOW}, "2F0"),
        ({2: NOW, 3: NOW, 9: NOW}, "0E4 TransmissionStatus and 2 more"),
    ],
    ids=["between frames", "one", "no database", "several at once"],
)
def test_the_frame_that_a_step_reached(times: dict[int, int], text: str) -> None:
    last_ns = TABLE.last_ns - S
    for place, t_ns in times.items():
        last_ns[place] = t_ns
    table = dataclasses.replace(TABLE, last_ns=last_ns)
    assert reached(table, NOW) == list(times)
    assert reached_text(table, NOW) == text


def test_orders_go_round() -> None:
    order = ORDERS[0]
    seen = []
    for _ in ORDERS:
        seen.append(order)
        order = next_order(order)
    assert tuple(seen) == ORDERS
    assert order == ORDERS[0]


@pytest.mark.parametrize(
    ("words", "count"),
    [
        ("", 11), ("brake", 2), ("BRAKE status", 1), ("0f1", 1), ("body", 11), ("7e", 1), ("nothing", 0),
    ],
)  # fmt: skip
def test_filter(words: str, count: int) -> None:
    assert len(listed(TABLE, Wanted(words))) == count


@pytest.mark.parametrize(
    ("payload", "changed", "text", "marked"),
    [
        ("", "", "(empty)", ""),
        ("00 FF", "00 00", " 00 FF", ""),
        ("00 FF", "00 01", " 00▸FF", "▸F"),
        ("00 FF", "00 80", " 00▸FF", "▸F"),
        ("A5 FF", "81 00", "▸A5 FF", "▸A5"),
    ],
    ids=["no payload", "quiet", "low half byte", "high half byte", "both halves"],
)
def test_bytes(payload: str, changed: str, text: str, marked: str) -> None:
    cell = bytes_cell(bytes.fromhex(payload), bytes.fromhex(changed))
    assert plain(cell) == text
    assert plain(span for span in cell if span.tone is Tone.NOTE) == marked


def test_bits_that_changed_are_boxes_full_for_one() -> None:
    assert plain(bits_cell(b"\xa5\x00", b"\x03\x00")).strip() == "101001▯▮ 00000000"


def test_no_frames_no_rows() -> None:
    assert list(listed(EMPTY_TABLE, Wanted("x"))) == []


@pytest.mark.parametrize(
    ("width", "bits", "kept"),
    [
        (78, False, "Identifier Count Period ± ms Payload Message Share"),
        (118, False, "Identifier Count Period ± ms Payload Message Share Changed"),
        (118, True, "Identifier Count Period ± ms Payload, a bit each Share"),
        (38, False, "Identifier Count Period Payload"),
    ],
)
def test_columns_that_fit(width: int, bits: bool, kept: str) -> None:
    wanted = columns(Wanted(bits=bits), several_channels=False)
    assert " ".join(wanted[i].title for i, _ in share(wanted, width)) == kept


def test_only_rows_asked_for_are_made() -> None:
    rows = listed(fake_van.frame_table(150), Wanted())
    assert len(rows) == 150
    assert rows[3] is rows[3]
    assert len(rows._made) == 1


def test_equal_payloads_share_their_text() -> None:
    kept = PayloadTexts()
    assert kept.cell(b"\x01", b"\0", bits=False) is kept.cell(b"\x01", b"\0", bits=False)


@pytest.mark.parametrize(
    ("wanted", "count", "held", "text"),
    [
        (Wanted(), 11, False, "11 identifiers · s: by first heard"),
        (Wanted("brake", "share"), 2, False, '2 of 11 identifiers · with "brake" · s: by share'),
        (Wanted(), 11, True, "11 identifiers · s: by first heard · HELD, counting goes on"),
    ],
)
def test_title(wanted: Wanted, count: int, held: bool, text: str) -> None:
    assert title(TABLE, count, wanted, held=held) == text


@pytest.mark.parametrize(
    ("table", "is_replay", "text"),
    [
        (EMPTY_TABLE, False, "No frame heard yet: see the sources on screen 5."),
        (EMPTY_TABLE, True, "No frame up to this instant."),
        (TABLE, True, "No frame has these words."),
    ],
    ids=["live", "replay", "filter"],
)
def test_instead_of_frames(table: FrameTable, is_replay: bool, text: str) -> None:
    assert none_text(table, is_replay=is_replay) == text
