"""From a body to a request: validated, worked out, echoed; its columns in a table."""
