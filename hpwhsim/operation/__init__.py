"""How a plant is operated and tested: sequence of operation, states, points, alarms, functional tests."""
