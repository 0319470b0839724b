"""Rebuilding rasters from the streams; colour sets; images."""
