"""Pure SI functions and the solver kernel: no files, no state."""
