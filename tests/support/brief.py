"""The service with answers that are fresh for a second, for tests of what comes after that."""

from sheetmargin_service.api import caching
from sheetmargin_service.app import serve

caching.MAX_AGE_S = 1
app = serve()
