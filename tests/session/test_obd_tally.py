"""What the OBD listener heard, as the survey's tally counts it."""

from busprobe.analysis.obd_seen import ObdTally
from busprobe.decode.obd import Codes, Identity, Negative, Reading, Record, Request
from busprobe.session.obd_tally import tell

RECORDS: list[Record] = [
    Request(1, "can0", 0x7DF, 1, (0x0D, 0x0C), False),
    Request(2, "can0", 0x18DB33F1, 3, (), False),
    Reading(3, "can0", 0x7E8, 1, 0x0D, "0D", "Vehicle speed", 60.0, "km/h"),
    Reading(3, "can0", 0x7E8, 1, 0x01, "01.mil", "Lamp", True, None),
    Reading(3, "can0", 0x7E8, 1, 0x00, "00", "PIDs supported", ("01", "0C"), None),
    Codes(4, "can0", 0x7E8, 3, ("P0301",)),
    Codes(5, "can0", 0x7E9, 0x0A, ()),
    Codes(5, "can0", 0x7E9, 4, ()),
    Identity(6, "can0", 0x18DAF110, 2, "VIN", "1M8GDM9AXKP042788", "check digit is right"),
    Negative(7, "can0", 0x7E8, 9, 0x12, "sub-function not supported", False),
    Negative(8, "can0", 0x7E8, 9, 0x78, "pending", True),
]


def test_every_kind_of_record() -> None:
    tally = ObdTally()
    tell(tally, RECORDS)
    found = tally.result()
    assert [(t.identifier, t.extended, t.pids) for t in found.testers] == [
        (0x7DF, False, ("01 0D", "01 0C")),
        (0x18DB33F1, True, ("03",)),
    ]
    assert {one.name: one.first for one in found.values} == {"0D": 60.0, "01.mil": "on", "00": "01, 0C"}
    assert {one.pid for one in found.values} == {"0D", "01", "00"}
    assert [(c.control_unit, c.kind, c.code) for c in found.codes] == [
        ("7E8", "confirmed", "P0301"),
        ("7E9", "cleared", ""),
        ("7E9", "permanent", ""),
    ]
    assert [one.control_unit for one in found.identities] == ["18DAF110"]
    assert [one.reason_code for one in found.negatives] == [0x12]
