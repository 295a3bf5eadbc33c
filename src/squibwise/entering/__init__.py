"""What a person says, ticks or corrects: what it is written as, and whether it may be now."""
