"""Windows: criteria on hours and days, scores, odds and rank, on arrays ``[..., hour]``."""
