"""A simulated video source, its wiring, and the analyser that records it: for the demo and for tests."""
