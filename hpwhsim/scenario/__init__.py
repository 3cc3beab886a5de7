"""What the modeler wrote: schema, reading, plant families."""
