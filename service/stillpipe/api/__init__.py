"""Body in, body out: what a request must be and how an answer is shown, from the declarations."""
