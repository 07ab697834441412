"""A whole copy of the database as one file, and the way back."""
