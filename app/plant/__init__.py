"""Where work is done: benches and how their loggers write."""
