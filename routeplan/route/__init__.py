"""What is said of routes, days and lifelines: values, and how they are rounded."""
