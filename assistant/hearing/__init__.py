"""The ear: pure judgement of what was heard.

Knows the vocabulary; must not know any recogniser library, a device, a thread, a clock or a file.
"""
