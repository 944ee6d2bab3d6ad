"""Many estimates in one request, over worker processes."""
