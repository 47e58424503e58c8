"""Tables of sheets as they are: any head, unit, language and encoding; needs the standard library and the contract.

Only `files` and `write` load what reads and writes spreadsheets and Parquet (extra `bulk`), and only for such files.
"""
