"""Routes for mobile elevating work platforms, from the delivery point to the workface and back."""

__version__ = "0.1.0"
