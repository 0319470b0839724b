"""Published timing and colour figures: value, tolerance, unit and source each."""
