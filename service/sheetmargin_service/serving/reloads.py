"""SIGHUP without a master that waits: a child tries the catalogue files, and tells the master when to take them up."""

from __future__ import annotations

import os
import signal
from typing import Any


class Reloads:
    """The reloads of a gunicorn master. One is tried at a time; those that are asked for meanwhile become one."""

    def __init__(self, server: Any) -> None:
        self._server = server
        self._reload = server.reload
        self._verdict: int | None = None
        self._again = False

    def install(self) -> None:
        """Stand in the place of the master's own reload, which it calls in its main loop after SIGHUP."""
        self._server.reload = self.reload

    def reload(self) -> None:
        """Begin to try the files; or, where a child has tried them, do what it says."""
        from sheetmargin_service.serving.catalogue_reload import take_up

        if self._verdict is None:
            self._verdict = self._begin()
            return
        try:
            verdict = os.read(self._verdict, 1)
        except BlockingIOError:
            self._again = True
            return
        os.close(self._verdict)
        self._verdict = None
        take_up(self._server.app.wsgi(), sound=verdict == SOUND)
        self._reload()
        if self._again:
            self._again = False
            self.reload()

    def _begin(self) -> int:
        """Fork a child that tries the files, and then writes its verdict into the returned pipe and signals."""
        from sheetmargin_service.serving.catalogue_reload import default_signals, sound

        verdict, end = os.pipe()
        os.set_blocking(verdict, False)
        master = os.getpid()
        if os.fork() == 0:
            default_signals()
            try:
                os.write(end, SOUND if sound(self._server.app.wsgi()) else b"1")
            finally:
                if os.getppid() == master:
                    os.kill(master, signal.SIGHUP)
                os._exit(0)
        os.close(end)
        return verdict


SOUND = b"0"
