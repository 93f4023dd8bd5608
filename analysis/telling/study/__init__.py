"""What the study was: participants, evening, methods, departures from the plan; the page of an athlete."""
