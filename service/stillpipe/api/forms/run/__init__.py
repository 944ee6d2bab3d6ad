"""A run of pipe cut open lengthwise: its plugs, jackets and places to scale, and their rules."""
