"""Speed as ratios, measured in one run; no tests."""
