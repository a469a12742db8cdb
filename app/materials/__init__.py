"""What is soldered: parts and, later, the lots they come in."""
