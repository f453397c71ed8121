"""The conversation: a pure state machine.

Inputs come in, facts and effects come out. Must not know a device, a file, a thread or a clock.
"""
