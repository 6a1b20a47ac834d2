"""A cluster as an executor: dask.distributed does the distributing; an optional extra."""

from __future__ import annotations

from concurrent.futures import Executor
from typing import Any

from simulator.errors import InputError


def connect(address: str) -> tuple[Any, Executor]:
    """Connect to a running dask scheduler.

    Parameters
    ----------
    address : str
        Such as ``tcp://10.0.0.5:8786``; its workers need acreday installed, of the same version.

    Returns
    -------
    (dask.distributed.Client, concurrent.futures.Executor)

    Raises
    ------
    InputError
        dask.distributed is not installed, or nothing answers there.
    """
    try:
        from distributed import Client
    except ImportError as error:
        message = "needs dask.distributed; install it with pip install 'acreday[cluster]'"
        raise InputError.single(message, "--scheduler") from error
    make: Any = Client
    try:
        client = make(address, timeout="15s")
    except (OSError, ValueError, TimeoutError) as error:
        raise InputError.single(f"got {address!r}; no scheduler answers there ({error})", "--scheduler") from error
    return client, client.get_executor(retries=3)
