"""Several scenarios side by side, and where their accounts are not alike."""
