"""Labels that stand for "not available" or "error" (common practice, no source), and the codes of J1939."""

import pytest

from busprobe.decode.unavailable import j1939_unavailable_from, named_unavailable

COUNTS = [
    "Not available", "NotAvailable", "not_available", "NOT AVAILABLE", "Unavailable", "SNA", "sna", "NA", "N/A",
    "Error", "ERROR", "Error indicator", "Invalid", "Signal invalid", "Undefined", "undefined_2", "Unknown",
    "Reserved", "Reserved 3", "RESERVED_1", "Not used", "NotUsed_10", "Unused3", "Error or not available",
    "Not available / invalid", "Fehler", "ungültig", "nicht verfügbar", "reserviert",
]  # fmt: skip

DOES_NOT_COUNT = [
    "off", "on", "Available", "No error", "No_Fault", "System_Error", "Sensor error detected", "Fault present",
    "Not active", "not pressed", "Mode unavailable", "Init", "Default", "kein_Fehler", "Nap", "", "1", "Reserved seat",
]  # fmt: skip


@pytest.mark.parametrize("label", COUNTS)
def test_counts(label):
    assert named_unavailable({0: "off", 1: "on", 3: label}, 2) == (3,)


@pytest.mark.parametrize("label", DOES_NOT_COUNT)
def test_does_not_count(label):
    assert named_unavailable({0: "off", 1: "on", 3: label}, 2) == ()


def test_a_beginning_that_all_labels_share_is_not_looked_at():
    assert named_unavailable({0: "GEAR_P", 1: "GEAR_R", 7: "GEAR_INVALID"}, 3) == (7,)
    assert named_unavailable({0: "DI_GEAR_SNA", 1: "DI_GEAR_D"}, 3) == (0,)
    assert named_unavailable({1: "GEAR_INVALID"}, 3) == ()


def test_one_bit_has_no_room_for_a_code():
    assert named_unavailable({0: "OK", 1: "Error"}, 1) == ()


@pytest.mark.parametrize(
    ("length", "first"),
    [(1, None), (2, 2), (3, None), (4, 0xE), (8, 0xFE), (12, None), (16, 0xFE00), (32, 0xFE000000), (64, None)],
)
def test_j1939_codes_by_size(length, first):
    """SAE J1939-71, from memory."""
    assert j1939_unavailable_from({}, length) == first


def test_a_meaning_given_by_the_database_stands():
    assert j1939_unavailable_from({0: "off", 1: "on", 2: "Error", 3: "Not available"}, 2) == 2
    assert j1939_unavailable_from({0: "off", 1: "left", 2: "right", 3: "both"}, 2) is None
