"""A cluster as an executor: dask.distributed does the distributing; an optional extra."""

from __future__ import annotations

import logging
from concurrent.futures import CancelledError, Executor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from simulator.errors import InputError

CONNECT_S = 15.0
ALONE_S = 60.0
"""Simulating stops when the cluster has been without a worker for this long."""


@dataclass(frozen=True)
class Certificates:
    """Files (PEM) by which this computer and the cluster know each other: authority, own certificate and own key."""

    authority: str
    certificate: str
    key: str


def connect(address: str, certificates: Certificates | None = None) -> tuple[Any, Executor]:
    """Connect to a running dask scheduler."""
    if address.startswith("tls://") != (certificates is not None):
        message = "tls:// and --tls-ca, --tls-cert and --tls-key go together; allowed is all of them or none"
        raise InputError.single(f"got {address!r}; {message}", "--scheduler")
    try:
        from distributed import Client
        from distributed.security import Security
    except ImportError as error:
        message = "needs dask.distributed; install it with pip install 'acreday[cluster]'"
        raise InputError.single(message, "--scheduler") from error
    named: dict[str, Any] = {}
    if certificates is not None:
        missing = [name for name in vars(certificates).values() if not Path(name).is_file()]
        if missing:
            raise InputError.single("there is no such file", "--tls-ca, --tls-cert, --tls-key", missing[0])
        secure: Any = Security
        named["security"] = secure(
            tls_ca_file=certificates.authority,
            tls_client_cert=certificates.certificate,
            tls_client_key=certificates.key,
            require_encryption=True,
        )
    # what matters of it is told in a sentence
    for logger in ("distributed", "distributed.client", "distributed.core", "tornado", "asyncio"):
        logging.getLogger(logger).setLevel(logging.CRITICAL)
    make: Any = Client
    try:
        client = make(address, timeout=f"{CONNECT_S:g}s", **named)
    except (OSError, ValueError, TimeoutError) as error:
        raise InputError.single(f"got {address!r}; no scheduler answers there ({error})", "--scheduler") from error
    return client, client.get_executor(retries=3)


def workers_of(client: Any) -> int:
    """Return how many workers a cluster has now; 0 when its scheduler does not answer."""
    try:
        return len(client.ncores())
    except (OSError, TimeoutError, CancelledError):
        return 0


def cluster_problem(error: BaseException) -> InputError | None:
    """Return what to tell when a piece came back with an error of the cluster; None for the model's own."""
    keep = "the runs before are kept: go on with --resume"
    if isinstance(error, CancelledError) or type(error).__module__.split(".")[0] == "distributed":
        said = f" ({type(error).__name__})"
        return InputError.single(
            f"the cluster lost its scheduler, or work again and again{said}; {keep}", "--scheduler"
        )
    if isinstance(error, ImportError | AttributeError):
        message = f"a worker cannot simulate ({error}): it needs acreday of this version, and what it depends on"
        return InputError.single(f"{message}; {keep}", "--scheduler")
    return None


def no_workers() -> InputError:
    """Return what to tell when the cluster has had no worker for long."""
    message = f"the cluster has had no worker for {ALONE_S:g} s; start some, then go on with --resume"
    return InputError.single(message, "--scheduler")
