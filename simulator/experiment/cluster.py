"""A cluster as an executor: dask.distributed does the distributing; an optional extra."""

from __future__ import annotations

import hashlib
import logging
import pickle
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import FIRST_COMPLETED, CancelledError, Executor, Future, wait
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from simulator.errors import InputError
from simulator.experiment.workers import Workers, known
from simulator.plan.day_plan import DayPlan
from simulator.scenario.streams import StreamBank

CONNECT_S = 15.0
LOOK_S = 5.0
"""How often a cluster that gives nothing back is asked whether it has workers."""
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


def _anywhere(packed: bytes, key: str, seed: int, function: Callable[..., Any], *given: object) -> Any:
    """Work on a cluster's worker, which keeps the plans it saw last."""
    if known.get("key") != key:
        known.update(key=key, plans=pickle.loads(packed), bank=StreamBank(seed))
    return function(*given)


class ClusterWorkers(Workers):
    """The workers of a cluster, which are given all plans."""

    def __init__(
        self, plans: Sequence[DayPlan], seed: int, count: int, address: str, certificates: Certificates | None
    ) -> None:
        self.count = max(count, 8)
        self.ahead = 4 * self.count
        self._client, self._executor = connect(address, certificates)
        self._seed, self._seen_s = seed, time.monotonic()
        packed = pickle.dumps(list(plans))
        # a task rather than data put there: when the workers that hold its result leave, it is made again
        self._packed = self._client.submit(bytes, packed, key=f"plans-{hashlib.sha256(packed).hexdigest()}")

    def _call(self, function: Callable[..., Any], *given: object) -> Future[Any]:
        key = f"{self._seed}-{self._packed.key}"
        return self._executor.submit(_anywhere, self._packed, key, self._seed, function, *given)

    def finished(self, waiting: Iterable[Future[Any]]) -> set[Future[Any]]:
        """Wait until a piece or more has come back, and return them; not for ever on a cluster without workers."""
        while not (done := wait(waiting, LOOK_S, FIRST_COMPLETED).done):
            with suppress(OSError, TimeoutError, CancelledError):  # its scheduler does not answer
                if self._client.ncores():
                    self._seen_s = time.monotonic()
            if time.monotonic() - self._seen_s > ALONE_S:
                message = f"the cluster has had no worker for {ALONE_S:g} s; start some, then go on with --resume"
                raise InputError.single(message, "--scheduler")
        self._seen_s = time.monotonic()
        return done

    def result(self, future: Future[Any]) -> Any:
        """Return what came back."""
        try:
            return future.result()
        except (Exception, CancelledError) as error:
            problem = cluster_problem(error)
            if problem is None:
                raise
            raise problem from error

    def close(self) -> None:
        """End the connection."""
        with suppress(OSError, TimeoutError, CancelledError):
            self._client.close(timeout=5.0)


def cluster_problem(error: BaseException) -> InputError | None:
    """Return what to tell when a piece came back with an error of the cluster; None for the model's own."""
    keep = "the runs before are kept: go on with --resume"
    if isinstance(error, CancelledError) or type(error).__module__.split(".")[0] == "distributed":
        message = f"the cluster lost its scheduler, or work again and again ({type(error).__name__}); {keep}"
        return InputError.single(message, "--scheduler")
    if isinstance(error, ImportError | AttributeError):
        message = f"a worker cannot simulate ({error}): it needs acreday of this version, and what it depends on"
        return InputError.single(f"{message}; {keep}", "--scheduler")
    return None
