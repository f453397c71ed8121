"""The account in forms to hand over: a page, a table, an object, a paper. Must not know logs or files."""
