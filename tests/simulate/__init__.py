"""Forward model of engine, intake and sensor: the demo and the coverage study."""
