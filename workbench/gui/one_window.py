"""One window for each user and store: a second start brings the first one's to the front."""

from __future__ import annotations

import getpass
import hashlib
from collections.abc import Callable

from PySide6.QtCore import QObject
from PySide6.QtNetwork import QLocalServer, QLocalSocket
from PySide6.QtWidgets import QMainWindow

WAIT_MS = 1000


def name_of(store: str) -> str:
    """What the window of this user on this store is called among the computer's programs."""
    told = f"{getpass.getuser()}\n{store}".encode()
    return f"evenpace-{hashlib.sha256(told).hexdigest()[:16]}"


def raise_other(name: str) -> bool:
    """Whether another program has this window; then it is asked to raise it."""
    socket = QLocalSocket()
    socket.connectToServer(name)
    if not socket.waitForConnected(WAIT_MS):
        return False
    socket.disconnectFromServer()
    return True


class Doorbell(QObject):
    """Calls `rung` whenever another start finds this one; open to this user alone."""

    def __init__(self, name: str, rung: Callable[[], object], parent: QObject) -> None:
        super().__init__(parent)
        self._rung = rung
        self._server = QLocalServer(self)
        self._server.setSocketOptions(QLocalServer.SocketOption.UserAccessOption)
        QLocalServer.removeServer(name)  # what a program that was killed has left
        self._server.newConnection.connect(self._ring)
        self._server.listen(name)

    def _ring(self) -> None:
        while (socket := self._server.nextPendingConnection()) is not None:
            socket.disconnected.connect(socket.deleteLater)
            socket.disconnectFromServer()
            self._rung()


def bring_forward(window: QMainWindow) -> None:
    """In front of the others, and out of the task bar."""
    if window.isMinimized():
        window.showNormal()
    window.raise_()
    window.activateWindow()
