"""Other forms of an answer, made from its JSON alone: pictures, and a sheet for the site."""
