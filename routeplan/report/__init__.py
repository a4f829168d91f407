"""What people are handed: map, sheets, exports."""
