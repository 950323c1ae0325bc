"""The season as a whole: from a site and its weather to an answer, the plan, now or wait."""
