"""US units in SI, for figures that are published or read in them (NIST SP 811, appendix B.8)."""

GALLON = 3.785411784e-3  # m³
LITRES_PER_GALLON = 3.785411784
BTU_H = 1055.05585262 / 3600.0  # W
KWH_PER_MMBTU = 1055.05585262 / 3.6
