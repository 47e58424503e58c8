"""Answers as a person reads them: text, tables, notebooks, pictures."""
