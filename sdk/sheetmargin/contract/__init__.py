"""The contract of the API, once: what is asked and what is answered, in its units.

Each field says in its metadata what a program must know of it (`fields.py`), and in the text below it what a reader
must. The client decodes and encodes by these classes, the service reads, writes and publishes by them. Standard library
only; nothing here knows a client or a service.
"""
