"""Opens what the screens look at: a recording, or the live vehicle of a bench file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path

from busprobe.bench.model import NO_BENCH
from busprobe.decode.layout import Database
from busprobe.engine.plan import Plan, build
from busprobe.errors import BenchError, Problems
from busprobe.session.enclosed import enclosed_plan
from busprobe.session.incomplete import load_what_is_there
from busprobe.session.opening import OpenedSource, OwnRecording, open_source
from busprobe.session.replay_scene import ReplayScene
from busprobe.session.scene import Scene

LIVE = Path("live")


def open_scene(target: Path, bench: Path | None = None, *, allow_requests: bool = False) -> Scene:
    """A recording, or `live` with a bench file. allow_requests: live, poll what its `[obd]` wants.

    A recording of busprobe's own brings the bench file that it was made with; another one may
    be given. A database that cannot be read is a problem that the scene tells of. Raises
    BusprobeError where anything else cannot be used.
    """
    if target == LIVE:
        if bench is None:
            raise BenchError("a live vehicle needs its bench file.", hint="Give it with --bench.")
        from busprobe.session.live_scene import LiveScene

        missing = Problems()
        plan, databases = load_what_is_there(bench, missing)
        told = [str(problem) for problem in missing.items]
        return LiveScene(plan, databases, allow_requests=allow_requests, problems=told)
    problems = Problems()
    source = open_source(target, problems=problems)
    with ExitStack() as on_error:
        on_error.callback(source.close)
        plan, databases = _plan_of(source, bench, problems)
        scene = ReplayScene(target, source, plan, databases, problems)
        on_error.pop_all()
    return scene


def _plan_of(
    source: OpenedSource, bench: Path | None, problems: Problems
) -> tuple[Plan, Mapping[str, Sequence[Database]]]:
    if bench is not None:
        return load_what_is_there(bench, problems)
    if isinstance(source, OwnRecording):
        enclosed = enclosed_plan(source.recording.bench, problems)
        if enclosed is not None:
            return enclosed
    return build(NO_BENCH, {}), {}
