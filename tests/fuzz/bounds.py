"""Bounds of processor time and memory around one call, for the fuzz and the soak.

The time is the process's own (a busy machine makes no hang), kept with an interval timer: whatever runs in Python is
broken off. A call that is deep in compiled code is broken off only when it returns, and then counts all the same.
Memory is bounded by the limit on address space, so that a reader that would eat the machine gets a `MemoryError`.
"""

import contextlib
import resource
import signal
import threading
import time
from pathlib import Path

_STATUS = Path("/proc/self/statm")
_MB = 2**20


class TooSlowError(BaseException):
    """A call took more processor time than it may; no ``except Exception`` on the way hides it."""


class TooSlow(AssertionError):
    """As the caller of `bounded` sees it."""


def _broken_off(*_):
    raise TooSlowError


@contextlib.contextmanager
def bounded(most_s, most_mb):
    """Run the body with at most so much processor time and growth of address space.

    Raises `TooSlow` where it took longer, and `MemoryError` from where it asked for more memory.
    """
    if threading.current_thread() is not threading.main_thread():
        raise ValueError("only the main thread can be bounded")
    soft, hard = resource.getrlimit(resource.RLIMIT_AS)
    size = int(_STATUS.read_text().split()[0]) * resource.getpagesize()
    before = signal.signal(signal.SIGPROF, _broken_off)
    resource.setrlimit(resource.RLIMIT_AS, (size + most_mb * _MB, hard))
    begun = time.process_time()
    signal.setitimer(signal.ITIMER_PROF, most_s)
    try:
        yield
    except TooSlowError:
        raise TooSlow(f"broken off after {time.process_time() - begun:.1f} s") from None
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        resource.setrlimit(resource.RLIMIT_AS, (soft, hard))
        signal.signal(signal.SIGPROF, before)
    if time.process_time() - begun > most_s:
        raise TooSlow(f"took {time.process_time() - begun:.1f} s")
