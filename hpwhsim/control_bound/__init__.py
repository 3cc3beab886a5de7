"""What the controls capture of the savings that schedules by price or carbon can reach."""
