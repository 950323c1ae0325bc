"""Open data of dose and response, as the R package drc distributes them.

Copied from github.com/vincentarelbundock/Rdatasets, csv/drc.
"""

from __future__ import annotations

# Dry matter (g a pot) of white mustard by dose (g/ha): Christensen, M.G., Teicher, H.B. & Streibig,
# J.C. 2003. Pest Manag. Sci. 59:1303-1310
GLYPHOSATE = {
    0: (4.7, 4.6, 4.1, 4.4, 3.2, 3, 3.8, 3.9), 10: (3.8, 3.8, 3.8, 3.3), 20: (4.1, 3.5, 4.1, 3.2),
    40: (2.8, 3, 3.7, 3.4), 80: (1.8, 1.6, 2.3, 1.7), 160: (1.1, 1.3, 1, 1.2),
    320: (0.9, 0.9, 0.9, 0.9),
}  # fmt: skip
BENTAZONE = {
    0: (4.1, 3.4, 2.6, 3.5, 4.3, 4.2, 4.1, 4.5), 10: (3.5, 3.8, 3.9, 3.7), 20: (3.2, 3.5, 3, 4),
    40: (1.1, 1.4, 1.4, 0.9), 80: (0.9, 0.6, 0.7, 0.8), 160: (0.7, 0.7, 0.5, 0.6),
    320: (0.8, 0.5, 0.7, 0.8), 640: (0.6, 0.7, 0.6, 0.8),
}  # fmt: skip

# Oxygen used by chloroplasts by concentration of diuron (uM), two assays (curves 4 and 5 of the
# data set `spinach`): Streibig, J.C. 1998. Pestic. Sci. 55:137-146
DIURON = {
    "4": {
        0: (2.20963, 2.27931, 2.14703), 0.01: (2.18831, 2.08863, 2.06676),
        0.03: (2.18827, 2.10748, 1.84474), 0.1: (1.78805, 1.75547, 1.61381),
        0.3: (0.70295, 0.6983, 0.74045), 1: (0.20673, 0.20784, 0.22402),
        3: (0.05268, 0.06519, 0.09258),
    },
    "5": {
        0: (1.94033, 1.80193, 1.71586), 0.01: (1.71586, 1.98471, 1.74905),
        0.03: (1.87795, 1.64081, 1.53094), 0.1: (1.50709, 1.41035, 1.35367),
        0.3: (0.64427, 0.62185, 0.60337), 1: (0.14073, 0.12928, 0.15016),
        3: (8e-5, 0.00262, 0.00303),
    },
}  # fmt: skip

# Root length (cm) by dose of secalonic acids (mM), means of three: Gong et al. 2004, data set
# `secalonic`
SECALONIC = {0: 5.5, 0.01: 5.7, 0.019: 5.4, 0.038: 4.6, 0.075: 3.3, 0.15: 0.7, 0.3: 0.4}


def paired(table: dict[float, tuple[float, ...]]) -> tuple[list[float], list[float]]:
    """Doses and responses side by side."""
    both = [(float(dose), float(y)) for dose, row in table.items() for y in row]
    return [dose for dose, _ in both], [y for _, y in both]
