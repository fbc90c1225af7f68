"""The body of each command: thin faces of the same calls that documents and pages use."""
