"""What the service says of itself: logs, metrics, spans."""
