"""The `analyse` command: loggers' files held against a window, without a database."""
