"""PIDs against SAE J1979 by way of public decoders; the data files name who agrees on each row.

Left out, because the public decoders contradict one another there (column DISPUTED):
74/tca_rpm, 7A/dpf_dp, 7B/dpf_dp, 83/nox11, 9A/hev_bat_a. Their titles say so to the user.
"""

import csv
from pathlib import Path

import pytest

from busprobe.decode.pids import decode_answer, decode_pid, find, lengths, quantities, split_answer
from busprobe.decode.pids_bits import UNDECODED
from busprobe.decode.pids_numeric import SCALE_DISPUTED

ALL = [quantity for pid in range(256) for quantity in quantities(pid)]
DATA = Path(__file__).parent / "data"
LEFT_OUT = {("74", "tca_rpm"), ("7A", "dpf_dp"), ("7B", "dpf_dp"), ("83", "nox11"), ("9A", "hev_bat_a")}
BARE_UNITS = {"count", "ratio", "gear"}
"""Units of the data file that are bare numbers here: an expression compares them without a unit."""


def rows(name):
    return list(csv.DictReader((DATA / name).open(encoding="utf-8")))


def values(pid, data):
    return {quantity.name: value for quantity, _, value in decode_pid(pid, bytes.fromhex(data))}


NUMERIC = [row for row in rows("obd_pids.csv") if (row["pid"], row["signal"]) not in LEFT_OUT]


def test_just_the_disputed_rows_are_left_out():
    disputed = {(r["pid"], r["signal"]) for r in rows("obd_pids.csv") if r["verified_two_sources"] == "DISPUTED"}
    assert disputed == LEFT_OUT


@pytest.mark.parametrize("row", NUMERIC, ids=lambda row: f"{row['pid']}-{row['signal']}-{row['hex_bytes']}")
def test_every_published_number(row):
    value = values(int(row["pid"], 16), row["hex_bytes"])[row["quantity"]]
    assert value == pytest.approx(float(row["expected"]), rel=0, abs=float(row["tolerance"]))


@pytest.mark.parametrize("row", NUMERIC, ids=lambda row: f"{row['pid']}-{row['signal']}-{row['hex_bytes']}")
def test_every_published_unit_length_and_range(row):
    quantity = find(row["quantity"])
    assert (quantity.unit is None) == (row["unit"] in BARE_UNITS)
    assert quantity.unit in (row["unit"], None)
    published = int(row["data_bytes"])
    assert published in lengths(quantity.pid)
    assert quantity.minimum == pytest.approx(float(row["min"]), rel=0.002)
    assert quantity.maximum == pytest.approx(float(row["max"]), rel=0.002)


MONITORS = {
    "misfire": "misfire",
    "fuel": "fuel",
    "components": "components",
    "catalyst": "catalyst",
    "heated_catalyst": "heated catalyst",
    "evap": "evap",
    "secondary_air": "secondary air",
    "ac_refrigerant_or_gpf": "A/C refrigerant or GPF",
    "o2_sensor": "O2 sensor",
    "o2_heater": "O2 heater",
    "egr_vvt": "EGR/VVT",
    "nmhc_catalyst": "NMHC catalyst",
    "nox_scr": "NOx/SCR",
    "boost": "boost",
    "exhaust_gas_sensor": "exhaust gas sensor",
}
"""Names of the data file and here."""

SPECIAL = {
    ("03", "0102"): {
        "03.system1": "open loop - conditions not met (cold)",
        "03.system2": "closed loop - O2 feedback",
    },
    ("03", "0300"): {"03.system1": "invalid: more than one bit set (03)"},
    ("13", "03"): {"13": ("bank 1 sensor 1", "bank 1 sensor 2")},
    ("13", "33"): {"13": ("bank 1 sensor 1", "bank 1 sensor 2", "bank 2 sensor 1", "bank 2 sensor 2")},
    ("13", "10"): {"13": ("bank 2 sensor 1",)},
    ("1D", "01"): {"1D": ("bank 1 sensor 1",)},
    ("1D", "55"): {"1D": ("bank 1 sensor 1", "bank 2 sensor 1", "bank 3 sensor 1", "bank 4 sensor 1")},
    ("1E", "01"): {"1E": True},
    ("1E", "00"): {"1E": False},
    ("1E", "80"): {"1E": False},
    ("65", "0F05"): {
        "65.pto": True,
        "65.automatic": "park or neutral",
        "65.manual": "in gear",
        "65.glow_plug_lamp": False,
    },
    ("7D", "01"): {"7D": ("inside control area",)},
}
"""Rows whose expected text is prose: what it means."""


def expected_of(row):
    """The quantities that a row of obd_bits.csv is about, and their values."""
    pid, field, text = row["pid"], row["field"], row["expected"]
    if (pid, row["hex_bytes"]) in SPECIAL:
        return SPECIAL[pid, row["hex_bytes"]]
    if field in ("supported", "not_complete"):
        part = "enabled" if (pid, field) == ("41", "supported") else field
        return {f"{pid}.{part}": tuple(MONITORS[name] for name in text.split())}
    match field:
        case "mil":
            return {"01.mil": text == "true"}
        case "dtc_count":
            return {"01.dtc_count": float(text)}
        case "ignition":
            return {f"{pid}.ignition": text}
        case "fuelsys1":
            return {"03.system1": text}
    return {pid: text}


BIT_ROWS = rows("obd_bits.csv")


@pytest.mark.parametrize("row", BIT_ROWS, ids=lambda row: f"{row['pid']}-{row['hex_bytes']}-{row['field']}")
def test_every_published_bit(row):
    found = values(int(row["pid"], 16), row["hex_bytes"])
    expected = expected_of(row)
    assert {name: found[name] for name in expected} == expected


@pytest.mark.parametrize("row", rows("obd_supported_pids.csv"), ids=lambda row: f"{row['base_pid']}-{row['hex_bytes']}")
def test_every_published_list_of_supported_pids(row):
    found = values(int(row["base_pid"], 16), row["hex_bytes"])[row["base_pid"]]
    assert found == tuple(row["expected_pids"].split())
    assert len(found) == int(row["count"])


@pytest.mark.parametrize(
    ("pid", "data", "expected"),
    [
        (0x0E, "80", {"0E": 0.0}),
        (0x08, "90", {"08": 12.5}),
        (0x08, "9070", {"08": 12.5, "08.bank4": -12.5}),
        (0x33, "65", {"33": 101.0}),
        (0x3D, "11F8", {"3D": 420.0}),
        (0x44, "8000", {"44": 1.0}),
        (0x4A, "29", {"4A": pytest.approx(16.078431)}),
        (0x5B, "80", {"5B": pytest.approx(50.196078)}),
        (0x63, "0190", {"63": 400.0}),
        (0x14, "90FF", {"14.voltage": 0.72}),
        (0x66, "0100C80190", {"66.sensor_a": 6.25}),
        (0x66, "0000000000", {}),
        (0x51, "2A", {"51": "reserved (2A)"}),
        (0x12, "20", {"12": "reserved (20)"}),
        (0x12, "03", {"12": "invalid: more than one bit set (03)"}),
        (0x65, "0100", {"65.pto": False}),
        (0x81, "00" * 21, {"81": "00" * 21}),
        (0x8F, "0102030405", {"8F": "0102030405"}),
    ],
    ids=lambda value: value if isinstance(value, str) else None,
)
def test_more_values_from_memory_of_the_standard(pid, data, expected):
    """Timing, second banks, a sensor outside the trim, quantities the unit does not support, reserved codes."""
    assert values(pid, data) == expected


@pytest.mark.parametrize(
    ("body", "pids", "unknown", "cut"),
    [
        ("0D3C", [0x0D], None, False),
        ("0C1AF80D3C423390", [0x0C, 0x0D, 0x42], None, False),
        ("0B210C0C380D000E800F461001C2", [0x0B, 0x0C, 0x0D, 0x0E, 0x0F, 0x10], None, False),
        ("06800780", [0x06, 0x07], None, False),
        ("0680700D3C", [0x06, 0x0D], None, False),
        ("55840D3C", [0x55, 0x0D], None, False),
        ("0D3CB00102", [0x0D], 0xB0, False),
        ("B00102", [], 0xB0, False),
        ("0D3C0C1A", [0x0D], None, True),
        ("0C", [], None, True),
        ("", [], None, False),
    ],
    ids=["one", "three", "six", "trims", "trim of two banks", "trim of one bank", "unknown second", "unknown", "cut",
         "no data", "nothing"],
)  # fmt: skip
def test_an_answer_is_taken_apart_by_the_table_of_lengths(body, pids, unknown, cut):
    split = split_answer(bytes.fromhex(body))
    assert ([pid for pid, _, _ in split.items], split.unknown, split.cut) == (pids, unknown, cut)


def test_a_freeze_frame_answer_has_a_frame_number():
    split = split_answer(bytes.fromhex("0C001AF80D003C"), head=2)
    assert split.items == [(0x0C, 0, b"\x1a\xf8"), (0x0D, 0, b"\x3c")]


def test_contents_of_an_answer():
    contents = decode_answer(bytes.fromhex("0C1AF80D3C"))
    assert [(q.name, raw, value) for _, q, raw, value in contents.readings] == [("0C", 6904, 1726.0), ("0D", 60, 60.0)]


@pytest.mark.parametrize(
    ("name", "title"),
    [
        ("0D", "Vehicle speed"),
        ("0d", "Vehicle speed"),
        ("14.voltage", "O2 sensor 1, voltage"),
        ("01.mil", "Malfunction indicator lamp"),
        ("76.turbine_in", "Turbo B temperature, turbine inlet"),
        ("06", "Short term fuel trim, bank 1"),
        ("06.bank3", "Short term fuel trim, bank 3"),
    ],
)
def test_a_quantity_is_found_by_its_name(name, title):
    assert find(name).title == title


@pytest.mark.parametrize("name", ["14", "B0", "0D.speed", "", "speed", "freeze.0D"])
def test_a_name_of_nothing(name):
    assert find(name) is None


def test_an_enumerated_quantity_gives_its_labels_and_codes():
    assert find("51").labels[4] == "diesel"
    assert [(q.name, raw, value) for q, raw, value in decode_pid(0x51, b"\x04")] == [("51", 4, "diesel")]
    assert find("51").minimum is None


def test_conditions_are_marked():
    assert {q.name for q in ALL if q.is_condition} == {"01.mil", "1E", "65.pto", "65.glow_plug_lamp"}


def test_tables_are_sound():
    """Names are unique, quantities lie inside their PID, the quantities of a PID agree on its length."""
    assert len({q.name for q in ALL}) == len(ALL) > 200
    for q in ALL:
        assert q.pid not in UNDECODED
        assert q.first + q.width <= max(lengths(q.pid))
        assert {other.length for other in quantities(q.pid)} == {q.length}
        assert q.first > 0 or q.support_bit is None


def test_disputed_scales_say_so():
    marked = {q.name for q in ALL if q.title.endswith(SCALE_DISPUTED)}
    assert {
        find(row["quantity"]).name for row in rows("obd_pids.csv") if row["verified_two_sources"] == "DISPUTED"
    } <= marked


def test_published_widths_that_decoders_disagree_on():
    """Lengths that the comparison of public decoders settles; two editions of 81, 82 and 8F differ."""
    settled = {0x8C: 17, 0x6D: 11, 0x6E: 9, 0x70: 10, 0x71: 6, 0x83: 9, 0x68: 7, 0x4D: 2, 0x4E: 2, 0x10: 2, 0x7F: 13}
    assert {pid: lengths(pid) for pid in settled} == {pid: (length,) for pid, length in settled.items()}
    assert lengths(0x81) == lengths(0x82) == (41, 21)
    assert lengths(0x8F) == (7, 5)
