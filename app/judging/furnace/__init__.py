"""Whether furnace, sensors and gauges were fit for the load (4.5)."""
