"""The edge: one outside library or device each, imported inside functions only.

Anything here must be importable on a machine without sound devices, models or a terminal.
"""
