"""What all tests share: signals reach the programs that tests start, however pytest itself was started.

A shell starts what runs in the background with Ctrl-C ignored, and children inherit that. No example of
a property is wrong because the machine took long over it.
"""

import signal

from hypothesis import HealthCheck, settings

settings.register_profile("any machine", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("any machine")

for _number in (signal.SIGINT, getattr(signal, "SIGHUP", None)):
    if _number is not None and signal.getsignal(_number) is signal.SIG_IGN:
        signal.signal(_number, signal.default_int_handler if _number is signal.SIGINT else signal.SIG_DFL)
