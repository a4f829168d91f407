"""Tests of the moves of a site."""
