"""The record: what is kept of a session, how it is kept safe, and how it is read back."""
