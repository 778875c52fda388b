"""Details of a message: letters in the grid, values beside it, the held picture."""

from __future__ import annotations

import dataclasses

import fake_van
import pytest

from busprobe.tui.view.frame_detail import bench_signal, grid_lines, held, title, value_rows, values_title, where
from busprobe.tui.view.spans import plain

DETAIL = fake_van.DETAIL


def test_every_signal_has_the_letter_of_its_bits() -> None:
    assert [plain(line) for line in grid_lines(DETAIL)][5].rstrip() == "  4 43  ▐0e━━1e━━0e━━0e▌▐0d━━0d━━1d━━1d▌"
    row = value_rows(DETAIL)[4]
    assert [plain(cell) for cell in row.cells] == ["e ▸", "Counter", "4", "4", "byte 4 bits 7 to 4"]


def test_a_value_row_is_copied_as_a_sentence() -> None:
    assert value_rows(DETAIL)[2].as_text() == "body E4 TransmissionStatus.OilTemperature = 50 °C (raw 90)"


def test_a_signal_that_is_not_in_this_frame_says_so_and_is_not_drawn() -> None:
    absent = dataclasses.replace(DETAIL.fields[0], raw=None, text="-")
    detail = dataclasses.replace(DETAIL, fields=(absent, *DETAIL.fields[1:]))
    assert [plain(cell) for cell in value_rows(detail)[0].cells][:4] == ["-", "SelectedGear", "not in this frame", ""]
    assert "0a" not in plain(grid_lines(detail)[1])


def test_a_value_that_is_not_there_is_copied_without_a_raw_value() -> None:
    absent = dataclasses.replace(DETAIL, fields=(dataclasses.replace(DETAIL.fields[2], raw=None, text="-"),))
    assert value_rows(absent)[0].as_text() == "body E4 TransmissionStatus.OilTemperature (not in this frame)"
    then = held(DETAIL, bytes.fromhex("02FF5A2043C1"), bytes(6))
    assert value_rows(then)[0].as_text() == "body E4 TransmissionStatus.SelectedGear (held: see its bits)"


def test_a_held_picture_shows_its_own_bits_and_no_value_of_later() -> None:
    was = bytes.fromhex("021F5A2043C1")
    detail = held(DETAIL, was, bytes(6))
    assert detail.payload == was
    assert (detail.fields[0].raw, detail.fields[0].text) == (None, "held: see its bits")
    assert plain(grid_lines(detail)[1]).rstrip() == "  0 02   0   0   0   0  ▐0a━━0a━━1a━━0a▌"
    assert (detail.fields[2].raw, detail.fields[2].text) == (90, "50 °C")


def test_the_same_payload_keeps_its_values() -> None:
    assert held(DETAIL, DETAIL.payload, bytes(6)).fields == DETAIL.fields


def test_a_signed_signal_of_unchanged_bits_keeps_its_value() -> None:
    later = bytes.fromhex("021F5A2043C1")
    assert held(DETAIL, later, bytes(6)).fields[1].text == "-1"


@pytest.mark.parametrize(
    ("bits", "text"),
    [
        ((), ""),
        ((10,), "byte 1 bit 2"),
        ((3, 2, 1, 0), "byte 0 bits 3 to 0"),
        ((8, 7, 6), "byte 1 bit 0 to byte 0 bit 6"),
    ],
)
def test_where(bits: tuple[int, ...], text: str) -> None:
    assert where(bits) == text


def test_titles() -> None:
    assert title(DETAIL) == "Bits of body 0E4"
    assert title(dataclasses.replace(DETAIL, identifier=0x18FEF100, is_extended=True)) == "Bits of body 18FEF100x"
    assert values_title(DETAIL).startswith("Signals of TransmissionStatus: Sent by")
    assert (title(None), values_title(None)) == ("Bits", "Signals")


def test_the_bench_files_signal_of_a_field() -> None:
    assert bench_signal(fake_van.SIGNALS, "TransmissionStatus", "SelectedGear") == "gear"
    assert bench_signal(fake_van.SIGNALS, "TransmissionStatus", "Gear") is None


def test_nothing_selected_and_no_payload() -> None:
    assert plain(grid_lines(None)[0]) == "Move to an identifier above to see its bits."
    assert plain(grid_lines(dataclasses.replace(DETAIL, payload=b"", changed=b""))[0]) == "No payload."
