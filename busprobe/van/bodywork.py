"""Messages of the body, cluster, climate, tyre and parking units, and of the gritting equipment."""

from __future__ import annotations

from dataclasses import replace

from busprobe.van.spec import MessageSpec, SignalSpec, Wander, big, choice, counter, little, switch

_WHEELS = ("FrontLeft", "FrontRight", "RearLeft", "RearRight")
_PRESSURES = (
    Wander(348.0, 356.0, 500.0),
    Wander(346.0, 353.0, 450.0),
    Wander(402.0, 411.0, 480.0),
    Wander(398.0, 409.0, 520.0),
)


def _tyres() -> tuple[SignalSpec, ...]:
    """A multiplexed message: one wheel in each frame."""
    rows = [replace(choice("Wheel", 0, 4, "frame_index_mod_4", *_WHEELS), selects=True)]
    for number, (wheel, pressure) in enumerate(zip(_WHEELS, _PRESSURES, strict=True)):
        rows.append(replace(little(f"Pressure{wheel}", 8, 12, pressure, 0.5, "kPa"), only_when=number))
        warm = little(f"Temperature{wheel}", 24, 8, Wander(1.0, 11.0, 1300.0), 1.0, "degC", signed=True)
        rows.append(replace(warm, only_when=number))
    return tuple(rows)


BODYWORK = (
    MessageSpec(0x180, "IgnitionStatus", 3, "BCM", (
        choice("KeyPosition", 0, 3, "key", "Off", "Accessory", "Run", "Crank"),
        switch("KeyPresent", 4, 1.0, "No", "Yes"),
        counter(16),
    ), 100),
    MessageSpec(0x1A0, "ParkBrake", 2, "BCM", (
        switch("Applied", 0, "park_brake", "Released", "Applied"),
        counter(8),
    ), 100),
    MessageSpec(0x1B4, "TurnSignals", 2, "BCM", (
        choice("Lever", 0, 2, "turn", "Off", "Left", "Right"),
        switch("Hazard", 2, 0.0),
        switch("LampLeft", 8, "lamp_left", comment="Follows the flashing of the lamp."),
        switch("LampRight", 10, "lamp_right", comment="Follows the flashing of the lamp."),
    ), 100, True, comment="Sent at each change and every 100 ms."),
    MessageSpec(0x210, "BatteryStatus", 6, "BCM", (
        little("Voltage", 0, 12, "battery", 0.01, "V"),
        big("Current", 23, 16, "battery_current", 0.1, "A", signed=True, comment="Charging is positive."),
        little("StateOfCharge", 32, 8, Wander(84.0, 91.0, 1200.0), 0.5, "%"),
        counter(40),
    ), 100),
    MessageSpec(0x228, "LampStatus", 2, "BCM", (
        switch("DippedBeam", 0, "headlamps"),
        switch("MainBeam", 2, 0.0),
        switch("StopLamp", 4, "stop_lamp"),
        switch("ReversingLamp", 6, "reversing"),
        switch("RearFog", 8, 0.0),
    ), 1000, True, comment="Sent at each change and once a second."),
    MessageSpec(0x23A, "DoorStatus", 1, "BCM", (
        switch("DriverDoor", 0, "driver_door", "Closed", "Open"),
        switch("PassengerDoor", 2, 0.0, "Closed", "Open"),
        switch("Bonnet", 4, 0.0, "Closed", "Open"),
    ), on_change=True, comment="Sent at each change only: silence says nothing."),
    MessageSpec(0x244, "LockStatus", 1, "BCM", (
        switch("Locked", 0, "locked", "Unlocked", "Locked"),
    ), on_change=True, comment="Sent at each change only: silence says nothing."),
    MessageSpec(0x250, "WiperStatus", 1, "BCM", (
        choice("WiperMode", 0, 3, "wipers", "Off", "Interval", "Slow", "Fast"),
        switch("Washer", 4, 0.0),
    ), 1000, True),
    MessageSpec(0x260, "ClimateStatus", 5, "CCM", (
        little("CabinTemperature", 0, 8, "cabin_temperature", 0.5, "degC", signed=True),
        little("SetTemperature", 8, 8, 20.5, 0.5, "degC", signed=True),
        little("BlowerLevel", 16, 4, 5.0),
        switch("WindscreenHeater", 20, "engine_running"),
        little("HeaterDuty", 24, 8, Wander(55.0, 80.0, 240.0), 0.5, "%"),
    ), 500),
    MessageSpec(0x268, "AmbientConditions", 3, "CCM", (
        little("OutsideTemperature", 0, 8, Wander(-5.0, -3.0, 400.0), 0.5, "degC", signed=True),
        little("RoadTemperature", 8, 8, Wander(-6.5, -4.0, 330.0), 0.5, "degC", signed=True,
               comment="Infra-red sensor under the front bumper; raw 127 means no reading."),
        little("Humidity", 16, 8, Wander(86.0, 93.0, 600.0), 0.5, "%"),
    ), 1000),
    MessageSpec(0x270, "TyrePressure", 4, "TPM", _tyres(), 1000,
                comment="Multiplexed: Wheel says whose values the frame holds."),
    MessageSpec(0x280, "FuelLevel", 2, "IC", (
        little("Level", 0, 8, Wander(62.0, 64.0, 1200.0), 0.5, "%"),
        little("Range", 8, 8, 64.0, 5.0, "km"),
    ), 1000),
    MessageSpec(0x290, "Odometer", 5, "IC", (
        little("Total", 0, 24, "odometer", 0.1, "km"),
        little("Trip", 24, 16, "trip", 0.01, "km"),
    ), 1000),
    MessageSpec(0x2A4, "ClusterDisplay", 3, "IC", (
        little("ShownSpeed", 0, 8, "shown_speed", 1.0, "km/h", comment="Reads a little high, as speedometers do."),
        little("Backlight", 8, 8, Wander(40.0, 40.0, 60.0), 0.5, "%"),
        counter(16),
    ), 200),
    MessageSpec(0x2B0, "SeatBelts", 1, "BCM", (
        switch("DriverBelt", 0, "belt", "Open", "Fastened"),
        switch("PassengerBelt", 2, 3.0, "Open", "Fastened", comment="This seat has no sensor: never available."),
    ), 500),
    MessageSpec(0x2C0, "ClockTime", 3, "IC", (
        little("Hour", 0, 5, "hour", 1.0, "h"),
        little("Minute", 8, 6, "minute", 1.0, "min"),
        little("Second", 16, 6, "second", 1.0, "s"),
    ), 1000),
    MessageSpec(0x330, "ParkingAid", 4, "PAM", (
        little("RearLeft", 0, 8, "distance_left", 2.0, "cm", comment="Raw 255: not available, not in reverse."),
        little("RearMiddle", 8, 8, "distance_middle", 2.0, "cm", comment="Raw 255: not available, not in reverse."),
        little("RearRight", 16, 8, "distance_right", 2.0, "cm", comment="Raw 255: not available, not in reverse."),
        counter(24),
    ), 200),
    MessageSpec(0x350, "SpreaderStatus", 5, "GCU", (
        choice("SpreaderState", 0, 3, "spreader", "Off", "Ready", "Spreading", "Fault"),
        little("SpreadRate", 8, 8, "spread_rate", 0.5, "g/m2"),
        big("SaltLevel", 23, 12, Wander(410.0, 468.0, 1200.0), 1.0, "kg"),
        counter(24),
    ), 200),
    MessageSpec(0x412, "NetworkManagement", 2, "BCM", (
        little("NodeAddress", 0, 8, 18.0),
        switch("StayAwake", 8, "awake", "No", "Yes"),
    ), 500),
    # Bits 25 and 24 of these are 1 and 0: a range that SAE J1939-21 leaves to others (from memory).
    MessageSpec(0x1A400110, "PloughSupport", 4, "GCU", (
        little("HydraulicPressure", 0, 12, Wander(84.0, 91.0, 90.0), 0.1, "bar"),
        switch("PloughLowered", 12, "plough", "No", "Yes"),
        little("BladeHeight", 16, 8, "blade_height", 1.0, "mm"),
        counter(24),
    ), on_change=True, comment="Sent when the plough moves."),
    MessageSpec(0x1A400210, "AxleLoads", 4, "GCU", (
        big("FrontAxle", 7, 16, Wander(1310.0, 1345.0, 37.0), 1.0, "kg"),
        big("RearAxle", 23, 16, Wander(1480.0, 1552.0, 41.0), 1.0, "kg"),
    ), 60_000),
    MessageSpec(0x1A400310, "ServiceData", 4, "IC", (
        little("DistanceToService", 0, 16, 11840.0, 1.0, "km"),
        little("DaysToService", 16, 10, 204.0, 1.0, "d"),
    ), 60_000),
)  # fmt: skip
"""In the order of their identifiers."""
