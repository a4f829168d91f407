"""A second opinion on a route, sharing no code with hazards or search."""
