"""Messages of the engine, transmission, brake and steering control units."""

from __future__ import annotations

from busprobe.van.spec import Guard, MessageSpec, Wander, big, checksum, choice, counter, little, switch

GEARS = ("Park", "Reverse", "Neutral", "Drive")

DRIVETRAIN = (
    MessageSpec(0x0C2, "EngineData", 8, "ECM", (
        little("EngineSpeed", 0, 16, "engine_speed", 0.25, "rpm"),
        little("ThrottlePosition", 16, 8, "throttle", 0.4, "%"),
        little("EngineTorque", 24, 16, "engine_torque", 0.5, "Nm", signed=True),
        choice("RunState", 40, 2, "run_state", "Off", "Cranking", "Running"),
        counter(48),
        checksum(7, Guard.XOR),
    ), 40),
    MessageSpec(0x0D0, "SteeringAngle", 6, "ABS", (
        big("Angle", 7, 16, "steering_angle", 0.1, "deg", signed=True, comment="Left is positive."),
        big("AngleRate", 23, 12, "steering_rate", 1.0, "deg/s", signed=True),
        counter(24),
        checksum(4, Guard.SUM),
    ), 50),
    MessageSpec(0x0E4, "TransmissionStatus", 6, "TCM", (
        choice("SelectedGear", 0, 4, "gear", *GEARS, comment="The lever, not the gear that is engaged."),
        little("EngagedGear", 8, 5, "engaged_gear", signed=True, comment="-1 is reverse, 0 none."),
        little("OilTemperature", 16, 8, "gearbox_temperature", 1.0, "degC", -40.0),
        little("OutputShaftSpeed", 24, 12, "shaft_speed", 1.0, "rpm"),
        counter(36),
        checksum(5, Guard.XOR),
    ), 20),
    MessageSpec(0x0F1, "BrakeStatus", 4, "ABS", (
        switch("PedalSwitch", 0, "brake", "Released", "Pressed"),
        switch("AbsActive", 2, 0.0, "Inactive", "Active"),
        big("BrakePressure", 15, 12, "brake_pressure", 0.1, "bar"),
        counter(16),
        checksum(3, Guard.SUM),
    ), 40),
    MessageSpec(0x110, "WheelSpeed", 8, "ABS", (
        little("VehicleSpeed", 0, 16, "vehicle_speed", 0.01, "km/h"),
        little("FrontLeft", 16, 12, "wheel_front_left", 0.0625, "km/h"),
        little("FrontRight", 28, 12, "wheel_front_right", 0.0625, "km/h"),
        little("RearLeft", 40, 12, "wheel_rear_left", 0.0625, "km/h"),
        little("RearRight", 52, 12, "wheel_rear_right", 0.0625, "km/h"),
    ), 40),
    MessageSpec(0x12C, "VehicleDynamics", 6, "ABS", (
        big("YawRate", 7, 12, "yaw_rate", 0.1, "deg/s", signed=True),
        big("LateralAcceleration", 11, 12, "lateral_acceleration", 0.01, "m/s2", signed=True),
        big("LongitudinalAcceleration", 31, 12, "longitudinal_acceleration", 0.01, "m/s2", signed=True),
        counter(32),
    ), 100),
    MessageSpec(0x134, "TorqueRequest", 6, "TCM", (
        little("DriverDemand", 0, 12, "torque_demand", 0.5, "Nm", -500.0),
        little("TransmissionLimit", 12, 12, 900.0, 0.5, "Nm", -500.0),
        switch("ShiftInProgress", 24, 0.0, "No", "Yes"),
        counter(32),
        checksum(5, Guard.SUM),
    ), 100),
    MessageSpec(0x142, "PedalPosition", 3, "ECM", (
        little("Accelerator", 0, 8, "accelerator", 0.4, "%"),
        switch("KickDown", 8, 0.0, "No", "Yes"),
        counter(16),
    ), 50),
    MessageSpec(0x1C8, "CruiseControl", 3, "ECM", (
        choice("CruiseState", 0, 3, 0.0, "Off", "Standby", "Active", "Override"),
        little("SetSpeed", 8, 8, 0.0, 1.0, "km/h"),
        counter(16),
    ), 200),
    MessageSpec(0x2D0, "AlternatorStatus", 4, "ECM", (
        little("ChargeVoltage", 0, 8, "charge_voltage", 0.1, "V"),
        little("FieldDuty", 8, 8, "alternator_duty", 0.5, "%"),
        switch("ChargeWarning", 16, "charge_warning"),
        counter(24),
    ), 200),
    MessageSpec(0x2E0, "CoolingFan", 3, "ECM", (
        little("FanDuty", 0, 8, 0.0, 0.5, "%"),
        little("CoolantTemperature", 8, 8, "coolant_temperature", 1.0, "degC", -40.0),
        little("IntakeTemperature", 16, 8, "intake_temperature", 1.0, "degC", -40.0),
    ), 200),
    MessageSpec(0x300, "ExhaustStatus", 6, "ECM", (
        big("ExhaustTemperature", 7, 16, "exhaust_temperature", 0.1, "degC", -40.0),
        big("FilterPressure", 23, 12, Wander(12.0, 46.0, 71.0), 0.1, "kPa", signed=True),
        little("FilterLoad", 32, 8, Wander(31.0, 33.0, 400.0), 0.5, "%"),
    ), 200),
    MessageSpec(0x318, "OilStatus", 3, "ECM", (
        little("OilPressure", 0, 8, "oil_pressure", 4.0, "kPa"),
        little("OilTemperature", 8, 8, "coolant_temperature", 1.0, "degC", -40.0),
        little("OilLevel", 16, 8, Wander(78.0, 80.0, 300.0), 0.5, "%"),
    ), 500),
)  # fmt: skip
"""In the order of their identifiers."""
