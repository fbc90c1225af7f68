"""Sizing: every duty of the plant, the least size for it and the size a designer would choose."""
