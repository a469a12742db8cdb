"""What a password may be, and how it is kept: rules of the text apart from the slow hash."""
