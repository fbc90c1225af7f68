"""Local pages in a browser: a thin face of the same calls as the command line. No arithmetic."""
