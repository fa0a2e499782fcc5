"""Tests of the bench pages."""
