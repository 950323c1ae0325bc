"""Plot trials: the trial file, its plan and measures, and statistics, pure functions on arrays."""
