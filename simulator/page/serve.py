"""Starting the planning page: the address with its secret, the server, the browser, and the end."""

from __future__ import annotations

import socket
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path

import uvicorn

from simulator.errors import InputError
from simulator.page.app import Server
from simulator.page.safety import Guard, new_secret

HERE = "127.0.0.1"
FIRST_PORT = 8380
_TRIED = 20


def open_socket(host: str, port: int | None) -> socket.socket:
    """Return a socket that listens, at the port asked for or the first that is free."""
    last: OSError | None = None
    for number in [port] if port is not None else [*range(FIRST_PORT, FIRST_PORT + _TRIED), 0]:
        listening = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET)
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((host, number))
        except (OSError, OverflowError) as error:
            listening.close()
            if not isinstance(error, OSError):
                raise InputError.single(f"got {number}; allowed is 0 to 65535", "--port") from error
            last = error
            continue
        listening.listen()
        return listening
    where = "--host" if port is None else "--port"
    raise InputError.single(f"cannot be listened at: {last.strerror if last else ''}", where)


def hosts_of(host: str, port: int) -> set[str]:
    """Return the names by which the page may be called."""
    names = {HERE, "localhost"}
    if host not in (HERE, "localhost"):
        names.add(f"[{host}]" if ":" in host else host)
    if host in ("0.0.0.0", "::"):
        # every address of this machine, and its name in the house's network
        own = socket.gethostname()
        names |= {own, f"{own}.local"}
        for entry in _addresses():
            names.add(f"[{entry}]" if ":" in entry else entry)
    return {f"{name}:{port}" for name in names}


def _addresses() -> set[str]:
    found = set()
    try:
        found = {str(entry[4][0]) for entry in socket.getaddrinfo(socket.gethostname(), None)}
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            # no packet is sent: this only asks which address of this machine leads outwards
            probe.connect(("192.0.2.1", 9))
            found.add(str(probe.getsockname()[0]))
    except OSError:
        pass
    return found


def serve_page(
    folder: Path, host: str, port: int | None, browser: bool, say: Callable[[str], None], runs: int | None = None
) -> None:
    """Serve a folder until Ctrl-C."""
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        message = f"is no folder, and cannot be made one: {error.strerror or error}"
        raise InputError.single(message, file=str(folder)) from error
    listening = open_socket(host, port)
    number, secret = listening.getsockname()[1], new_secret()
    try:
        server = Server(folder, runs=runs)
    except OSError as error:
        raise InputError.single(f"cannot be written to: {error.strerror or error}", file=str(folder)) from error
    hosts = hosts_of(host, number)
    shown = HERE if host in ("0.0.0.0", "::", HERE, "localhost") else host
    address = f"http://{f'[{shown}]' if ':' in shown else shown}:{number}/?secret={secret}"
    if host not in (HERE, "localhost", "::1"):
        others = ", ".join(sorted(f"http://{one}/" for one in hosts if not one.startswith((HERE, "localhost"))))
        say(f"acreday: open to the network at {others}")
        say(f"  whoever has the secret {secret} can read, change and remove the scenarios of {folder}; the way there")
        say("  is not encrypted: use it in a network of your own only")
    say(f"acreday: the planning page is at {address}")
    say("  Ctrl-C stops it")
    config = uvicorn.Config(
        Guard(server.app(), secret, hosts), log_config=None, access_log=False, lifespan="off", server_header=False,
        timeout_graceful_shutdown=1, timeout_keep_alive=30,
    )  # fmt: skip
    running = uvicorn.Server(config)
    server.ending = lambda: running.should_exit
    server.live.warm()
    if browser:
        threading.Timer(0.3, webbrowser.open, [address]).start()
    try:
        running.run(sockets=[listening])
    except KeyboardInterrupt:
        pass
    finally:
        server.close()
        listening.close()
