"""Who simulates: so many processes of this computer, or a Dask cluster by its address."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from trials.errors import InputError

OPTION = "--workers"
MOST = 512
WAIT_SECONDS = 10
LIBRARIES = ("nozzle-trials", "numpy", "scipy", "joblib")
"""Whose versions must be the same everywhere, so that figures are."""


@contextmanager
def working(asked: str = "") -> Iterator[None]:
    """Simulations inside run on these workers; the figures are the same on any.

    asked: a number of processes, the address of a Dask scheduler such as tcp://10.0.0.7:8786, or nothing: all cores
    for long work, one for short work.

    Raises
    ------
    InputError
        If it is neither, the cluster cannot be reached, or its workers have other versions or none of this package.
    """
    from trials.sharing import sharing

    if not asked.strip():
        yield
    elif "://" in asked:
        with _client(asked.strip()) as client, sharing(backend="dask", client=client):
            yield
    else:
        with sharing(backend="loky", n_jobs=_number(asked), inner_max_num_threads=1):
            yield


def _number(asked: str) -> int:
    typed = asked.strip()
    if typed.isdecimal() and len(typed) <= len(str(MOST)) and 1 <= int(typed) <= MOST:
        return int(typed)
    raise InputError(
        "is no number of workers and no address of a cluster",
        column=OPTION,
        found=asked,
        allowed=f"1 to {MOST}, or an address such as tcp://10.0.0.7:8786",
        do="Change it, or leave it out (also the variable TRIALS_WORKERS).",
    )


@contextmanager
def _client(address: str) -> Iterator[Any]:
    try:
        from distributed import Client
    except ImportError:
        raise InputError(
            "a cluster needs the library distributed, which is not installed",
            column=OPTION,
            found=address,
            do="Install it with `pip install 'nozzle-trials[cluster]'`, or give a number of workers.",
        ) from None
    connect: Any = Client  # untyped
    try:
        client = connect(address, timeout=WAIT_SECONDS, set_as_default=False)
    except (OSError, ValueError, TypeError) as error:
        raise _refused(address, "no Dask scheduler answers there") from error
    with client:
        _check_workers(client, address)
        yield client


def _check_workers(client: Any, address: str) -> None:
    try:
        client.wait_for_workers(1, timeout=WAIT_SECONDS)
    except TimeoutError as error:
        raise _refused(address, "the cluster has no workers") from error
    own = versions()
    try:
        found: Mapping[str, Mapping[str, str]] = client.run(versions)
    except Exception as error:  # whatever keeps a worker from running a line of this package
        raise _refused(address, "its workers lack nozzle-trials") from error
    for worker, theirs in found.items():
        other = next((name for name in LIBRARIES if theirs.get(name) != own[name]), None)
        if other is not None:
            problem = f"the worker {worker} has {other} {theirs.get(other)}, this computer {own[other]}"
            raise _refused(address, problem)


def _refused(address: str, problem: str) -> InputError:
    return InputError(
        problem,
        column=OPTION,
        found=address,
        do="Start the scheduler and workers with the same versions as here, or give a number of workers.",
    )


def versions() -> dict[str, str]:
    """Installed versions of what figures hang on."""
    from importlib.metadata import version

    return {name: version(name) for name in LIBRARIES}
