"""The plant model: what is in the file, read with line numbers, checked, and written back."""
