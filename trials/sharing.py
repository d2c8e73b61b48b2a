"""Long work cut into fixed pieces and shared out through joblib: numbers hang on the pieces, never on who does them."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from functools import partial
from typing import Any, TypeVar

ENOUGH = 5.0
"""Seconds of work on one core from which on all cores share it; to start them takes one or two."""
Piece = TypeVar("Piece")
Result = TypeVar("Result")
_asked: ContextVar[bool] = ContextVar("asked", default=False)


@contextmanager
def sharing(**config: Any) -> Iterator[None]:
    """Share out all work inside by this configuration of joblib (`joblib.parallel_config`), however little it is."""
    import joblib

    token = _asked.set(True)
    try:
        with joblib.parallel_config(**config):
            yield
    finally:
        _asked.reset(token)


def shared(work: Callable[[Piece], Result], pieces: Sequence[Piece], seconds: float) -> Iterator[Result]:
    """The result of each piece, in their order, as they come.

    work must go by pickle to another process. seconds: what one core would need for all, told from the size of the
    work and never measured; decides who works where nobody asked for workers.
    """
    alone = partial(_on_one_thread, work)
    if not _asked.get() and seconds < ENOUGH:
        yield from map(alone, pieces)
        return
    import joblib

    jobs = None if _asked.get() or joblib.effective_n_jobs() > 1 else -1
    if joblib.effective_n_jobs(jobs) == 1:
        yield from map(alone, pieces)
        return
    parallel = joblib.Parallel(n_jobs=jobs, return_as="generator", batch_size=1, max_nbytes=None)
    with _deaf_to_interrupts():
        results = parallel(joblib.delayed(alone)(piece) for piece in pieces)
    yield from results


@contextmanager
def _deaf_to_interrupts() -> Iterator[None]:
    """Processes started inside never hear Ctrl-C: this one does, afterwards, and ends them without their tracebacks."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _on_one_thread(work: Callable[[Piece], Result], piece: Piece) -> Result:
    """As the digits of sums depend on the number of threads."""
    from threadpoolctl import threadpool_limits

    with threadpool_limits(1):
        return work(piece)
