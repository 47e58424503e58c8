"""What no answer may hold: it tells of the inside of the service, or of the machine."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = str(Path(__file__).parents[2]).encode()
TELLTALE = re.compile(
    rb'Traceback|File "|site-packages|\.py|sheetmargin_service|/usr|/home|/root|/tmp|root:x:|gunicorn|werkzeug|'
    + re.escape(ROOT)
)
