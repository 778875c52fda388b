"""Scaled numbers of OBD service 01 and 02, as tables (SAE J1979-DA, ISO 15031-5; from memory).

    PID   data bytes   part            title                    bytes  scale    support bit
    0x0C  2            ""              "Engine speed"           "AB"   RPM      None
    0x6F  3            "inlet_a"       "Turbo compressor ..."   "B"    KPA      0

Checked row by row against several public decoders (tests/decode/data/obd_pids.csv names them).
Titles ending in SCALE_DISPUTED: public decoders disagree, the scale here is the standard's as
remembered. Where byte A of a PID says which of its quantities the unit supports, the bit is
given; PIDs 70, 71, 9B and A5 have such a byte too, but its bits are not confirmed: not used.
"""

from __future__ import annotations

from typing import Final

from busprobe.decode.quantity import PLAIN, Scale

NumericRow = tuple[int, int, str, str, str, Scale, int | None]
SCALE_DISPUTED: Final = " (scale disputed between sources)"

PERCENT: Final = Scale(100, 255, 0, "%")
TRIM: Final = Scale(100, 128, -100, "%")
TRIM_OR_NONE: Final = Scale(100, 128, -100, "%", absent=0xFF)
"""FF: the sensor takes no part in the fuel trim."""
TORQUE: Final = Scale(1, 1, -125, "%")
TEMPERATURE: Final = Scale(1, 1, -40, "degC")
TENTH_DEGREE: Final = Scale(1, 10, -40, "degC")
KPA: Final = Scale(1, 1, 0, "kPa")
KPA_10: Final = Scale(10, 1, 0, "kPa")
KPA_32ND: Final = Scale(1, 32, 0, "kPa")
KPA_100TH: Final = Scale(1, 100, 0, "kPa")
MAF_32ND: Final = Scale(1, 32, 0, "g/s")
LAMBDA: Final = Scale(1, 32768, 0, None)
LAMBDA_WIDE: Final = Scale(1, 8192, 0, None)
O2_VOLTS_WIDE: Final = Scale(1, 8192, 0, "V")
O2_CURRENT: Final = Scale(1, 256, -128, "mA")
OXYGEN: Final = Scale(100, 65535, 0, "%")
SECONDS: Final = Scale(1, 1, 0, "s")
MINUTES: Final = Scale(1, 1, 0, "min")
KM: Final = Scale(1, 1, 0, "km")
VOLTS: Final = Scale(1, 1, 0, "V")
REAGENT_RATE: Final = Scale(1, 200, 0, "L/h")
PARTICULATES: Final = Scale(1, 80, 0, "mg/m3")
NOX: Final = Scale(1, 1, 0, "ppm")
FUEL_RATE: Final = Scale(1, 50, 0, "g/s")

SINGLE: Final[tuple[NumericRow, ...]] = (
    (0x04, 1, "", "Calculated load value", "A", PERCENT, None),
    (0x05, 1, "", "Engine coolant temperature", "A", TEMPERATURE, None),
    (0x06, 1, "", "Short term fuel trim, bank 1", "A", TRIM, None),
    (0x06, 1, "bank3", "Short term fuel trim, bank 3", "B", TRIM, None),
    (0x07, 1, "", "Long term fuel trim, bank 1", "A", TRIM, None),
    (0x07, 1, "bank3", "Long term fuel trim, bank 3", "B", TRIM, None),
    (0x08, 1, "", "Short term fuel trim, bank 2", "A", TRIM, None),
    (0x08, 1, "bank4", "Short term fuel trim, bank 4", "B", TRIM, None),
    (0x09, 1, "", "Long term fuel trim, bank 2", "A", TRIM, None),
    (0x09, 1, "bank4", "Long term fuel trim, bank 4", "B", TRIM, None),
    (0x0A, 1, "", "Fuel pressure (gauge)", "A", Scale(3, 1, 0, "kPa"), None),
    (0x0B, 1, "", "Intake manifold absolute pressure", "A", KPA, None),
    (0x0C, 2, "", "Engine speed", "AB", Scale(1, 4, 0, "rpm"), None),
    (0x0D, 1, "", "Vehicle speed", "A", Scale(1, 1, 0, "km/h"), None),
    (0x0E, 1, "", "Ignition timing advance, cylinder 1", "A", Scale(1, 2, -64, "deg"), None),
    (0x0F, 1, "", "Intake air temperature", "A", TEMPERATURE, None),
    (0x10, 2, "", "Mass air flow", "AB", Scale(1, 100, 0, "g/s"), None),
    (0x11, 1, "", "Absolute throttle position", "A", PERCENT, None),
    (0x1F, 2, "", "Time since engine start", "AB", SECONDS, None),
    (0x21, 2, "", "Distance travelled with the MIL on", "AB", KM, None),
    (0x22, 2, "", "Fuel rail pressure relative to manifold vacuum", "AB", Scale(79, 1000, 0, "kPa"), None),
    (0x23, 2, "", "Fuel rail pressure (gauge)", "AB", KPA_10, None),
    (0x2C, 1, "", "Commanded EGR", "A", PERCENT, None),
    (0x2D, 1, "", "EGR error", "A", TRIM, None),
    (0x2E, 1, "", "Commanded evaporative purge", "A", PERCENT, None),
    (0x2F, 1, "", "Fuel level", "A", PERCENT, None),
    (0x30, 1, "", "Warm-ups since codes were cleared", "A", PLAIN, None),
    (0x31, 2, "", "Distance travelled since codes were cleared", "AB", KM, None),
    (0x32, 2, "", "Evaporative system vapour pressure", "AB", Scale(1, 4, 0, "Pa", signed=True), None),
    (0x33, 1, "", "Barometric pressure", "A", KPA, None),
    (0x3C, 2, "", "Catalyst temperature, bank 1 sensor 1", "AB", TENTH_DEGREE, None),
    (0x3D, 2, "", "Catalyst temperature, bank 2 sensor 1", "AB", TENTH_DEGREE, None),
    (0x3E, 2, "", "Catalyst temperature, bank 1 sensor 2", "AB", TENTH_DEGREE, None),
    (0x3F, 2, "", "Catalyst temperature, bank 2 sensor 2", "AB", TENTH_DEGREE, None),
    (0x42, 2, "", "Control module voltage", "AB", Scale(1, 1000, 0, "V"), None),
    (0x43, 2, "", "Absolute load value", "AB", PERCENT, None),
    (0x44, 2, "", "Commanded lambda", "AB", LAMBDA, None),
    (0x45, 1, "", "Relative throttle position", "A", PERCENT, None),
    (0x46, 1, "", "Ambient air temperature", "A", TEMPERATURE, None),
    (0x47, 1, "", "Absolute throttle position B", "A", PERCENT, None),
    (0x48, 1, "", "Absolute throttle position C", "A", PERCENT, None),
    (0x49, 1, "", "Accelerator pedal position D", "A", PERCENT, None),
    (0x4A, 1, "", "Accelerator pedal position E", "A", PERCENT, None),
    (0x4B, 1, "", "Accelerator pedal position F", "A", PERCENT, None),
    (0x4C, 1, "", "Commanded throttle actuator", "A", PERCENT, None),
    (0x4D, 2, "", "Time run by the engine with the MIL on", "AB", MINUTES, None),
    (0x4E, 2, "", "Time since codes were cleared", "AB", MINUTES, None),
    (0x4F, 4, "max_lambda", "Greatest lambda of the unit", "A", PLAIN, None),
    (0x4F, 4, "max_o2_voltage", "Greatest O2 sensor voltage of the unit", "B", VOLTS, None),
    (0x4F, 4, "max_o2_current", "Greatest O2 sensor current of the unit", "C", Scale(1, 1, 0, "mA"), None),
    (0x4F, 4, "max_map", "Greatest intake manifold pressure of the unit", "D", KPA_10, None),
    (0x50, 4, "", "Greatest mass air flow of the unit", "A", Scale(10, 1, 0, "g/s"), None),
    (0x52, 1, "", "Alcohol in fuel", "A", PERCENT, None),
    (0x53, 2, "", "Absolute evaporative system vapour pressure", "AB", Scale(1, 200, 0, "kPa"), None),
    (0x54, 2, "", "Evaporative system vapour pressure, wide range", "AB", Scale(1, 1, 0, "Pa", signed=True), None),
    (0x55, 2, "bank1", "Short term secondary O2 sensor fuel trim, bank 1", "A", TRIM, None),
    (0x55, 2, "bank3", "Short term secondary O2 sensor fuel trim, bank 3", "B", TRIM, None),
    (0x56, 2, "bank1", "Long term secondary O2 sensor fuel trim, bank 1", "A", TRIM, None),
    (0x56, 2, "bank3", "Long term secondary O2 sensor fuel trim, bank 3", "B", TRIM, None),
    (0x57, 2, "bank2", "Short term secondary O2 sensor fuel trim, bank 2", "A", TRIM, None),
    (0x57, 2, "bank4", "Short term secondary O2 sensor fuel trim, bank 4", "B", TRIM, None),
    (0x58, 2, "bank2", "Long term secondary O2 sensor fuel trim, bank 2", "A", TRIM, None),
    (0x58, 2, "bank4", "Long term secondary O2 sensor fuel trim, bank 4", "B", TRIM, None),
    (0x59, 2, "", "Fuel rail pressure (absolute)", "AB", KPA_10, None),
    (0x5A, 1, "", "Relative accelerator pedal position", "A", PERCENT, None),
    (0x5B, 1, "", "Hybrid or electric battery charge left", "A", PERCENT, None),
    (0x5C, 1, "", "Engine oil temperature", "A", TEMPERATURE, None),
    (0x5D, 2, "", "Fuel injection timing", "AB", Scale(1, 128, -210, "deg"), None),
    (0x5E, 2, "", "Engine fuel rate", "AB", Scale(1, 20, 0, "L/h"), None),
    (0x61, 1, "", "Driver's demand engine torque", "A", TORQUE, None),
    (0x62, 1, "", "Actual engine torque", "A", TORQUE, None),
    (0x63, 2, "", "Engine reference torque", "AB", Scale(1, 1, 0, "Nm"), None),
    (0x64, 5, "point1", "Engine torque at idle, point 1", "A", TORQUE, None),
    (0x64, 5, "point2", "Engine torque at point 2", "B", TORQUE, None),
    (0x64, 5, "point3", "Engine torque at point 3", "C", TORQUE, None),
    (0x64, 5, "point4", "Engine torque at point 4", "D", TORQUE, None),
    (0x64, 5, "point5", "Engine torque at point 5", "E", TORQUE, None),
    (0x66, 5, "sensor_a", "Mass air flow, sensor A", "BC", MAF_32ND, 0),
    (0x66, 5, "sensor_b", "Mass air flow, sensor B", "DE", MAF_32ND, 1),
    (0x67, 3, "sensor1", "Engine coolant temperature, sensor 1", "B", TEMPERATURE, 0),
    (0x67, 3, "sensor2", "Engine coolant temperature, sensor 2", "C", TEMPERATURE, 1),
    (0x68, 7, "bank1_sensor1", "Intake air temperature, bank 1 sensor 1", "B", TEMPERATURE, 0),
    (0x68, 7, "bank1_sensor2", "Intake air temperature, bank 1 sensor 2", "C", TEMPERATURE, 1),
    (0x68, 7, "bank1_sensor3", "Intake air temperature, bank 1 sensor 3", "D", TEMPERATURE, 2),
    (0x68, 7, "bank2_sensor1", "Intake air temperature, bank 2 sensor 1", "E", TEMPERATURE, 3),
    (0x68, 7, "bank2_sensor2", "Intake air temperature, bank 2 sensor 2", "F", TEMPERATURE, 4),
    (0x68, 7, "bank2_sensor3", "Intake air temperature, bank 2 sensor 3", "G", TEMPERATURE, 5),
    (0x69, 7, "commanded_a", "Commanded EGR A", "B", PERCENT, 0),
    (0x69, 7, "actual_a", "Actual EGR A", "C", PERCENT, 1),
    (0x69, 7, "error_a", "EGR A error", "D", TRIM, 2),
    (0x69, 7, "commanded_b", "Commanded EGR B", "E", PERCENT, 3),
    (0x69, 7, "actual_b", "Actual EGR B", "F", PERCENT, 4),
    (0x69, 7, "error_b", "EGR B error", "G", TRIM, 5),
    (0x6A, 5, "commanded_a", "Commanded diesel intake air flow A", "B", PERCENT, 0),
    (0x6A, 5, "position_a", "Relative diesel intake air flow position A", "C", PERCENT, 1),
    (0x6A, 5, "commanded_b", "Commanded diesel intake air flow B", "D", PERCENT, 2),
    (0x6A, 5, "position_b", "Relative diesel intake air flow position B", "E", PERCENT, 3),
    (0x6B, 5, "bank1_sensor1", "EGR temperature, bank 1 sensor 1", "B", TEMPERATURE, 0),
    (0x6B, 5, "bank1_sensor2", "EGR temperature, bank 1 sensor 2", "C", TEMPERATURE, 1),
    (0x6B, 5, "bank2_sensor1", "EGR temperature, bank 2 sensor 1", "D", TEMPERATURE, 2),
    (0x6B, 5, "bank2_sensor2", "EGR temperature, bank 2 sensor 2", "E", TEMPERATURE, 3),
    (0x6C, 5, "commanded_a", "Commanded throttle actuator A", "B", PERCENT, 0),
    (0x6C, 5, "position_a", "Relative throttle position A", "C", PERCENT, 1),
    (0x6C, 5, "commanded_b", "Commanded throttle actuator B", "D", PERCENT, 2),
    (0x6C, 5, "position_b", "Relative throttle position B", "E", PERCENT, 3),
    (0x6D, 11, "commanded_a", "Commanded fuel rail pressure A", "BC", KPA_10, 0),
    (0x6D, 11, "pressure_a", "Fuel rail pressure A", "DE", KPA_10, 1),
    (0x6D, 11, "temperature_a", "Fuel rail temperature A", "F", TEMPERATURE, 2),
    (0x6D, 11, "commanded_b", "Commanded fuel rail pressure B", "GH", KPA_10, 3),
    (0x6D, 11, "pressure_b", "Fuel rail pressure B", "IJ", KPA_10, 4),
    (0x6D, 11, "temperature_b", "Fuel rail temperature B", "K", TEMPERATURE, 5),
    (0x6E, 9, "commanded_a", "Commanded injection control pressure A", "BC", KPA_10, 0),
    (0x6E, 9, "pressure_a", "Injection control pressure A", "DE", KPA_10, 1),
    (0x6E, 9, "commanded_b", "Commanded injection control pressure B", "FG", KPA_10, 2),
    (0x6E, 9, "pressure_b", "Injection control pressure B", "HI", KPA_10, 3),
    (0x6F, 3, "inlet_a", "Turbo compressor inlet pressure A", "B", KPA, 0),
    (0x6F, 3, "inlet_b", "Turbo compressor inlet pressure B", "C", KPA, 1),
    (0x70, 10, "commanded_a", "Commanded boost pressure A", "BC", KPA_32ND, None),
    (0x70, 10, "pressure_a", "Boost pressure A", "DE", KPA_32ND, None),
    (0x70, 10, "commanded_b", "Commanded boost pressure B", "FG", KPA_32ND, None),
    (0x70, 10, "pressure_b", "Boost pressure B", "HI", KPA_32ND, None),
    (0x71, 6, "commanded_a", "Commanded variable geometry turbo A", "B", PERCENT, None),
    (0x71, 6, "position_a", "Variable geometry turbo position A", "C", PERCENT, None),
    (0x71, 6, "commanded_b", "Commanded variable geometry turbo B", "D", PERCENT, None),
    (0x71, 6, "position_b", "Variable geometry turbo position B", "E", PERCENT, None),
    (0x72, 5, "commanded_a", "Commanded wastegate A", "B", PERCENT, 0),
    (0x72, 5, "position_a", "Wastegate position A", "C", PERCENT, 1),
    (0x72, 5, "commanded_b", "Commanded wastegate B", "D", PERCENT, 2),
    (0x72, 5, "position_b", "Wastegate position B", "E", PERCENT, 3),
    (0x73, 5, "bank1", "Exhaust pressure, bank 1", "BC", KPA_100TH, 0),
    (0x73, 5, "bank2", "Exhaust pressure, bank 2", "DE", KPA_100TH, 1),
    (0x74, 5, "turbo_a", "Turbo speed A" + SCALE_DISPUTED, "BC", Scale(10, 1, 0, "rpm"), 0),
    (0x74, 5, "turbo_b", "Turbo speed B" + SCALE_DISPUTED, "DE", Scale(10, 1, 0, "rpm"), 1),
    (0x7F, 13, "total", "Engine run time", "BCDE", SECONDS, 0),
    (0x7F, 13, "idle", "Engine run time at idle", "FGHI", SECONDS, 1),
    (0x7F, 13, "pto", "Engine run time with the PTO on", "JKLM", SECONDS, 2),
    (0x83, 9, "bank1_sensor1", "NOx, bank 1 sensor 1" + SCALE_DISPUTED, "BC", NOX, 0),
    (0x83, 9, "bank1_sensor2", "NOx, bank 1 sensor 2" + SCALE_DISPUTED, "DE", NOX, 1),
    (0x83, 9, "bank2_sensor1", "NOx, bank 2 sensor 1" + SCALE_DISPUTED, "FG", NOX, 2),
    (0x83, 9, "bank2_sensor2", "NOx, bank 2 sensor 2" + SCALE_DISPUTED, "HI", NOX, 3),
    (0x84, 1, "", "Manifold surface temperature", "A", TEMPERATURE, None),
    (0x85, 10, "consumption", "NOx reagent consumption", "BC", REAGENT_RATE, 0),
    (0x85, 10, "demanded", "Demanded NOx reagent consumption", "DE", REAGENT_RATE, 1),
    (0x85, 10, "level", "NOx reagent tank level", "F", PERCENT, 2),
    (0x85, 10, "warning_time", "Engine run time with the NOx warning on", "GHIJ", SECONDS, 3),
    (0x86, 5, "bank1", "Particulate matter, bank 1", "BC", PARTICULATES, 0),
    (0x86, 5, "bank2", "Particulate matter, bank 2", "DE", PARTICULATES, 1),
    (0x87, 5, "sensor_a", "Intake manifold absolute pressure A", "BC", KPA_32ND, 0),
    (0x87, 5, "sensor_b", "Intake manifold absolute pressure B", "DE", KPA_32ND, 1),
    (0x8D, 1, "", "Absolute throttle position G", "A", PERCENT, None),
    (0x8E, 1, "", "Engine friction torque", "A", TORQUE, None),
    (0x9A, 6, "voltage", "Hybrid system voltage", "CD", Scale(1, 64, 0, "V"), 1),
    (0x9A, 6, "current", "Hybrid system current" + SCALE_DISPUTED, "EF", Scale(1, 10, 0, "A", signed=True), 2),
    (0x9B, 4, "concentration", "Diesel exhaust fluid concentration", "B", Scale(1, 4, 0, "%"), None),
    (0x9B, 4, "temperature", "Diesel exhaust fluid temperature", "C", TEMPERATURE, None),
    (0x9B, 4, "level", "Diesel exhaust fluid tank level", "D", PERCENT, None),
    (0x9D, 4, "engine", "Engine fuel rate", "AB", FUEL_RATE, None),
    (0x9D, 4, "vehicle", "Vehicle fuel rate", "CD", FUEL_RATE, None),
    (0x9E, 2, "", "Engine exhaust flow rate", "AB", Scale(1, 5, 0, "kg/h"), None),
    (0xA2, 2, "", "Cylinder fuel rate", "AB", Scale(1, 32, 0, "mg/stroke"), None),
    (0xA4, 4, "ratio", "Actual gear ratio", "CD", Scale(1, 1000, 0, None), 1),
    (0xA5, 4, "commanded", "Commanded diesel exhaust fluid dosing", "B", Scale(1, 2, 0, "%"), None),
    (0xA5, 4, "usage", "Diesel exhaust fluid used in this drive cycle", "CD", Scale(1, 2000, 0, "L"), None),
    (0xA6, 4, "", "Odometer", "ABCD", Scale(1, 10, 0, "km"), None),
)  # fmt: skip


def _family(
    pids: range | tuple[int, ...], length: int, title: str, parts: tuple[tuple[str, str, str, Scale, int | None], ...]
) -> tuple[NumericRow, ...]:
    """PIDs of one layout: `title` takes the PID's number in the family, the part, the number as a letter."""
    return tuple(
        (pid, length, part, title.format(number, text, "ABCDEFGH"[number - 1]), place, scale, bit)
        for number, pid in enumerate(pids, start=1)
        for part, text, place, scale, bit in parts
    )


NUMERIC: Final[tuple[NumericRow, ...]] = (
    *SINGLE,
    *_family(range(0x14, 0x1C), 2, "O2 sensor {}, {}", (
        ("voltage", "voltage", "A", Scale(1, 200, 0, "V"), None),
        ("trim", "short term fuel trim", "B", TRIM_OR_NONE, None),
    )),
    *_family(range(0x24, 0x2C), 4, "O2 sensor {}, wide range, {}", (
        ("lambda", "lambda", "AB", LAMBDA, None),
        ("voltage", "voltage", "CD", O2_VOLTS_WIDE, None),
    )),
    *_family(range(0x34, 0x3C), 4, "O2 sensor {}, wide range, {}", (
        ("lambda", "lambda", "AB", LAMBDA, None),
        ("current", "current", "CD", O2_CURRENT, None),
    )),
    *_family((0x75, 0x76), 7, "Turbo {2} temperature, {1}", (
        ("compressor_in", "compressor inlet", "B", TEMPERATURE, 0),
        ("compressor_out", "compressor outlet", "C", TEMPERATURE, 1),
        ("turbine_in", "turbine inlet", "DE", TENTH_DEGREE, 2),
        ("turbine_out", "turbine outlet", "FG", TENTH_DEGREE, 3),
    )),
    *_family((0x77,), 5, "Charge air cooler temperature, {1}", (
        ("bank1_sensor1", "bank 1 sensor 1", "B", TEMPERATURE, 0),
        ("bank1_sensor2", "bank 1 sensor 2", "C", TEMPERATURE, 1),
        ("bank2_sensor1", "bank 2 sensor 1", "D", TEMPERATURE, 2),
        ("bank2_sensor2", "bank 2 sensor 2", "E", TEMPERATURE, 3),
    )),
    *_family((0x78, 0x79), 9, "Exhaust gas temperature, bank {} {}", (
        ("sensor1", "sensor 1", "BC", TENTH_DEGREE, 0),
        ("sensor2", "sensor 2", "DE", TENTH_DEGREE, 1),
        ("sensor3", "sensor 3", "FG", TENTH_DEGREE, 2),
        ("sensor4", "sensor 4", "HI", TENTH_DEGREE, 3),
    )),
    *_family((0x98, 0x99), 9, "Exhaust gas temperature, bank {} {}", (
        ("sensor5", "sensor 5", "BC", TENTH_DEGREE, 0),
        ("sensor6", "sensor 6", "DE", TENTH_DEGREE, 1),
        ("sensor7", "sensor 7", "FG", TENTH_DEGREE, 2),
        ("sensor8", "sensor 8", "HI", TENTH_DEGREE, 3),
    )),
    *_family((0x7A, 0x7B), 7, "Particulate filter, bank {}, {}", (
        ("delta", "pressure drop" + SCALE_DISPUTED, "BC", Scale(1, 100, 0, "kPa", signed=True), 0),
        ("inlet", "inlet pressure", "DE", KPA_100TH, 1),
        ("outlet", "outlet pressure", "FG", KPA_100TH, 2),
    )),
    *_family((0x7C,), 9, "Particulate filter temperature, {1}", (
        ("bank1_inlet", "bank 1 inlet", "BC", TENTH_DEGREE, 0),
        ("bank1_outlet", "bank 1 outlet", "DE", TENTH_DEGREE, 1),
        ("bank2_inlet", "bank 2 inlet", "FG", TENTH_DEGREE, 2),
        ("bank2_outlet", "bank 2 outlet", "HI", TENTH_DEGREE, 3),
    )),
    *_family((0x8C,), 17, "O2 sensor, wide range, {1}", (
        ("oxygen1", "oxygen, bank 1 sensor 1", "BC", OXYGEN, 0),
        ("oxygen2", "oxygen, bank 1 sensor 2", "DE", OXYGEN, 1),
        ("oxygen3", "oxygen, bank 2 sensor 1", "FG", OXYGEN, 2),
        ("oxygen4", "oxygen, bank 2 sensor 2", "HI", OXYGEN, 3),
        ("lambda1", "lambda, bank 1 sensor 1", "JK", LAMBDA_WIDE, 4),
        ("lambda2", "lambda, bank 1 sensor 2", "LM", LAMBDA_WIDE, 5),
        ("lambda3", "lambda, bank 2 sensor 1", "NO", LAMBDA_WIDE, 6),
        ("lambda4", "lambda, bank 2 sensor 2", "PQ", LAMBDA_WIDE, 7),
    )),
    *_family((0x9F,), 9, "Fuel system use, {1}", tuple(
        (f"system{n + 1}", f"system {n + 1}", "BCDEFGHI"[n], PERCENT, n) for n in range(8)
    )),
)  # fmt: skip
