"""Site state: degree days, weed emergence, turf dormancy, on arrays ``[..., day]``."""
