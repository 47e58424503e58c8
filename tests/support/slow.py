"""The service with a stand-in for the physics that takes its time, for tests of who waits for it."""

from __future__ import annotations

import time
from typing import Any

from sheetmargin.contract.answer import Answer

from support.answers import CountingRecommend
from support.apps import app_of

JOB_S = 0.3
_answer = CountingRecommend()


def recommend(*args: Any, **more: Any) -> Answer:
    time.sleep(JOB_S)
    return _answer(*args, **more)


app = app_of(recommend=recommend)
