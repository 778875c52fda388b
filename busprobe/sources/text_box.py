"""A microcontroller that prints a line a sample, see `text_line`.

Its microseconds are mapped to event time by the arrival with the least delay (`StampMap`).
"""

from __future__ import annotations

import numpy as np

from busprobe.bench.model import InputBox
from busprobe.errors import DeviceError, counted
from busprobe.frames import InputBatch
from busprobe.health import FaultTally, Health
from busprobe.sources.box_batch import Sample, input_batch
from busprobe.sources.box_options import MOST_ON_OFF, SERIAL_KEYS, BoxOptions
from busprobe.sources.clock import Clock, StampMap
from busprobe.sources.live import BATCH_NS, batch_end_ns
from busprobe.sources.pace import Pace
from busprobe.sources.serial_port import OpenPort, Port, gone, open_port
from busprobe.sources.text_line import LineCutter, LineOrder, TextSample, characters, is_remark, read_line
from busprobe.sources.wire_time import MS_NS, SECOND_NS, characters_ns, refuse_short_line_period, short_ms

OPTIONS = (*SERIAL_KEYS, "timeout")
MOST_ANALOGUE = 32
START_NS = 5 * SECOND_NS
"""A board may start anew as its port opens: so long the first line may take."""
WAKE_S = 0.01
ASLEEP_NS = SECOND_NS
"""A batch that ends this much late: the computer slept, and the box may have spoken meanwhile."""
DRIFT_NS = MS_NS
"""Two oscillators drift apart by this over the time in which the least delay is sought."""
LAG_NS = BATCH_NS
"""A line is here this much after its time; used where lines come more slowly than batches."""
SHOWN = 40
"""Characters of an unreadable line that are shown."""


class TextBox:
    """A live source of a box with the driver "text-lines"; see `LiveSource`."""

    def __init__(self, box: InputBox, opener: OpenPort = open_port) -> None:
        """Raises BenchError for the options, and for a period that the line cannot reach."""
        options = BoxOptions(box, OPTIONS)
        self._box = box
        self._open_port = opener
        self._on_off, self._analogue = options.counts(on_off=MOST_ON_OFF, analogue=MOST_ANALOGUE)
        self._settings = options.serial(baudrate=115_200, stopbits=1)
        self._timeout_ns = options.duration("timeout", max(SECOND_NS, 3 * box.period_ns))
        length = characters(self._on_off, self._analogue)
        refuse_short_line_period(box, length, self._settings)
        self._uncertainty_ns = characters_ns(length, self._settings) + DRIFT_NS
        self._port: Port = None
        self._health = Health(uncertainty_ns=self._uncertainty_ns)

    @property
    def name(self) -> str:
        return self._box.name

    def health(self) -> Health:
        return self._health

    def open(self, clock: Clock) -> None:
        self._clock = clock
        self._port = self._open_port(self._box.name, self._settings, WAKE_S)
        self._cutter, self._order, self._pace = LineCutter(), LineOrder(), Pace()
        self._health = Health(uncertainty_ns=self._uncertainty_ns)
        self._complete_ns = self._looked_ns = clock.now_ns()
        self._stamps = self._new_map()
        self._newest_ns: int | None = None
        self._patient_to_ns = self._complete_ns + START_NS
        self._faults, self._unreadable = FaultTally(), b""
        self._has_printed = False

    def close(self) -> None:
        port, self._port = self._port, None
        if port is not None:
            port.close()

    def read(self) -> InputBatch:
        samples: list[Sample] = []
        errors, self._has_printed = self._faults.count, False
        end_ns = batch_end_ns(self._clock.now_ns())
        while (now_ns := self._clock.now_ns()) < end_ns:
            samples += self._take(self._bytes())
            self._looked_ns = now_ns  # all that came before this has been read
        if self._has_printed:
            self._newest_ns, self._patient_to_ns = now_ns, now_ns + self._timeout_ns
            self._unreadable = self._unreadable if self._faults.count > errors else b""
        if now_ns > end_ns + ASLEEP_NS:
            self._patient_to_ns = now_ns + self._timeout_ns
        if self._looked_ns > self._patient_to_ns:  # since then, where it was held up, it may have spoken
            raise self._silent()
        self._go_on(now_ns)
        self._pace.add(sample.t_ns for sample in samples)
        self._health = Health(
            records=self._health.records + len(samples),
            errors=self._faults.count,
            uncertainty_ns=self._uncertainty_ns,
            period_ns=self._pace.period_ns,
            state=f'unreadable line "{_shown(self._unreadable)}"' if self._unreadable else "",
            faults=self._faults.found,
        )
        return input_batch(self._box.name, samples, self._analogue, self._complete_ns)

    def _bytes(self) -> bytes:
        try:
            return bytes(self._port.read(max(1, self._port.in_waiting)))
        except OSError as error:
            raise gone(self._box.name, self._settings.port) from error

    def _take(self, data: bytes) -> list[Sample]:
        """Samples of the lines that end in `data`, which has just come."""
        arrival_ns = self._clock.now_ns()
        samples: list[Sample] = []
        heard: list[tuple[int, TextSample]] = []
        for line in self._cutter.feed(data):
            if is_remark(line):
                continue
            said = read_line(line)
            if said is None or not self._order.accept(said, arrival_ns):
                if said is None or self._order.has_begun:
                    self._note_unreadable(line)
                continue
            self._refuse_missing(said)
            if self._order.has_restarted:
                samples += self._mapped(heard, arrival_ns)
                heard, self._stamps = [], self._new_map()
            heard.append((self._order.time_us, said))
        return samples + self._mapped(heard, arrival_ns)

    def _note_unreadable(self, line: bytes) -> None:
        self._unreadable = line
        text = f'The input box "{self.name}" on "{self._settings.port}" printed "{_shown(line)}".'
        hint = f'Look at its cable, plug and ground; compare "baudrate" ({self._settings.baudrate}) with the board.'
        self._faults.note("unreadable line", text, hint)

    def _mapped(self, heard: list[tuple[int, TextSample]], arrival_ns: int) -> list[Sample]:
        self._has_printed = self._has_printed or bool(heard)
        stamps = np.array([time_us * 1000 for time_us, _ in heard], np.int64)
        times = self._stamps.map(stamps, np.full(len(stamps), arrival_ns), np.full(len(stamps), self._looked_ns))
        # Where the program was held up and nobody can say when a line was printed, it is left out.
        known = (self._stamps.doubt_ns <= self._uncertainty_ns).tolist()
        said = [sample for _, sample in heard]
        samples = [
            Sample(t, line.mask, line.millivolts)
            for t, line, is_known in zip(times.tolist(), said, known, strict=True)
            if is_known
        ]
        if samples:
            self._complete_ns = max(self._complete_ns, samples[-1].t_ns)
        return samples

    def _new_map(self) -> StampMap:
        stamps = StampMap()
        stamps.not_before(self._complete_ns)
        return stamps

    def _go_on(self, now_ns: int) -> None:
        """Where no line can be expected yet, the box is complete to a little before now."""
        expected_ns = 2 * self._box.period_ns
        if self._newest_ns is None or now_ns - self._newest_ns < expected_ns:
            self._complete_ns = max(self._complete_ns, self._looked_ns - LAG_NS)
            self._stamps.not_before(self._complete_ns)

    def _refuse_missing(self, said: TextSample) -> None:
        """Raises DeviceError where the lines have fewer values than the bench file has lines."""
        for line in self._box.lines:
            given = len(said.millivolts) if line.analogue else said.levels
            if line.number >= given:
                kind = "analogue" if line.analogue else "on/off"
                there = counted(given, f"{kind} line")
                raise DeviceError(
                    f'The input box "{self.name}" prints {there}; "{line.name}" has the number "{line.number}".',
                    hint='Numbers start at 0: change "number" in the bench file, or the program of the board.',
                )

    def _silent(self) -> DeviceError:
        title = f'The input box "{self.name}" on "{self._settings.port}"'
        time = short_ms(START_NS if self._newest_ns is None else self._timeout_ns)
        unreadable = self._unreadable or self._cutter.rest
        if unreadable:
            return DeviceError(
                f'{title} has printed no readable line for {time}; the newest is "{_shown(unreadable)}".',
                hint=f'Compare "baudrate" ({self._settings.baudrate}) and the format of the lines with the board.',
            )
        return DeviceError(
            f"{title} has printed nothing for {time}.",
            hint="Look whether the board has power, its program runs, and this is its port.",
        )


def _shown(line: bytes) -> str:
    """The beginning of what came, with signs for what cannot be printed."""
    return ascii(line[:SHOWN].decode("latin-1"))[1:-1]
