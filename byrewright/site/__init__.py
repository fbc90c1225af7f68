"""Life after handover: watching a controller, alarms, the event log, rehearsals."""
