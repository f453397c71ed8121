"""An offline, hands-busy voice and keypad assistant for the splicer of multi-pair cable."""

__version__ = "0.1.0"
