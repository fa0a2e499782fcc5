"""Tests of what people touch; a package, so that its conftest has a name of its own."""
