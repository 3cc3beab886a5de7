"""Where the heat comes from: outdoor air, rooms, the ground, wastewater."""
