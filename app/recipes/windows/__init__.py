"""Built-in windows: published limits as data, each with its source and how sure it is."""
