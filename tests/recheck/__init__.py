"""Tests of the second opinion."""
