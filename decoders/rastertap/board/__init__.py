"""The board file: pin map, expected timing and colour set of one kind of board."""
