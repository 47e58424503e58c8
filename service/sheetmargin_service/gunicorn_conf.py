"""Settings of gunicorn, for `sheetmargin serve` and the image alike. The command line, WEB_CONCURRENCY (workers) and
GUNICORN_CMD_ARGS go before what is set here."""

import logging
import os
import time
from typing import Any

from sheetmargin_service.serving import metric_files
from sheetmargin_service.serving.heap import FreeMemory, share_one_heap
from sheetmargin_service.serving.logs import logging_config
from sheetmargin_service.serving.reloads import Reloads
from sheetmargin_service.serving.start import enough_files, refuse_unset_access, report, worker_processes

_BEGUN = time.monotonic()

# An answer is one chain of small matrix products: threads of BLAS would only fight for the cores that the workers use.
# Read when NumPy is loaded, which nothing above does.
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

# Enough for fifty sheets of any kind in a list; less than a client waits by default, and than a worker has to finish.
os.environ.setdefault("SHEETMARGIN_TIME_LIMIT_S", "25")
os.environ.setdefault("SHEETMARGIN_BATCH_TIME_LIMIT_S", "300")

wsgi_app = "sheetmargin_service.app:serve()"
bind = "127.0.0.1:8080"
logconfig_dict = logging_config()
# What no line says is not gathered either (Logging HOWTO, optimization).
logging.logThreads = logging.logMultiprocessing = False

# Computing holds the interpreter: one process for each core that may be used. Threads serve slow and idle clients.
workers = worker_processes(os.environ)
worker_class = "sheetmargin_service.serving.worker.PatientWorker"
threads = 4
share_one_heap()
_free_memory = FreeMemory()

# Connections of a worker, idle ones among them; the rest wait in the kernel.
worker_connections = 200
enough_files(worker_connections + 56)

# Tables and beam operators are built once and shared by the workers, copy on write.
preload_app = True

# No remote control: gunicorn would open a socket for it in the home folder, which a read-only image does not have.
control_socket_disable = True

# In memory, where that has room: counting must not wait for a disk.
metric_files.prepare("/dev/shm", None)

# Seconds. A worker silent for so long is replaced; one told to stop may finish its answers for so long.
timeout = 30
graceful_timeout = 30
# Longer than a pause between two questions of a person, so that a browser need not connect again.
keepalive = 15


def on_starting(server: Any) -> None:
    """Called before anything listens."""
    refuse_unset_access(server.cfg.address, os.environ)


def when_ready(server: Any) -> None:
    """Called when the address is bound; workers are forked next."""
    if server.cfg.preload_app:
        Reloads(server).install()
    report(seconds=time.monotonic() - _BEGUN)


def post_fork(_server: Any, worker: Any) -> None:
    """Called in a worker, before anything else."""
    metric_files.reserve(worker.pid)


def pre_request(worker: Any, _request: Any) -> None:
    """Called by the thread that has read a request's headers."""
    worker.report_waiting()


def post_request(worker: Any, _request: Any, _environ: Any, _response: Any) -> None:
    """Called when a request is answered."""
    worker.report_waiting()
    _free_memory.give_back()


def child_exit(_server: Any, worker: Any) -> None:
    """Called in the master when a worker has ended, however it did."""
    metric_files.settle(worker.pid)
