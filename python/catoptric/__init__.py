"""Private until the lead replaces it."""
