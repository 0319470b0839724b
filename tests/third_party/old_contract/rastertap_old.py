"""A plug-in for a contract that is long past."""


class OldDecoder:
    """Listed, but never run."""

    name = "old"
    contract = 0
    describes = "of no use any more"
