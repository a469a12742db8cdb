"""The people of the plant: roles, permissions, sign-in, sessions and tokens."""
