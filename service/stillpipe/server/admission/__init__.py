"""How much is taken on at once, and who still waits for an answer."""
