"""Signals taken in all at once say what they say when taken one by one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest
from drive import DATABASE, MS, frames, ns
from hypothesis import given, settings
from hypothesis import strategies as st
from test_engine_any_cut import PLAN, cut_at, drive

from busprobe.bench.load import loads
from busprobe.decode.database import load
from busprobe.engine import plain
from busprobe.engine.engine import Engine, Results
from busprobe.engine.history import History
from busprobe.engine.plan import Plan, build
from busprobe.frames import Batch, FrameBatch

Past = dict[str, list[tuple[int, int, float]]]


def told(plan: Plan, dealt: Sequence[tuple[str, Batch]]) -> tuple[Results, Past]:
    """Results and all change points, evaluated after every batch."""
    histories = {name: History(is_condition=s.type.is_condition) for name, s in plan.signals.items()}
    engine = Engine(plan, sorted({name for name, _ in dealt}), by_channel=True, histories=histories)
    for name, batch in dealt:
        engine.push(name, batch)
        engine.advance()
    results = engine.finish()
    points = {}
    for name, history in histories.items():
        past = history.past
        rows = zip(past.t_ns.tolist(), past.code.tolist(), past.value.tolist(), strict=True)
        points[name] = [(t, code, value if value == value else -1.0) for t, code, value in rows]
    return results, points


def both(monkeypatch: pytest.MonkeyPatch, plan: Plan, dealt: Sequence[tuple[str, Batch]]) -> list[tuple[Results, Past]]:
    out = []
    for few in (-1, 10**9):
        monkeypatch.setattr(plain, "FEW", few)
        out.append(told(plan, dealt))
    return out


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    seed=st.integers(0, 2**32),
    length=st.integers(1000, 6000),
    sizes=st.lists(st.integers(1, 60), min_size=1, max_size=4),
)
def test_a_drive_with_gaps_and_sleeps(seed: int, length: int, sizes: list[int]) -> None:
    pieces = {name: cut_at(b, sizes, ns(length + 100)) for name, b in drive(seed, length).items()}
    dealt = [(name, batch) for name, batches in pieces.items() for batch in batches]
    Random(seed).shuffle(dealt)
    dealt.sort(key=lambda pair: pair[1].complete_to or 0)
    with pytest.MonkeyPatch.context() as patch:
        one_by_one, at_once = both(patch, PLAN, dealt)
    assert at_once == one_by_one


LAYOUTS = (
    "0|8@1+ (1,0)", "7|16@0- (0.5,-40)", "4|12@1- (1,0)", "2|11@0+ (0.01,0)", "63|1@1+ (1,0)", "1|63@1+ (1,0)",
    "0|64@1- (1,0)", "7|64@0- (2,1)", "0|64@1+ (1,0)", "24|9@1+ (3,-7)", "39|20@0+ (1,0)", "0|5@1- (-1,0)",
)  # fmt: skip
"""Both byte orders, signed and not, with factors; the last ones are not plain."""


def dbc(path: Path) -> Path:
    lines = ['VERSION ""', "", "NS_ :", "", "BS_:", "", "BU_: A", ""]
    for k, layout in enumerate(LAYOUTS):
        lines += [f"BO_ {256 + k} M{k}: 8 A", f' SG_ S : {layout} [0|0] "degC" A', ""]
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


@pytest.mark.parametrize("seed", range(5))
def test_every_layout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seed: int) -> None:
    bench = '[vehicle]\nname = "t"\n[[bus]]\nname = "body"\n[signals]\n' + "".join(
        f's{k} = {{ from = "body.M{k}.S", unit = "{unit}", max_age = "1 s" }}\n'
        for k, unit in enumerate(["degC", "degF"] * (len(LAYOUTS) // 2))
    )
    plan = build(loads(bench), {"body": [load(dbc(tmp_path / "all.dbc"))]})
    random = Random(seed)
    rows = [
        (10.0 * i, 256 + random.randrange(len(LAYOUTS)), random.randbytes(random.choice([8, 8, 8, 8, 3])).hex())
        for i in range(600)
    ]
    batch = replace(frames(rows), complete_to_ns=ns(6100))
    dealt = [("frames", piece) for piece in cut_at(batch, [30, 7, 90], ns(6100))]
    one_by_one, at_once = both(monkeypatch, plan, dealt)
    assert at_once == one_by_one
    assert all(len(points) > 5 for points in at_once[1].values())


def test_usual_traffic_is_taken_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """After the first sample no frame of steady traffic goes the long way."""
    bench = '[vehicle]\nname = "t"\n[[bus]]\nname = "body"\n[signals]\nspeed = { from = "body.Wheels.Speed" }\n'
    plan = build(loads(bench), {"body": [DATABASE]})
    rows = [(10.0 * i, 288, (i % 50).to_bytes(2, "little").hex()) for i in range(400)]
    counts: list[int] = []
    take = plain.PlainTaps.take

    def counted(self: plain.PlainTaps, batch: FrameBatch, *rest: object) -> object:
        left = take(self, batch, *rest)  # type: ignore[arg-type]
        counts.append(len(left))
        return left

    monkeypatch.setattr(plain.PlainTaps, "take", counted)
    engine = Engine(plan, ["frames"])
    for piece in cut_at(frames(rows), [20], 4000 * MS):
        engine.push("frames", piece)
        engine.advance()
    assert counts == [1, *[0] * 19]
