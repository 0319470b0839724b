"""A plug-in named like another package's."""


class Duplicate:
    """Never made: rastertap cannot tell which of the two is meant."""

    name = "beeper"
    contract = 1
