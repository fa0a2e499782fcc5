"""A curve and its physics."""
