"""Tests of the steps; a package, so that its conftest has a name of its own."""
