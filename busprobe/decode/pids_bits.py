"""Bits, enumerations and lists of OBD service 01 and 02 (SAE J1979-DA, ISO 15031-5; from memory).

    PID 01  81 07 65 04     A7 MIL on, A6..A0 one code; B3 spark ignition; B2..B0 and C monitors
    PID 03  01 00           one bit per byte: fuel system 1 open loop (cold), no second system
    PID 00  BE 1F A8 13     bit 7 of A: PID 01, bit 6: PID 02 .. bit 0 of D: PID 20

Checked against public decoders; tests/decode/data/obd_bits.csv says where those are wrong.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Final, NamedTuple

from busprobe.decode.quantity import NO_LABELS, Value
from busprobe.decode.trouble_codes import PADDING, code_text

RESERVED: Final = "reserved"
SEVERAL_BITS: Final = "invalid: more than one bit set"
NO_CODE: Final = "none stored"


class BitRow(NamedTuple):
    """A quantity that is no scaled number; see `Quantity` for the fields."""

    pid: int
    length: int
    part: str
    title: str
    bytes: str
    meaning: Callable[[int], Value] | None
    """None: the raw number itself is the value."""
    labels: Mapping[int, str] = NO_LABELS
    shift: int = 0
    bits: int | None = None
    support_bit: int | None = None
    is_condition: bool = False


FUEL_SYSTEM: Final = MappingProxyType(
    {
        0x00: "no value (engine off / not applicable)",
        0x01: "open loop - conditions not met (cold)",
        0x02: "closed loop - O2 feedback",
        0x04: "open loop - driving conditions",
        0x08: "open loop - detected fault",
        0x10: "closed loop with fault",
    }
)
SECONDARY_AIR: Final = MappingProxyType(
    {
        0x01: "upstream of first catalytic converter",
        0x02: "downstream of first catalytic converter inlet",
        0x04: "atmosphere / off",
        0x08: "pump commanded on for diagnostics",
    }
)
OBD_STANDARD: Final = MappingProxyType(
    {
        0x01: "OBD II (California ARB)",
        0x02: "OBD (Federal EPA)",
        0x03: "OBD and OBD II",
        0x04: "OBD I",
        0x05: "not OBD compliant",
        0x06: "EOBD",
        0x07: "EOBD and OBD II",
        0x08: "EOBD and OBD",
        0x09: "EOBD, OBD and OBD II",
        0x0A: "JOBD",
        0x0B: "JOBD and OBD II",
        0x0C: "JOBD and EOBD",
        0x0D: "JOBD, EOBD and OBD II",
        0x11: "EMD",
        0x12: "EMD+",
        0x13: "HD OBD-C",
        0x14: "HD OBD",
        0x15: "WWH OBD",
        0x17: "HD EOBD-I",
        0x18: "HD EOBD-I N",
        0x19: "HD EOBD-II",
        0x1A: "HD EOBD-II N",
        0x1C: "OBDBr-1",
        0x1D: "OBDBr-2",
        0x1E: "KOBD",
        0x1F: "IOBD I",
        0x20: "IOBD II",
        0x21: "HD EOBD-VI",
    }
)
FUEL_TYPE: Final = MappingProxyType(
    {
        0x00: "not available",
        0x01: "gasoline",
        0x02: "methanol",
        0x03: "ethanol",
        0x04: "diesel",
        0x05: "LPG",
        0x06: "CNG",
        0x07: "propane",
        0x08: "electric",
        0x09: "bi-fuel running gasoline",
        0x0A: "bi-fuel running methanol",
        0x0B: "bi-fuel running ethanol",
        0x0C: "bi-fuel running LPG",
        0x0D: "bi-fuel running CNG",
        0x0E: "bi-fuel running propane",
        0x0F: "bi-fuel running electricity",
        0x10: "bi-fuel running electric and combustion engine",
        0x11: "hybrid gasoline",
        0x12: "hybrid ethanol",
        0x13: "hybrid diesel",
        0x14: "hybrid electric",
        0x15: "hybrid running electric and combustion engine",
        0x16: "hybrid regenerative",
        0x17: "bi-fuel running diesel",
    }
)
EMISSION_STANDARD: Final = MappingProxyType(
    {0x0E: "Heavy duty Euro IV B1", 0x0F: "Heavy duty Euro V B2", 0x10: "Heavy duty EEV C"}
)
IGNITION: Final = MappingProxyType({0: "spark", 1: "compression"})
AUTOMATIC: Final = MappingProxyType({0: "park or neutral", 1: "drive or reverse"})
MANUAL: Final = MappingProxyType({0: "neutral or clutch in", 1: "in gear"})

COMMON_MONITORS: Final = ("misfire", "fuel", "components")
SPARK_MONITORS: Final = (
    "catalyst", "heated catalyst", "evap", "secondary air", "A/C refrigerant or GPF", "O2 sensor", "O2 heater",
    "EGR/VVT",
)  # fmt: skip
COMPRESSION_MONITORS: Final = (
    "NMHC catalyst", "NOx/SCR", "", "boost", "", "exhaust gas sensor", "PM filter", "EGR/VVT",
)  # fmt: skip
"""Names by bit, from bit 0; an empty one is reserved."""
O2_TWO_BANKS: Final = tuple(f"bank {bank} sensor {sensor}" for bank in (1, 2) for sensor in (1, 2, 3, 4))
O2_FOUR_BANKS: Final = tuple(f"bank {bank} sensor {sensor}" for bank in (1, 2, 3, 4) for sensor in (1, 2))
CONTROL_AREA: Final = ("inside control area", "outside control area", "inside carve-out area", "deficiency active")


def label_of(labels: Mapping[int, str]) -> Callable[[int], Value]:
    """Meaning of an enumerated number."""
    return lambda raw: labels.get(raw, f"{RESERVED} ({raw:02X})")


def one_bit_of(labels: Mapping[int, str]) -> Callable[[int], Value]:
    """Meaning of a byte of which at most one bit may be set."""
    named = label_of(labels)
    return lambda raw: named(raw) if raw.bit_count() <= 1 else f"{SEVERAL_BITS} ({raw:02X})"


def names_of(names: tuple[str, ...]) -> Callable[[int], Value]:
    """Meaning of a byte whose set bits each name something, bit 0 first."""
    return lambda raw: set_names(names, raw)


def set_names(names: tuple[str, ...], raw: int) -> tuple[str, ...]:
    return tuple(name for bit, name in enumerate(names) if name and raw >> bit & 1)


def monitors_supported(raw: int) -> tuple[str, ...]:
    """Monitors that bytes B, C, D say are there (PID 41: enabled in this drive cycle)."""
    byte_b, byte_c = raw >> 16, raw >> 8 & 0xFF
    return set_names(COMMON_MONITORS, byte_b) + set_names(_engine_monitors(byte_b), byte_c)


def monitors_not_complete(raw: int) -> tuple[str, ...]:
    """Monitors that bytes B, C, D say have not finished."""
    byte_b, byte_d = raw >> 16, raw & 0xFF
    return set_names(COMMON_MONITORS, byte_b >> 4) + set_names(_engine_monitors(byte_b), byte_d)


def _engine_monitors(byte_b: int) -> tuple[str, ...]:
    return COMPRESSION_MONITORS if byte_b & 0x08 else SPARK_MONITORS


def stored_code(raw: int) -> Value:
    return NO_CODE if raw == PADDING else code_text(raw)


def supported_numbers(base: int, raw: int) -> tuple[str, ...]:
    """Numbers after `base` whose bit is set, two hex digits each; the top bit is `base` + 1."""
    return tuple(f"{base + 32 - bit:02X}" for bit in range(31, -1, -1) if raw >> bit & 1)


def _supported(base: int) -> BitRow:
    title = f"PIDs supported, {base + 1:02X} to {min(base + 32, 0xFF):02X}"
    return BitRow(base, 4, "", title, "ABCD", lambda raw: supported_numbers(base, raw))


def _monitor_rows(pid: int, part: str, title: str) -> tuple[BitRow, ...]:
    return (
        BitRow(pid, 4, "ignition", "Ignition type", "B", label_of(IGNITION), IGNITION, shift=3, bits=1),
        BitRow(pid, 4, part, title, "BCD", monitors_supported),
        BitRow(pid, 4, "not_complete", "Monitors not complete", "BCD", monitors_not_complete),
    )


BITS: Final[tuple[BitRow, ...]] = (
    *(_supported(base) for base in range(0x00, 0x100, 0x20)),
    BitRow(0x01, 4, "mil", "Malfunction indicator lamp", "A", bool, shift=7, bits=1, is_condition=True),
    BitRow(0x01, 4, "dtc_count", "Number of stored trouble codes", "A", None, bits=7),
    *_monitor_rows(0x01, "supported", "Monitors supported"),
    BitRow(0x02, 2, "", "Trouble code that froze the frame", "AB", stored_code),
    BitRow(0x03, 2, "system1", "Fuel system 1", "A", one_bit_of(FUEL_SYSTEM), FUEL_SYSTEM),
    BitRow(0x03, 2, "system2", "Fuel system 2", "B", one_bit_of(FUEL_SYSTEM), FUEL_SYSTEM),
    BitRow(0x12, 1, "", "Commanded secondary air", "A", one_bit_of(SECONDARY_AIR), SECONDARY_AIR),
    BitRow(0x13, 1, "", "O2 sensors present, two banks", "A", names_of(O2_TWO_BANKS)),
    BitRow(0x1C, 1, "", "OBD requirements met", "A", label_of(OBD_STANDARD), OBD_STANDARD),
    BitRow(0x1D, 1, "", "O2 sensors present, four banks", "A", names_of(O2_FOUR_BANKS)),
    BitRow(0x1E, 1, "", "Power take-off active", "A", bool, bits=1, is_condition=True),
    *_monitor_rows(0x41, "enabled", "Monitors enabled in this drive cycle"),
    BitRow(0x51, 1, "", "Fuel type", "A", label_of(FUEL_TYPE), FUEL_TYPE),
    BitRow(0x5F, 1, "", "Emission requirements met", "A", label_of(EMISSION_STANDARD), EMISSION_STANDARD),
    BitRow(0x65, 2, "pto", "Power take-off", "B", bool, bits=1, support_bit=0, is_condition=True),
    BitRow(0x65, 2, "automatic", "Automatic transmission", "B", label_of(AUTOMATIC), AUTOMATIC, 1, 1, support_bit=1),
    BitRow(0x65, 2, "manual", "Manual transmission", "B", label_of(MANUAL), MANUAL, 2, 1, support_bit=2),
    BitRow(0x65, 2, "glow_plug_lamp", "Glow plug lamp", "B", bool, shift=3, bits=1, support_bit=3, is_condition=True),
    BitRow(0x7D, 1, "", "NOx control area", "A", names_of(CONTROL_AREA)),
    BitRow(0x7E, 1, "", "Particulate matter control area", "A", names_of(CONTROL_AREA)),
    BitRow(0xA4, 4, "gear", "Actual gear", "B", None, shift=4, bits=4, support_bit=0),
)

UNDECODED: Final = MappingProxyType(
    {
        0x81: ((41, 21), "Engine run time, auxiliary emission controls 1 to 5"),
        0x82: ((41, 21), "Engine run time, auxiliary emission controls 6 to 10"),
        0x88: ((13,), "SCR inducement state"),
        0x89: ((41,), "Engine run time, auxiliary emission controls 11 to 15"),
        0x8A: ((41,), "Engine run time, auxiliary emission controls 16 to 20"),
        0x8B: ((7,), "Diesel aftertreatment"),
        0x8F: ((7, 5), "Particulate matter sensor output"),
        0x90: ((3,), "WWH-OBD information of the vehicle"),
        0x91: ((5,), "WWH-OBD information of the unit"),
        0x92: ((2,), "Fuel system control"),
        0x93: ((3,), "WWH-OBD counters"),
        0x94: ((12,), "NOx warning and inducement"),
        0x9C: ((17,), "O2 sensors, wide range, further sensors"),
        0xA1: ((9,), "NOx, corrected"),
        0xA3: ((9,), "Evaporative system vapour pressure sensors"),
        0xA7: ((4,), "NOx, sensors 3 and 4"),
        0xA8: ((4,), "NOx, corrected, sensors 3 and 4"),
        0xA9: ((4,), "ABS disable switch"),
        0xC3: ((2,), "Fuel level A and B"),
        0xC4: ((8,), "Exhaust particulate control diagnostics"),
        0xC5: ((4,), "Fuel pressure A and B"),
        0xC6: ((7,), "Particulate control inducement"),
        0xC7: ((2,), "Distance since reflash"),
        0xC8: ((1,), "NOx and particulate control warning lamp"),
    }
)
"""PID -> numbers of data bytes (editions differ: the current one first), title. Shown as hex bytes:
they are needed to find the next PID of an answer, their formulas are not confirmed."""

LENGTHS_TOO: Final = MappingProxyType({0x06: 2, 0x07: 2, 0x08: 2, 0x09: 2, 0x55: 1, 0x56: 1, 0x57: 1, 0x58: 1})
"""PID -> the other number of data bytes that it may have, with or without a further bank."""
