"""The bench: the tool at the car, in a browser. It lays out what is told and decides nothing."""
