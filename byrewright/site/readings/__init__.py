"""What instruments and loggers wrote: read, worked out, and set beside what the plant should do."""
