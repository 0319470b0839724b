"""A plug-in that cannot be imported."""

import a_library_that_is_not_installed


class BrokenDecoder:
    """Never made."""

    library = a_library_that_is_not_installed
