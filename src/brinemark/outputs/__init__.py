"""Charts and reports made from records."""
