"""Use cases on frozen dataclasses in SI units, one module for each question."""
