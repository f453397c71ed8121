"""The one kind of error that a person must put right."""


class AssistantError(Exception):
    """Something that a person must put right; the text is one line: what, where, what to do."""
