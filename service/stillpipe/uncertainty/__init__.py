"""What is not known exactly, and how far the figures move with it."""
