"""Where the rooms meet: scenario and boundary become arrays, and the march."""
