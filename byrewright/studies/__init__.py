"""One module a question; each takes a plant and a rulebook and returns a `Result`."""
