"""Putting it together: the loop, the wiring of adapters, the speech models and the commands."""
