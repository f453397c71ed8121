"""The trade: colours, groups, super-units and sequences of pairs.

Knows no words, no text for people, no sound, no files and no clock.
"""
