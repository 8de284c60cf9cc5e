"""Text to records and back: the stage notation and the readings notation.

The rules are in grammar/; README.md there is the reader's guide.
"""
