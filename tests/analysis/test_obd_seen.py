"""The tally of OBD traffic keeps one entry for each kind."""

from busprobe.analysis.obd_seen import ObdTally

S = 1_000_000_000


def value(tally: ObdTally, t_s: int, value: float | str, unit_id: str = "7E8") -> None:
    tally.value(
        t_s * S, "can0", unit_id, service=1, pid="0D", name="0D", title="Vehicle speed", value=value, unit="km/h"
    )


def test_numbers_have_first_last_least_and_greatest() -> None:
    tally = ObdTally()
    for t_s, speed in enumerate([30.0, 10.0, 50.0, 40.0]):
        value(tally, t_s, speed)
    (seen,) = tally.result().values
    assert (seen.count, seen.first, seen.last, seen.least, seen.greatest) == (4, 30.0, 40.0, 10.0, 50.0)
    assert (seen.first_ns, seen.last_ns, seen.unit) == (0, 3 * S, "km/h")


def test_texts_have_neither_least_nor_greatest() -> None:
    tally = ObdTally()
    value(tally, 0, "open loop")
    value(tally, 1, "closed loop")
    (seen,) = tally.result().values
    assert (seen.first, seen.last, seen.least, seen.greatest) == ("open loop", "closed loop", None, None)


def test_control_units_are_kept_apart() -> None:
    tally = ObdTally()
    value(tally, 0, 1.0, "7E9")
    value(tally, 0, 2.0, "7E8")
    assert [one.control_unit for one in tally.result().values] == ["7E8", "7E9"]


def test_tester_and_how_often_it_asks() -> None:
    tally = ObdTally()
    for k in range(9):
        asked = ("01 0C", "01 0D") if k else ("01 0C",)
        tally.request(k * S // 4, "can0", 0x7DF, extended=False, was_sent=False, asked=asked)
    (tester,) = tally.result().testers
    assert (tester.requests, tester.per_second, tester.pids) == (9, 4.0, ("01 0C", "01 0D"))


def test_a_single_request_has_no_rate() -> None:
    tally = ObdTally()
    tally.request(5, "can0", 0x7DF, extended=False, was_sent=False, asked=("03",))
    assert tally.result().testers[0].per_second is None


def test_own_requests_are_kept_apart_from_those_of_others() -> None:
    tally = ObdTally()
    for was_sent in (True, False):
        tally.request(5, "can0", 0x7DF, extended=False, was_sent=was_sent, asked=("03",))
    assert [one.was_sent for one in tally.result().testers] == [False, True]


def test_identities_codes_and_refusals() -> None:
    tally = ObdTally()
    for t_s in (1, 2):
        tally.identity(
            t_s * S, "can0", "7E8", infotype=2, title="VIN", text="1M8GDM9AXKP042788", note="check digit is right"
        )
        tally.codes(t_s * S, "can0", "7E8", "confirmed", ("P0301", "P0420"))
        tally.codes(t_s * S, "can0", "7E8", "pending", ())
        tally.negative(t_s * S, "can0", "7E8", service=9, reason_code=0x12, reason="sub-function not supported")
    summary = tally.result(broken=3)
    assert [(one.text, one.t_ns) for one in summary.identities] == [("1M8GDM9AXKP042788", S)]
    assert [(c.code, c.kind, c.count) for c in summary.codes] == [
        ("P0301", "confirmed", 2), ("P0420", "confirmed", 2), ("", "pending", 2),
    ]  # fmt: skip
    assert [(n.service, n.reason_code, n.count) for n in summary.negatives] == [(9, 0x12, 2)]
    assert summary.broken == 3
    assert not summary.is_empty
    assert ObdTally().result().is_empty
