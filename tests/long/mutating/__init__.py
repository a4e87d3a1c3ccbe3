"""What a run of changes of one place is made of: the places, who runs which line, and a try in a fork."""
