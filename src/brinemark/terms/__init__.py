"""Frozen records, names, units, the few errors and canonical bytes; dull on purpose."""
