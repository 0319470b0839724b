"""The numbers that whatever takes the signal next must be told; where a comparator's thresholds belong."""
