"""One small function for each cell of the table in `machine`, by what it is about.

Each takes the state and an entry and gives a step. Must not look at how an entry came in, beyond recording it.
"""
