"""Bytes to a Capture: the model, the readers, the sample period."""
