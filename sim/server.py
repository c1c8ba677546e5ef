"""The bench over TCP: one port for each instrument, raw SCPI, line by line."""

import socketserver
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .instruments import Link

if TYPE_CHECKING:
    from .bench import SimulatedBench
    from .instruments import InstrumentCore

__all__ = ["ServedBench", "serve"]

CHUNK = 4096


@dataclass(frozen=True, slots=True)
class ServedBench:
    """A bench that listens.

    Attributes
    ----------
    resources
        Role to VISA resource name: ``TCPIP0::127.0.0.1::PORT::SOCKET``.
    """

    resources: Mapping[str, str]


class _Server(socketserver.ThreadingTCPServer):
    allow_reuse_address = True
    daemon_threads = True

    def __init__(self, address: tuple[str, int], core: "InstrumentCore") -> None:
        self.core = core
        super().__init__(address, _Handler)


class _Handler(socketserver.BaseRequestHandler):
    """One connection: a link of its own to the instrument."""

    server: _Server

    def handle(self) -> None:
        link = Link(self.server.core)
        try:
            while data := self.request.recv(CHUNK):
                link.write(data, exchange=False)
                while link.has_response:
                    link.core.clock.sleep(link.ready_in_s())
                    self.request.sendall(link.take(CHUNK)[0])
        except ConnectionError:
            # the client went away, or a fault closes the link from this side: the
            # instrument stays as it is
            return


@contextmanager
def serve(
    bench: "SimulatedBench",
    host: str = "127.0.0.1",
    ports: Mapping[str, int] | None = None,
) -> Iterator[ServedBench]:
    """Serve a bench's instruments over TCP while the context is open.

    Parameters
    ----------
    bench
        The bench.
    host
        The address to listen on.
    ports
        Role to port; a role without one, or with 0, gets a free port.

    Yields
    ------
    ServedBench
        Its ``resources`` are what a client opens. Messages end in a line feed, both
        ways.

    Raises
    ------
    OSError
        A port that cannot be had.
    """
    servers: dict[str, _Server] = {}
    threads: list[threading.Thread] = []
    try:
        for role, core in bench.instruments.items():
            servers[role] = _Server((host, (ports or {}).get(role, 0)), core)
        for role, server in servers.items():
            thread = threading.Thread(
                target=server.serve_forever,
                args=(0.02,),
                name=f"sim-{role}",
                daemon=True,
            )
            thread.start()
            threads.append(thread)
        names = {
            role: f"TCPIP0::{host}::{server.server_address[1]}::SOCKET"
            for role, server in servers.items()
        }
        yield ServedBench(names)
    finally:
        for server in servers.values():
            if threads:
                server.shutdown()
            server.server_close()
        for thread in threads:
            thread.join()
