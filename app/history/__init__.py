"""What happened: a board's whole story, the audit trail, search and exports."""
