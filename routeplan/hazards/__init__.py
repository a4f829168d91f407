"""What can go wrong where this machine stands or moves on this site."""
