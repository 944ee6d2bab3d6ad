"""The whole job: one timeline, one verdict, one quote."""
