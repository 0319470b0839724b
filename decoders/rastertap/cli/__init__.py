"""The command line: one thin module per command; the only part that knows the terminal."""
