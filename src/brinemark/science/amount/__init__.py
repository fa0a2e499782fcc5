"""Signals and levels: response, calibration, reading, limits."""
