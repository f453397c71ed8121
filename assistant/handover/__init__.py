"""The account in forms to hand over: a page, a table, an object, a paper. Must not know logs or files."""

PAPERS = ("A4", "LETTER")
"""Sizes of paper for the record: ISO 216 and ANSI/ASME Y14.1."""
