"""How large heat pump and storage must be."""
