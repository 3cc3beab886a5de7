"""Several buildings at once: totals, coincident peak power, ranks; shared plants and bore fields."""
