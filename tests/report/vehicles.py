"""Reports on an invented vehicle."""

from busprobe.analysis.vehicle import Readiness, UnitRead, VehicleRead
from busprobe.health import OtherTester
from busprobe.report.vehicle_report import Shortfall, VehicleReport

AT = 1_768_374_000_000_000_000
VIN = "A0TPV3D23TK000012"
READY = Readiness(True, 2, ("misfire", "fuel", "catalyst"), ("catalyst",), "spark")
ENGINE = UnitRead(
    "7E8",
    "ECM / EngineControl",
    VIN,
    "check digit is right",
    ("01", "0C", "0D", "42"),
    {"stored": ("P0301", "U0100"), "pending": (), "permanent": ("P0420",)},
    READY,
    12.684,
    0.0,
    (),
)
GEARBOX = UnitRead("7E9", "TCM", pids=("01",), codes={"stored": ()}, refusals=("0A: service not supported (code 11)",))
READ = VehicleRead("body", AT, (ENGINE, GEARBOX))
TESTER = OtherTester((0x7DF, 0x18DB33F1), 21, AT, AT, 2.0, ("01 0C 0D 42", "03"))
REPORT = VehicleReport("Roads patrol van 12", "live", READ, 12)
SHORT = Shortfall("09 0A", "7E9", "the answer broke off")
