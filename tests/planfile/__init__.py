"""Tests of the files that a plan is kept in."""
