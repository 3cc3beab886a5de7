"""From arrays to answers: energy and adequacy."""
