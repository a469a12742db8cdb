"""Logger files, stored samples and the analysis of one trace."""
