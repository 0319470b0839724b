"""Read logic-analyser captures of a video chip's pins, rebuild the picture, and say where a fault lies."""

__version__ = "0.1.0"
