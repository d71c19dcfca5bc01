"""A server that accepts a connection and then says what it is told to, or nothing."""

import socket
import threading
from typing import Self


class RawServer:
    """
    Accepts connections on loopback and holds them open; used as a context manager.

    Args:
        drip: Bytes that each connection gets, one at a time, over and over.
        every: Pause between two of them. [s]
    """

    def __init__(self, drip: bytes = b"", every: float = 0.05) -> None:
        self._drip, self._every = drip, every
        self._socket = socket.create_server(("127.0.0.1", 0))
        self._held: list[socket.socket] = []
        self._done = threading.Event()
        self._thread = threading.Thread(target=self._serve, name="raw-server")
        self.port: int = self._socket.getsockname()[1]

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._done.set()
        with socket.create_connection(("127.0.0.1", self.port)):
            pass
        self._thread.join(5)
        for held in (*self._held, self._socket):
            held.close()

    def _serve(self) -> None:
        while not self._done.is_set():
            connection, _ = self._socket.accept()
            self._held.append(connection)
            while self._drip and not self._done.wait(self._every):
                try:
                    connection.sendall(self._drip)
                except OSError:
                    break
