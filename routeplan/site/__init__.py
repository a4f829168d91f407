"""The world: read, validated and frozen once."""
