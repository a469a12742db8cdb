"""The shell of every page and answer: templates, static files, headers, limits, problems."""
