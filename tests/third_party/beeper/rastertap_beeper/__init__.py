"""A plug-in for rastertap: the tone on a home computer's one-bit sound output."""
