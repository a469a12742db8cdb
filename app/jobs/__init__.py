"""The work: jobs, their steps and runs, holds and outcomes."""
