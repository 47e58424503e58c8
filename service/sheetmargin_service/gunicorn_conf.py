"""Settings of gunicorn, for `sheetmargin serve` and the image alike. The command line, WEB_CONCURRENCY (workers) and
GUNICORN_CMD_ARGS go before what is set here."""

import os
from pathlib import Path

# An answer is one chain of small matrix products: threads of BLAS would only fight for the cores that the workers use.
# Read when NumPy is loaded, so set before the application is.
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

wsgi_app = "sheetmargin_service.app:create_app()"
bind = "127.0.0.1:8080"

# Computing holds the interpreter: one process for each core that may be used. Threads serve slow and idle clients.
workers = int(os.environ.get("WEB_CONCURRENCY") or len(os.sched_getaffinity(0)))
worker_class = "gthread"
threads = 4

# Tables and beam operators are built once and shared by the workers, copy on write.
preload_app = True

# No remote control: gunicorn would open a socket for it in the home folder, which a read-only image does not have.
control_socket_disable = True

# Workers touch a file to say that they live; on a disk that blocks, they would be taken for dead (gunicorn's FAQ).
worker_tmp_dir = "/dev/shm" if Path("/dev/shm").is_dir() else None

# Seconds. A worker silent for so long is replaced; one told to stop may finish its answers for so long.
timeout = 30
graceful_timeout = 30
# Longer than a pause between two questions of a person, so that a browser need not connect again.
keepalive = 15
