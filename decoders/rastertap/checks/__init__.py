"""Findings from the streams and frames, and the verdict they lead to."""
