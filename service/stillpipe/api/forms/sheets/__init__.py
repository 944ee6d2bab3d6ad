"""Sheets of a job for those who do it and those who pay for it, made from its JSON alone."""
