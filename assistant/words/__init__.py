"""The vocabulary: what a person can ask for, and every form in which it can be said or keyed.

Knows the trade in `cable`; must not know any recogniser library, the state of the dialogue, or a file.
"""
