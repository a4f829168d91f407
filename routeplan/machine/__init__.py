"""A machine, its configurations, and where each of its figures comes from."""
