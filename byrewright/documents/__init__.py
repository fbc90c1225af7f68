"""What is handed over: drawings, figures, the report, the schedules and the pack folder."""
