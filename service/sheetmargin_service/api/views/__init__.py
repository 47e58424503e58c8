"""The calls of the API, a module a subject."""
